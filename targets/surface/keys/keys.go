// Package keys is a plain keyboard or keypad as a surface in a pinch: Linux
// input events from an event device. README.md has the keys.
//
// A keyboard has no words and three lamps: it says that something is wrong, and
// the other surfaces say what.
package keys

import (
	"fmt"
	"log/slog"
	"os"

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

// Start follows the file until Close. It need not be there yet.
func Start(desk surface.Desk, c Config) (*plug.Surface, error) {
	if c.Bits != 0 && c.Bits != 32 && c.Bits != 64 {
		return nil, fmt.Errorf("a long has 32 or 64 bits, not %d", c.Bits)
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	return plug.Start(desk, plug.Config{Kind: "keys", File: c.File, Surface: c.Surface, Log: c.Log, Speak: c.speak}), nil
}

// keyboard is a keyboard that is there.
type keyboard struct {
	Config
	hand    *surface.Hand
	decoder *Decoder
	lamps   lamps
}

func (c Config) speak(f *os.File, hand *surface.Hand) plug.Protocol {
	if c.Grab {
		if err := grab(f); err != nil {
			c.Log.Warn("the keyboard is not ours alone", "file", c.File, "why", err)
		}
	}
	return &keyboard{Config: c, hand: hand, decoder: NewDecoder(c.Bits)}
}

// Hear does what events mean.
func (s *keyboard) Hear(data []byte) { s.decoder.Decode(data, s.hear) }

// hear does what an event means. A key that repeats by itself is still down,
// no more; where events were lost nobody knows what is down.
func (s *keyboard) hear(e Event) {
	if e.Type == evSyn && e.Code == synDropped {
		s.hand.Gone()
		return
	}
	if e.Type == evLED {
		s.lamps.noticed(e)
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
