// Package midi is a MIDI controller as a surface: raw MIDI 1.0 bytes from a
// device file (or standard input), notes as buttons, and lamps as the
// velocities of notes sent back. README.md has the numbers.
package midi

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"cuewright/sim/step"
	"cuewright/targets/midiwire"
	"cuewright/targets/surface"
	"cuewright/targets/surface/plug"
)

// Config says which file is which surface.
type Config struct {
	File    string // a raw MIDI device, a plain file, or "-"
	Surface string // the surface's name in the plan
	Base    int    // the note of row 1, column 1; 0 is DefaultBase
	Channel int    // 1..16, or 0: all are heard, the first is told
	Extra   int    // the first of the four notes that are no buttons; 0 is none
	Log     *slog.Logger

	// Code, when set, is given what the controller says of MIDI Time Code. It is
	// called by one goroutine and must not wait.
	Code func(midiwire.Message)
}

// DefaultBase is the note of row 1, column 1 unless it is said otherwise.
const DefaultBase = 36

// velocities are what lamps look like: the brighter, the more it matters.
var velocities = [...]byte{step.LampDark: 0, step.LampLit: 25, step.LampPending: 50, step.LampFault: 100, step.LampAir: 127}

// extras are the notes that are no buttons, from Config.Extra up.
var extras = [...]surface.Kind{surface.Keep, surface.Return, surface.TakeOver, surface.GiveBack}

// writeWithin is how long a device that does not take its lamps is waited for.
const writeWithin = time.Second

// Surface is a MIDI controller, there or not.
type Surface struct {
	Config
	hand    surface.Hand
	decoder midiwire.Decoder
	here    plug.Presence
	stop    context.CancelFunc
	running sync.WaitGroup
}

// Start follows the file until Close. It need not be there yet.
func Start(desk surface.Desk, c Config) (*Surface, error) {
	if c.Base == 0 {
		c.Base = DefaultBase
	}
	switch {
	case c.Channel < 0 || c.Channel > 16:
		return nil, errors.New("a MIDI channel is 1 to 16, or 0 for all")
	case c.Base < 0 || c.Base > 127 || c.Extra < 0 || c.Extra+len(extras)-1 > 127:
		return nil, errors.New("a MIDI note is 0 to 127")
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Surface{Config: c, hand: surface.Hand{Desk: desk, By: "midi " + c.File}, stop: stop}
	s.running.Go(func() { plug.Follow(ctx, c.File, c.Log, &s.here, s.use) })
	return s, nil
}

// Way is the device's way in.
func (s *Surface) Way() surface.Way {
	return surface.Way{Kind: "midi", At: s.File, Surface: s.Surface, Clients: s.here.Clients(s.hand.By)}
}

// Close stops and lifts every finger.
func (s *Surface) Close() error {
	s.stop()
	s.running.Wait()
	return nil
}

// use is one time that the device is there.
func (s *Surface) use(ctx context.Context, d plug.Device) {
	defer s.hand.Leave()
	ctx, cancel := context.WithCancel(ctx)
	var telling sync.WaitGroup
	defer telling.Wait()
	defer cancel()
	if d.Lamps {
		telling.Go(func() { s.tell(ctx, d) })
	}
	s.decoder = midiwire.Decoder{}
	d.Read(ctx, s.hear)
}

func (s *Surface) hear(data []byte) {
	for _, b := range data {
		switch m := s.decoder.Byte(b); m.Kind {
		case midiwire.NoteMsg:
			s.press(m.Note)
		case midiwire.Quarter, midiwire.Full:
			if s.Code != nil {
				s.Code(m)
			}
		}
	}
}

// press turns a note into a press: note = base + (row-1)*columns + column-1.
func (s *Surface) press(n midiwire.Note) {
	v := s.hand.Desk.View()
	at := v.SurfaceNamed(s.Surface)
	if at < 0 || s.Channel != 0 && int(n.Channel) != s.Channel-1 {
		return
	}
	if extra := int(n.Key) - s.Extra; s.Extra > 0 && extra >= 0 && extra < len(extras) {
		if n.On {
			s.hand.Give(extras[extra], at, -1, -1, 0)
		}
		return
	}
	if int(n.Key) < s.Base {
		return
	}
	columns := v.Program.Surfaces[at].Columns
	place := int32(n.Key) - int32(s.Base)
	row, column := place/columns+1, place%columns+1
	if n.On {
		s.hand.Down(at, row, column, 0)
	} else {
		s.hand.Up(at, row, column, 0)
	}
}

// tell sends the lamps: all at once when the device is there, then what
// changes. A device that does not take them is told again when it does.
func (s *Surface) tell(ctx context.Context, d plug.Device) {
	changed, stop := s.hand.Desk.Watch()
	defer stop()
	shown := map[byte]byte{} // velocity of each note
	for {
		_ = d.SetWriteDeadline(time.Now().Add(writeWithin)) // some files cannot be waited for
		if _, err := d.Write(s.lamps(s.hand.Desk.View(), shown)); err != nil && ctx.Err() == nil {
			s.Log.Warn("lamps could not be sent", "file", s.File, "why", err)
			clear(shown)
		}
		select {
		case <-ctx.Done():
			return
		case <-changed:
		}
	}
}

// lamps is the notes whose velocity is not the one shown, each as a whole
// message, and notes that in shown.
func (s *Surface) lamps(v *surface.View, shown map[byte]byte) []byte {
	at := v.SurfaceNamed(s.Surface)
	if at < 0 {
		return nil
	}
	var out []byte
	status := byte(0x90) | byte(max(s.Channel-1, 0))
	show := func(note int, velocity byte) {
		if was, ok := shown[byte(note)]; !ok || was != velocity {
			shown[byte(note)] = velocity
			out = append(out, status, byte(note), velocity)
		}
	}
	for i, kind := range extras {
		if s.Extra > 0 {
			show(s.Extra+i, velocities[s.lampOf(kind, v, at)])
		}
	}
	for i, b := range v.Grid(at) {
		note := s.Base + i
		if note > 127 {
			break
		}
		if s.Extra > 0 && note >= s.Extra && note < s.Extra+len(extras) {
			continue
		}
		velocity := byte(0)
		if b >= 0 {
			velocity = velocities[v.Lamps[b]]
		}
		show(note, velocity)
	}
	return out
}

// lampOf is the lamp of a note that is no button: pending while a show is on
// trial, lit while this controller has taken the surface over, a fault while
// somebody else has.
func (s *Surface) lampOf(kind surface.Kind, v *surface.View, at int32) step.LampState {
	switch holder := v.Holder[at]; {
	case (kind == surface.Keep || kind == surface.Return) && v.Trial != nil:
		return step.LampPending
	case kind == surface.TakeOver && holder == s.hand.By:
		return step.LampLit
	case kind == surface.TakeOver && holder != "":
		return step.LampFault
	}
	return step.LampDark
}
