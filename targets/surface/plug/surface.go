package plug

import (
	"context"
	"log/slog"
	"os"
	"sync"
	"time"

	"cuewright/targets/surface"
)

// Protocol is how a kind of device speaks. Each time that a device is there it
// has one of its own, which has said and heard nothing yet. Hear is called by
// one goroutine, Lamps and Forget by another.
type Protocol interface {
	// Hear takes what the device says, as it comes.
	Hear([]byte)
	// Lamps is what makes the device show v, by what Lamps gave before; of no view
	// (nil), what makes it dark.
	Lamps(v *surface.View, now time.Time) []byte
	// Forget says that the device may show anything now.
	Forget()
}

// Config says which file is which surface.
type Config struct {
	Kind    string // of surface: one word, as in the log
	File    string // a device, a plain file, or Stdin
	Surface string // the surface's name in the plan
	Log     *slog.Logger

	// Speak gives the protocol of a device that is there, whose presses are hand's.
	Speak func(f *os.File, hand *surface.Hand) Protocol
}

// Surface is a device file that is a surface, there or not.
type Surface struct {
	Config
	hand    surface.Hand
	here    Presence
	stop    context.CancelFunc
	running sync.WaitGroup
}

// Start follows the file until Close. It need not be there yet.
func Start(desk surface.Desk, c Config) *Surface {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Surface{Config: c, hand: surface.Hand{Desk: desk, By: c.Kind + " " + c.File, Contacts: true}, stop: stop}
	s.running.Go(func() { Follow(ctx, c.File, c.Log, &s.here, s.use) })
	return s
}

// Way is the device's way in.
func (s *Surface) Way() surface.Way {
	return surface.Way{Kind: s.Kind, At: s.File, Surface: s.Surface, Clients: s.here.Clients(s.hand.By)}
}

// Wait returns when a recording has been read to its end. A device has none.
func (s *Surface) Wait() { s.running.Wait() }

// Close makes the lamps dark and lifts every finger.
func (s *Surface) Close() error {
	s.stop()
	s.running.Wait()
	return nil
}

// use is one time that the device is there.
func (s *Surface) use(ctx context.Context, d Device) {
	defer s.hand.Leave()
	ctx, cancel := context.WithCancel(ctx)
	var telling sync.WaitGroup
	defer telling.Wait()
	defer cancel()
	speaks := s.Speak(d.File, &s.hand)
	if d.Lamps {
		telling.Go(func() { s.tell(ctx, d, speaks) })
	}
	d.Read(ctx, speaks.Hear)
}

// lookEvery is how often lamps are looked at though no view has come: that none
// comes is a thing to show.
const lookEvery = time.Second

// tell sends the lamps: all at once when the device is there, then what
// changes, and at the end none is left on.
func (s *Surface) tell(ctx context.Context, d Device, speaks Protocol) {
	changed, stop := s.hand.Desk.Watch()
	defer stop()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		if err := d.send(speaks.Lamps(s.hand.Desk.View(), time.Now())); err != nil && ctx.Err() == nil {
			s.Log.Warn("lamps could not be sent", "file", s.File, "why", err)
			speaks.Forget()
		}
		select {
		case <-ctx.Done():
			_ = d.send(speaks.Lamps(nil, time.Now())) // it may have been pulled out
			return
		case <-changed:
		case <-look.C:
		}
	}
}
