package chase

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"cuewright/targets/midiwire"
	"cuewright/targets/surface"
	"cuewright/targets/surface/plug"
)

// Source is a timecode that is being followed.
type Source struct {
	file     string // "" where somebody else reads it
	tell     func(Move)
	start    time.Time
	messages chan heard
	decoder  midiwire.Decoder
	here     plug.Presence
	stop     context.CancelFunc
	ended    <-chan struct{}
	running  sync.WaitGroup
}

// heard is a message and when it came.
type heard struct {
	message midiwire.Message
	at      time.Duration
}

// tickEvery is how often a timecode that runs is looked after: less than the
// shortest frame.
const tickEvery = 20 * time.Millisecond

// waitingMessages is how many messages can wait: two seconds of timecode.
const waitingMessages = 256

// New gives a source that is told of messages by Hear, and tells of moves, from
// one goroutine. tell must not wait.
func New(tell func(Move)) *Source {
	ctx, stop := context.WithCancel(context.Background())
	s := &Source{tell: tell, start: time.Now(), messages: make(chan heard, waitingMessages), stop: stop, ended: ctx.Done()}
	s.running.Go(func() { s.follow(ctx) })
	return s
}

// Start is New on a raw MIDI device, or a plain file. It need not be there yet.
func Start(file string, log *slog.Logger, tell func(Move)) *Source {
	s := New(tell)
	s.file = file
	ctx, stop := context.WithCancel(context.Background())
	ended := s.stop
	s.stop = func() { stop(); ended() }
	s.running.Go(func() {
		plug.Follow(ctx, file, log, &s.here, func(ctx context.Context, d plug.Device) {
			s.decoder = midiwire.Decoder{}
			d.Read(ctx, s.read)
		})
	})
	return s
}

func (s *Source) read(data []byte) {
	for _, b := range data {
		if m := s.decoder.Byte(b); m.Kind == midiwire.Quarter || m.Kind == midiwire.Full {
			select { // a recording comes all at once: the file waits
			case s.messages <- heard{m, time.Since(s.start)}:
			case <-s.ended:
				return
			}
		}
	}
}

// Hear takes a message that has just come. It does not wait: what comes faster
// than it can be followed is lost, as on a cable.
func (s *Source) Hear(m midiwire.Message) {
	select {
	case s.messages <- heard{m, time.Since(s.start)}:
	default:
	}
}

// Way is where the timecode comes from.
func (s *Source) Way() surface.Way {
	return surface.Way{Kind: "timecode", At: s.file, Clients: s.here.Clients("timecode " + s.file)}
}

// Close stops.
func (s *Source) Close() error {
	s.stop()
	s.running.Wait()
	return nil
}

// follow owns the follower.
func (s *Source) follow(ctx context.Context) {
	var f Follower
	s.tell(f.move()) // that nothing was heard yet
	tick := time.NewTicker(tickEvery)
	tick.Stop() // until it runs
	defer tick.Stop()
	for {
		ran := f.Runs()
		var m Move
		var ok bool
		select {
		case <-ctx.Done():
			return
		case h := <-s.messages:
			m, ok = f.Hear(h.message, h.at)
		case <-tick.C:
			if len(s.messages) == 0 { // they came before
				m, ok = f.Tick(time.Since(s.start))
			}
		}
		if ok {
			s.tell(m)
		}
		switch runs := f.Runs(); {
		case runs && !ran:
			tick.Reset(tickEvery)
		case ran && !runs:
			tick.Stop()
		}
	}
}
