package midi

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
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
	var d Decoder
	var words []string
	for _, b := range data {
		if n, ok := d.Byte(b); ok {
			words = append(words, fmt.Sprintf("ch%d %d:%d %s", n.Channel+1, n.Key, n.Velocity, map[bool]string{true: "on", false: "off"}[n.On]))
		}
	}
	return strings.Join(words, ", ")
}

// TestDecoder: the first block's bytes are those that mido 1.2.10 (Debian
// python3-mido) writes; the rules of the rest are those of MIDI 1.0 as stated
// at dernulleffekt.de/midi/table4.html (running status and real time: from
// memory).
func TestDecoder(t *testing.T) {
	for _, c := range []struct{ name, bytes, want string }{
		{"note on", "90 3C 7F", "ch1 60:127 on"},
		{"note off", "80 3C 40", "ch1 60:64 off"},
		{"control change", "B0 07 64", ""},
		{"all notes off", "B9 7B 00", ""},
		{"program, then a note", "C1 05 91 3C 01", "ch2 60:1 on"},
		{"bend", "E0 00 40", ""},
		{"song position", "F2 2C 02", ""},

		{"velocity 0 is off", "90 3C 00", "ch1 60:0 off"},
		{"running status", "93 3C 7F 3E 7F 3C 00", "ch4 60:127 on, ch4 62:127 on, ch4 60:0 off"},
		{"running status of one data byte", "C0 3C 3C 3C 90 3C 7F", "ch1 60:127 on"},
		{"real time in between", "90 F8 3C FE 7F FA 3E FF 40", "ch1 60:127 on, ch1 62:64 on"},
		{"system exclusive", "90 3C 7F F0 7E 3C 7F F7 3C 7F 90 3E 01", "ch1 60:127 on, ch1 62:1 on"},
		{"real time in exclusive", "F0 7E F8 3C F7 90 3E 01", "ch1 62:1 on"},
		{"system common ends running status", "90 3C 7F F3 01 3C 00", "ch1 60:127 on"},
		{"exclusive that does not end", "F0 3C 7F 90 3C 7F", "ch1 60:127 on"},
		{"cut message", "90 3C 80 3C 40", "ch1 60:64 off"},
		{"data of nobody", "3C 7F 3C 7F", ""},
		{"begins in the middle", "7F 90 3C 7F", "ch1 60:127 on"},
		{"nothing", "", ""},
	} {
		if got := notes(bytesOf(t, c.bytes)); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// TestRunningStatusIsTheSame: notes written with and without running status,
// with real-time bytes strewn in, are the same notes.
func TestRunningStatusIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var whole, running []byte
		last := byte(0)
		for range rapid.IntRange(0, 30).Draw(t, "notes") {
			status := rapid.SampledFrom([]byte{0x80, 0x90, 0x95, 0xB0}).Draw(t, "status")
			data := []byte{rapid.ByteMax(127).Draw(t, "key"), rapid.ByteMax(127).Draw(t, "velocity")}
			whole = append(append(whole, status), data...)
			if status != last {
				running = append(running, status)
			}
			last = status
			for _, b := range data {
				if rapid.Bool().Draw(t, "tick") {
					running = append(running, 0xF8)
				}
				running = append(running, b)
			}
		}
		if a, b := notes(whole), notes(running); a != b {
			t.Fatalf("%x: %s\n%x: %s", whole, a, running, b)
		}
	})
}

// FuzzDecoder: no bytes give a note that MIDI does not have.
func FuzzDecoder(f *testing.F) {
	f.Add([]byte{0x90, 0x3C, 0x7F, 0x3C, 0x00})
	f.Add([]byte{0xF0, 0x7E, 0xF8, 0xF7, 0x80, 0x3C, 0x40})
	f.Fuzz(func(t *testing.T, data []byte) {
		var d Decoder
		n := 0
		for _, b := range data {
			note, ok := d.Byte(b)
			if ok {
				n++
			}
			if note.Key > 127 || note.Velocity > 127 || note.Channel > 15 || note.On && note.Velocity == 0 || !ok && note != (Note{}) {
				t.Errorf("%x gives %+v", data, note)
			}
		}
		if 2*n > len(data) {
			t.Errorf("%d bytes gave %d notes", len(data), n)
		}
	})
}

// pressed is what was pressed, in words.
func pressed(d *surfacetest.Desk) string {
	var words []string
	for _, p := range d.Pressed() {
		words = append(words, p.Of.Buttons[p.Button].Label+map[surface.Kind]string{surface.Down: " down", surface.Up: " up"}[p.Kind])
	}
	return strings.Join(words, ", ")
}

func start(t *testing.T, d surface.Desk, c Config) *Surface {
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
		{"row 2", "90 29 40 80 29 00", Config{}, "Replay down, Replay up"},
		{"chord", "90 24 7F 26 7F 24 00 26 00", Config{}, "Wide down, Talk down, Wide up, Talk up"},
		{"pulled out while held", "90 26 7F", Config{}, "Talk down, Talk up"},
		{"no button there", "90 27 7F 90 0A 7F 90 7F 7F", Config{}, ""},
		{"another base", "90 00 7F 00 00", Config{Base: 1}, ""},
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
			start(t, d, c.config).running.Wait() // a recording ends by itself
			if got := pressed(d); got != c.want {
				t.Errorf("pressed %q, want %q", got, c.want)
			}
		})
	}
}

// TestStartRefuses: numbers that MIDI does not have.
func TestStartRefuses(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	for _, c := range []Config{{Channel: 17}, {Channel: -1}, {Base: 128}, {Base: -1}} {
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
	s := &Surface{Config: Config{Surface: "desk", Base: DefaultBase, Channel: 3}}
	shown := map[byte]byte{}
	first := s.lamps(d.View(), shown)
	if len(first) != 3*15 || first[0] != 0x92 || first[1] != 36 || first[2] != velocities[step.LampAir] {
		t.Errorf("at first %x", first)
	}
	if again := s.lamps(d.View(), shown); len(again) != 0 {
		t.Errorf("the same again: %x", again)
	}
	d.Event(step.Down, d.Button(t, "cameras", 1, 2), 0)
	d.Event(step.Up, d.Button(t, "cameras", 1, 2), 0)
	// Wide stays on the air by a loop-through; the goal would be when live.
	if got := fmt.Sprintf("%x", s.lamps(d.View(), shown)); got != "922519" {
		t.Errorf("after a cut to the goal: %s", got)
	}
	mixer := int32(-1)
	for i := range p.Devices {
		if p.Devices[i].Name == "mixer" {
			mixer = int32(i)
		}
	}
	d.Event(step.Fault, mixer, int32(program.Away))
	if got := fmt.Sprintf("%x", s.lamps(d.View(), shown)); !strings.Contains(got, "922464") {
		t.Errorf("with the mixer away: %s", got)
	}
	high := &Surface{Config: Config{Surface: "desk", Base: 120}}
	if got := high.lamps(d.View(), map[byte]byte{}); len(got) != 3*8 {
		t.Errorf("from note 120 on %d bytes are told", len(got))
	}
}
