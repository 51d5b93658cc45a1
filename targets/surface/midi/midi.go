// Package midi is a MIDI controller as a surface: raw MIDI 1.0 bytes from a
// device file (or standard input), notes as buttons, and lamps as the
// velocities of notes sent back. README.md has the numbers.
package midi

import (
	"errors"
	"log/slog"
	"os"
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

// Start follows the file until Close. It need not be there yet.
func Start(desk surface.Desk, c Config) (*plug.Surface, error) {
	if c.Base == 0 {
		c.Base = DefaultBase
	}
	switch {
	case c.Channel < 0 || c.Channel > 16:
		return nil, errors.New("a MIDI channel is 1 to 16, or 0 for all")
	case c.Base < 0 || c.Base > 127 || c.Extra < 0 || c.Extra+len(extras)-1 > 127:
		return nil, errors.New("a MIDI note is 0 to 127")
	}
	return plug.Start(desk, plug.Config{Kind: "midi", File: c.File, Surface: c.Surface, Log: c.Log,
		Speak: func(_ *os.File, hand *surface.Hand) plug.Protocol { return speak(c, hand) }}), nil
}

// controller is a MIDI controller that is there.
type controller struct {
	Config
	hand    *surface.Hand
	decoder midiwire.Decoder
	shown   map[byte]byte // velocity of each note
}

func speak(c Config, hand *surface.Hand) *controller {
	return &controller{Config: c, hand: hand, shown: map[byte]byte{}}
}

// Hear presses what notes stand for.
func (s *controller) Hear(data []byte) {
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
func (s *controller) press(n midiwire.Note) {
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

// Forget says that any note may be lit.
func (s *controller) Forget() { clear(s.shown) }

// Lamps is the notes whose velocity is not the one shown, each as a whole
// message. What a view of some time ago shows may not be so any more, and a show
// may come without this surface: then all go dark.
func (s *controller) Lamps(v *surface.View, now time.Time) []byte {
	var want map[byte]byte
	if v != nil && !v.Stale(now) && v.SurfaceNamed(s.Surface) >= 0 {
		want = s.picture(v, v.SurfaceNamed(s.Surface))
	}
	var out []byte
	status := byte(0x90) | byte(max(s.Channel-1, 0))
	for note := range byte(128) {
		velocity, has := want[note]
		was, known := s.shown[note]
		if has && !known || was != velocity {
			s.shown[note] = velocity
			out = append(out, status, note, velocity)
		}
	}
	return out
}

// picture is the velocity of every note that a surface has.
func (s *controller) picture(v *surface.View, at int32) map[byte]byte {
	show := map[byte]byte{}
	for i, b := range v.Grid(at) {
		if note := s.Base + i; note <= 127 {
			show[byte(note)] = 0
			if b >= 0 {
				show[byte(note)] = velocities[v.Lamps[b]]
			}
		}
	}
	for i, kind := range extras {
		if s.Extra > 0 {
			show[byte(s.Extra+i)] = velocities[s.lampOf(kind, v, at)]
		}
	}
	return show
}

// lampOf is the lamp of a note that is no button: pending while a show is on
// trial, lit while this controller has taken the surface over, a fault while
// somebody else has.
func (s *controller) lampOf(kind surface.Kind, v *surface.View, at int32) step.LampState {
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
