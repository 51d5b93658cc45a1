package keys

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// recorded is events as a kernel writes them: struct input_event of
// include/uapi/linux/input.h, each key event followed by a report.
func recorded(bits int, events ...Event) []byte {
	var out []byte
	put := func(e Event) {
		for range 2 { // seconds and microseconds
			out = append(out, make([]byte, bits/8)...)
			out[len(out)-bits/8] = 0x5A
		}
		out = binary.LittleEndian.AppendUint16(out, e.Type)
		out = binary.LittleEndian.AppendUint16(out, e.Code)
		out = binary.LittleEndian.AppendUint32(out, uint32(e.Value))
	}
	for _, e := range events {
		put(e)
		if e.Type == evKey {
			put(Event{evSyn, 0, 0})
		}
	}
	return out
}

func key(code uint16, value int32) Event { return Event{evKey, code, value} }

// TestSizes: the sizes of struct input_event on machines of 64 and 32 bits.
func TestSizes(t *testing.T) {
	for bits, want := range map[int]int{64: 24, 32: 16, 0: 2*strconv.IntSize/8 + 8} {
		if got := NewDecoder(bits).size; got != want {
			t.Errorf("%d bits: %d bytes, want %d", bits, got, want)
		}
	}
}

// TestDecoderOfParts: however the bytes are cut, the events are the same.
func TestDecoderOfParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]int{32, 64}).Draw(t, "bits")
		var want []Event
		for range rapid.IntRange(0, 8).Draw(t, "events") {
			want = append(want, Event{rapid.Uint16Range(2, 99).Draw(t, "type"), rapid.Uint16().Draw(t, "code"), rapid.Int32().Draw(t, "value")})
		}
		data := recorded(bits, want...)
		d := NewDecoder(bits)
		var got []Event
		for len(data) > 0 {
			n := rapid.IntRange(1, len(data)).Draw(t, "part")
			d.Decode(data[:n], func(e Event) { got = append(got, e) })
			data = data[n:]
		}
		if !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

// FuzzDecoder: an event for each whole one, and no more than one kept.
func FuzzDecoder(f *testing.F) {
	f.Add(recorded(64, key(57, 1), key(57, 0)), true)
	f.Add([]byte("short"), false)
	f.Fuzz(func(t *testing.T, data []byte, wide bool) {
		d := NewDecoder(map[bool]int{true: 64, false: 32}[wide])
		n := 0
		d.Decode(data, func(Event) { n++ })
		if n != len(data)/d.size || len(d.part) != len(data)%d.size || cap(d.part) > 64 {
			t.Errorf("%d bytes: %d events, %d kept", len(data), n, len(d.part))
		}
	})
}

// pressed is what was pressed, in words.
func pressed(d *surfacetest.Desk) string {
	words := map[surface.Kind]string{surface.Down: "down", surface.Up: "up", surface.Go: "go", surface.Back: "back", surface.Skip: "skip", surface.StopAll: "stop all",
		surface.Keep: "keep", surface.Return: "return", surface.TakeOver: "take over", surface.GiveBack: "give back"}
	var all []string
	for _, p := range d.Pressed() {
		word := words[p.Kind]
		if p.Button >= 0 {
			word = p.Of.Buttons[p.Button].Label + " " + word
		}
		all = append(all, word)
	}
	return strings.Join(all, ", ")
}

