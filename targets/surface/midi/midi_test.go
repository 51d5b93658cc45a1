package midi

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/midiwire"
	"cuewright/targets/surface"
	"cuewright/targets/surface/plug"
	"cuewright/targets/surface/surfacetest"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func bytesOf(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func notes(data []byte) string {
	var d midiwire.Decoder
	var words []string
	for _, b := range data {
		if m := d.Byte(b); m.Kind == midiwire.NoteMsg {
			words = append(words, fmt.Sprintf("ch%d %d:%d %s", m.Note.Channel+1, m.Note.Key, m.Note.Velocity, map[bool]string{true: "on", false: "off"}[m.Note.On]))
		}
	}
	return strings.Join(words, ", ")
}

// pressed is what was pressed, in words.
func pressed(d *surfacetest.Desk) string {
	var words []string
	for _, p := range d.Pressed() {
		word := map[surface.Kind]string{surface.Down: " down", surface.Up: " up", surface.Keep: "keep", surface.Return: "return",
			surface.TakeOver: "take over", surface.GiveBack: "give back"}[p.Kind]
		if p.Button >= 0 {
			word = p.Of.Buttons[p.Button].Label + word
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}

func start(t *testing.T, d surface.Desk, c Config) *plug.Surface {
	t.Helper()
	s, err := Start(d, c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

// TestRecordings: byte files as a controller would have sent them. The grid of
// `desk` has five columns: note 36 is 1.1, 41 is 2.1.
func TestRecordings(t *testing.T) {
	for _, c := range []struct {
		name, bytes string
		config      Config
		want        string
	}{
		{"a tap", "90 24 7F 90 24 00", Config{}, "Wide down, Wide up"},
		{"a contact that bounces", "90 24 7F 24 00 24 7F 80 24 00 90 24 60 24 00", Config{}, "Wide down, Wide up"},
		{"row 2", "90 29 40 80 29 00", Config{}, "Replay down, Replay up"},
		{"chord", "90 24 7F 26 7F 24 00 26 00", Config{}, "Wide down, Talk down, Wide up, Talk up"},
		{"pulled out while held", "90 26 7F", Config{}, "Talk down, Talk up"},
		{"no button there", "90 27 7F 90 0A 7F 90 7F 7F", Config{}, ""},
		{"another base", "90 00 7F 00 00", Config{Base: 1}, ""},
		{"extras", "90 0A 7F 0A 00 0B 7F 0C 7F 0D 7F 0E 7F", Config{Extra: 10}, "keep, return, take over, give back"},
		{"extras on buttons", "90 24 7F 24 00 28 7F 28 00", Config{Extra: 36}, "keep"},
		{"base 60", "90 3C 7F 3C 00", Config{Base: 60}, "Wide down, Wide up"},
		{"its channel", "90 24 7F 91 25 7F 25 00", Config{Channel: 2}, "Goal down, Goal up"},
		{"off without on", "80 24 00", Config{}, ""},
		{"no such surface", "90 24 7F", Config{Surface: "elsewhere"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := surfacetest.New(t, surfacetest.Show(t))
			c.config.File = filepath.Join(t.TempDir(), "bytes")
			if c.config.Surface == "" {
				c.config.Surface = "desk"
			}
			if err := os.WriteFile(c.config.File, bytesOf(t, c.bytes), 0o600); err != nil {
				t.Fatal(err)
			}
			start(t, d, c.config).Wait() // a recording ends by itself
			if got := pressed(d); got != c.want {
				t.Errorf("pressed %q, want %q", got, c.want)
			}
		})
	}
}

// TestStartRefuses: numbers that MIDI does not have.
func TestStartRefuses(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	for _, c := range []Config{{Channel: 17}, {Channel: -1}, {Base: 128}, {Base: -1}, {Extra: 125}, {Extra: -1}} {
		if s, err := Start(d, c); err == nil {
			t.Errorf("%+v is taken", c)
			_ = s.Close()
		}
	}
}

// TestLamps: all at once, then what changes, as whole messages.
func TestLamps(t *testing.T) {
	p := surfacetest.Show(t)
	d := surfacetest.New(t, p)
	s := speak(Config{Surface: "desk", Base: DefaultBase, Channel: 3}, &surface.Hand{})
	told := func() string { return fmt.Sprintf("%x", s.Lamps(d.View(), time.Now())) }
	first := s.Lamps(d.View(), time.Now())
	if len(first) != 3*15 || first[0] != 0x92 || first[1] != 36 || first[2] != velocities[step.LampAir] {
		t.Errorf("at first %x", first)
	}
	if again := told(); again != "" {
		t.Errorf("the same again: %s", again)
	}
	d.Event(step.Down, d.Button(t, "cameras", 1, 2), 0)
	d.Event(step.Up, d.Button(t, "cameras", 1, 2), 0)
	// Wide stays on the air by a loop-through; the goal would be when live.
	if got := told(); got != "922519" {
		t.Errorf("after a cut to the goal: %s", got)
	}
	d.Event(step.Fault, surfacetest.Device(t, p, "mixer"), int32(program.Away))
	if got := told(); !strings.Contains(got, "922464") {
		t.Errorf("with the mixer away: %s", got)
	}
	s.Forget()
	if got := s.Lamps(d.View(), time.Now()); len(got) != len(first) {
		t.Errorf("%d bytes when nobody knows what is lit, %d at first", len(got), len(first))
	}
	high := speak(Config{Surface: "desk", Base: 120}, &surface.Hand{})
	if got := high.Lamps(d.View(), time.Now()); len(got) != 3*8 {
		t.Errorf("from note 120 on %d bytes are told", len(got))
	}
}

// TestExtraLamps: the notes that are no buttons say that a show is on trial, and
// who has taken the surface over.
func TestExtraLamps(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	hand := surface.Hand{Desk: d, By: "midi"}
	s := speak(Config{Surface: "desk", Base: DefaultBase, Extra: 10}, &hand)
	told := func(what, want string) {
		t.Helper()
		if got := fmt.Sprintf("%x", s.Lamps(d.View(), time.Now())); got != want {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	if first := s.Lamps(d.View(), time.Now()); len(first) != 3*(15+4) {
		t.Errorf("at first %x", first)
	}
	if _, err := d.Load(surface.Load{By: "test", Trial: time.Minute}); err != nil {
		t.Fatal(err)
	}
	told("on trial", "900a32900b32")
	hand.Give(surface.Keep, 0, -1, -1, 0)
	told("kept", "900a00900b00")
	hand.Give(surface.TakeOver, 0, -1, -1, 0)
	told("taken over", "900c19")
	d.Press(surface.Press{Kind: surface.TakeOver, Surface: 0, Button: -1, By: "another"})
	told("by another", "900c64")
}

// TestPageOfMIDI: a page that turns clears the places that it leaves empty.
func TestPageOfMIDI(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := speak(Config{Surface: "desk", Base: DefaultBase}, &surface.Hand{})
	if got := notes(s.Lamps(d.View(), time.Now())); !strings.HasPrefix(got, "ch1 36:127 on") {
		t.Errorf("at first %s", got)
	}
	d.Event(step.Down, d.Button(t, "cameras", 3, 4), 0)
	if got := notes(s.Lamps(d.View(), time.Now())); !strings.HasPrefix(got, "ch1 36:0 off") {
		t.Errorf("on the page of the crew: %s", got)
	}
}

// TestDark: lamps that nobody vouches for go out.
func TestDark(t *testing.T) {
	for _, c := range []struct {
		name string
		view func(v surface.View) *surface.View
	}{
		{"at the end", func(surface.View) *surface.View { return nil }},
		{"the controller does not turn", func(v surface.View) *surface.View { v.At = v.At.Add(-time.Minute); return &v }},
		{"a show without the surface", func(v surface.View) *surface.View { v.Program = &program.Program{}; return &v }},
	} {
		d := surfacetest.New(t, surfacetest.Show(t))
		s := speak(Config{Surface: "desk", Base: DefaultBase}, &surface.Hand{})
		lit := strings.Count(notes(s.Lamps(d.View(), time.Now())), "on")
		got := notes(s.Lamps(c.view(*d.View()), time.Now()))
		if lit == 0 || strings.Count(got, ":0 off") != lit || strings.Contains(got, "on") {
			t.Errorf("%s: of %d lamps these go dark: %s", c.name, lit, got)
		}
	}
}
