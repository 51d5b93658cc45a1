// Package keys is a plain keyboard or keypad as a surface in a pinch: Linux
// input events from an event device. README.md has the keys.
//
// A keyboard has no words and no lamps of ours: what it does is seen on the
// other surfaces.
package keys

import (
	"context"
	"fmt"
	"log/slog"
	"sync"

	"cuewright/targets/surface"
	"cuewright/targets/surface/plug"
)

// Config says which file is which surface.
type Config struct {
	File    string // /dev/input/event3, a plain file, or "-"
	Surface string // the surface's name in the plan
	Bits    int    // of a long of the machine that writes the events: 64, 32, or 0 for this one
	Grab    bool   // nobody else hears the keyboard
	Log     *slog.Logger
}

// Surface is a keyboard, there or not.
type Surface struct {
	Config
	hand    surface.Hand
	here    plug.Presence
	stop    context.CancelFunc
	running sync.WaitGroup
}

// Start follows the file until Close. It need not be there yet.
func Start(desk surface.Desk, c Config) (*Surface, error) {
	if c.Bits != 0 && c.Bits != 32 && c.Bits != 64 {
		return nil, fmt.Errorf("a long has 32 or 64 bits, not %d", c.Bits)
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Surface{Config: c, hand: surface.Hand{Desk: desk, By: "keys " + c.File}, stop: stop}
	s.running.Go(func() { plug.Follow(ctx, c.File, c.Log, &s.here, s.use) })
	return s, nil
}

// Way is the device's way in.
func (s *Surface) Way() surface.Way {
	return surface.Way{Kind: "keys", At: s.File, Surface: s.Surface, Clients: s.here.Clients(s.hand.By)}
}

// Close stops and lifts every finger.
func (s *Surface) Close() error {
	s.stop()
	s.running.Wait()
	return nil
}

// use is one time that the keyboard is there.
func (s *Surface) use(ctx context.Context, d plug.Device) {
	defer s.hand.Leave()
	if s.Grab {
		if err := grab(d.File); err != nil {
			s.Log.Warn("the keyboard is not ours alone", "file", s.File, "why", err)
		}
	}
	decoder := NewDecoder(s.Bits)
	d.Read(ctx, func(data []byte) { decoder.Decode(data, s.hear) })
}

// hear does what an event means. A key that repeats by itself is still down,
// no more; where events were lost nobody knows what is down.
func (s *Surface) hear(e Event) {
	if e.Type == evSyn && e.Code == synDropped {
		s.hand.Gone()
		return
	}
	if e.Type != evKey || e.Value == valueAgain {
		return
	}
	at := s.hand.Desk.View().SurfaceNamed(s.Surface)
	if kind, ok := commands[e.Code]; ok {
		if e.Value == valueDown {
			s.hand.Give(kind, at, -1, -1, 0)
		}
		return
	}
	place, ok := places[e.Code]
	switch {
	case !ok || at < 0:
	case e.Value == valueDown:
		s.hand.Down(at, place.row, place.column, 0)
	case e.Value == valueUp:
		s.hand.Up(at, place.row, place.column, 0)
	}
}