// TestRecordings: byte files of both sizes of machine.
func TestRecordings(t *testing.T) {
	for _, c := range []struct {
		name   string
		events []Event
		want   string
	}{
		{"a tap", []Event{key(2, 1), key(2, 0)}, "Wide down, Wide up"},
		{"a contact that bounces", []Event{key(2, 1), key(2, 0), key(2, 1), key(2, 0)}, "Wide down, Wide up"},
		{"repeat is no press", []Event{key(4, 1), key(4, 2), key(4, 2), key(4, 2), key(4, 0)}, "Talk down, Talk up"},
		{"two at once", []Event{key(2, 1), key(4, 1), key(2, 0), key(4, 0)}, "Wide down, Talk down, Wide up, Talk up"},
		{"letters are row 2", []Event{key(16, 1), key(16, 0)}, "Replay down, Replay up"},
		{"keypad", []Event{key(71, 1), key(71, 0), key(75, 1), key(75, 0)}, "Wide down, Replay down, Wide up, Replay up"}, // a contact comes to rest later
		{"commands", []Event{key(57, 1), key(57, 2), key(57, 0), key(14, 1), key(14, 0), key(15, 1), key(1, 1)}, "go, back, skip, stop all"},
		{"on trial", []Event{key(28, 1), key(28, 2), key(28, 0), key(111, 1)}, "keep, return"},
		{"taken over and pulled out", []Event{key(102, 1)}, "take over, give back"},
		{"taken over and given back", []Event{key(102, 1), key(107, 1)}, "take over, give back"},
		{"events were lost", []Event{key(4, 1), {evSyn, synDropped, 0}, key(4, 0)}, "Talk down, Talk up"},
		{"pulled out while held", []Event{key(4, 1)}, "Talk down, Talk up"},
		{"other events", []Event{{4, 4, 0x70004}, {2, 0, 5}, key(272, 1), key(999, 1), key(5, 1)}, ""},
		{"strange values", []Event{key(4, 3), key(4, -1)}, ""},
		{"up without down", []Event{key(4, 0)}, ""},
	} {
		for _, bits := range []int{32, 64} {
			t.Run(fmt.Sprintf("%s, %d", c.name, bits), func(t *testing.T) {
				d := surfacetest.New(t, surfacetest.Show(t))
				path := filepath.Join(t.TempDir(), "events")
				if err := os.WriteFile(path, append(recorded(bits, c.events...), "cut"...), 0o600); err != nil {
					t.Fatal(err)
				}
				s, err := Start(d, Config{File: path, Surface: "desk", Bits: bits})
				if err != nil {
					t.Fatal(err)
				}
				s.Wait() // a recording ends by itself
				_ = s.Close()
				if got := pressed(d); got != c.want {
					t.Errorf("pressed %q, want %q", got, c.want)
				}
			})
		}
	}
}

// TestStartRefuses: a machine that there is not.
func TestStartRefuses(t *testing.T) {
	if s, err := Start(surfacetest.New(t, surfacetest.Show(t)), Config{Bits: 16}); err == nil {
		t.Error("16 bits are taken")
		_ = s.Close()
	}
}

// TestGrabNeedsADevice: of what is no event device the system says so.
func TestGrabNeedsADevice(t *testing.T) {
	f, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if grab(f) == nil {
		t.Error("the null device was grabbed")
	}
}

// TestCodes: every code is the one of the kernel's header, where it is
// installed (Debian package linux-libc-dev).
func TestCodes(t *testing.T) {
	text, err := os.ReadFile("/usr/include/linux/input-event-codes.h")
	if err != nil {
		if os.Getenv("CUEWRIGHT_PEERS") == "1" {
			t.Fatal(err)
		}
		t.Skip("the header is not here; set CUEWRIGHT_PEERS=1 to make this a failure")
	}
	codes := map[string]int{}
	for _, m := range regexp.MustCompile(`#define (KEY_\w+|SYN_\w+|EV_\w+|LED_\w+)\s+(\d+|0x[0-9a-f]+)\b`).FindAllStringSubmatch(string(text), -1) {
		n, err := strconv.ParseInt(m[2], 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		codes[m[1]] = int(n)
	}
	for row, names := range []string{"1 2 3 4 5 6 7 8 9 0", "Q W E R T Y U I O P", "A S D F G H J K L SEMICOLON", "Z X C V B N M COMMA DOT SLASH"} {
		for column, name := range strings.Fields(names) {
			if got := int(typewriter[row][column]); got != codes["KEY_"+name] {
				t.Errorf("%s is %d, not %d", name, codes["KEY_"+name], got)
			}
		}
	}
	for row, names := range []string{"KP7 KP8 KP9", "KP4 KP5 KP6", "KP1 KP2 KP3", "KP0 KPDOT KPENTER"} {
		for column, name := range strings.Fields(names) {
			if got := int(keypad[row][column]); got != codes["KEY_"+name] {
				t.Errorf("%s is %d, not %d", name, codes["KEY_"+name], got)
			}
		}
	}
	for name, kind := range map[string]surface.Kind{"SPACE": surface.Go, "BACKSPACE": surface.Back, "TAB": surface.Skip, "ESC": surface.StopAll} {
		if got, ok := commands[uint16(codes["KEY_"+name])]; !ok || got != kind {
			t.Errorf("%s does %v", name, got)
		}
	}
	if codes["EV_KEY"] != evKey || codes["EV_SYN"] != evSyn || codes["SYN_DROPPED"] != synDropped || codes["EV_LED"] != evLED {
		t.Error("the types of events")
	}
	if codes["LED_NUML"] != lampWrong || codes["LED_CAPSL"] != lampRefused || codes["LED_SCROLLL"] != lampOpen {
		t.Error("the codes of the lamps")
	}
}
