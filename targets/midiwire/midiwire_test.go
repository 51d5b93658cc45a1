package midiwire

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func bytesOf(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// heard is what bytes say, in words.
func heard(data []byte) string {
	var d Decoder
	var words []string
	for _, b := range data {
		switch m := d.Byte(b); m.Kind {
		case NoteMsg:
			words = append(words, fmt.Sprintf("ch%d %d:%d %s", m.Note.Channel+1, m.Note.Key, m.Note.Velocity, map[bool]string{true: "on", false: "off"}[m.Note.On]))
		case Quarter:
			words = append(words, fmt.Sprintf("piece %d is %d", m.Piece>>4, m.Piece&15))
		case Full:
			words = append(words, fmt.Sprint("full ", m.Time))
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

		// Full frame and quarter frames of 01:37:52:16 at 25: the values of the
		// project's notes on standards, agreed with mido.
		{"full frame", "F0 7F 7F 01 01 21 25 34 10 F7", "full [33 37 52 16]"},
		{"full frame of one device", "F0 7F 05 01 01 61 25 34 10 F7", "full [97 37 52 16]"},
		{"real time in a full frame", "F0 7F 7F F8 01 01 21 25 34 10 FE F7", "full [33 37 52 16]"},
		{"full frame that is too short", "F0 7F 7F 01 01 21 25 34 F7", ""},
		{"full frame that is too long", "F0 7F 7F 01 01 21 25 34 10 00 F7", ""},
		{"full frame that is cut off", "F0 7F 7F 01 01 21 25 34 10 90 3C 01 F7", "ch1 60:1 on"},
		{"another universal message", "F0 7F 7F 01 02 21 25 34 10 F7", ""},
		{"another maker's", "F0 7E 7F 01 01 21 25 34 10 F7", ""},
		{"quarter frames", "F1 00 F1 11 F1 24", "piece 0 is 0, piece 1 is 1, piece 2 is 4"},
		{"quarter frames have no running status", "F1 00 11 F1 24", "piece 0 is 0, piece 2 is 4"},
		{"a quarter frame between notes", "90 3C 7F F1 24 3E 7F 90 3E 7F", "ch1 60:127 on, piece 2 is 4, ch1 62:127 on"},
		{"a quarter frame with real time in it", "F1 F8 24", "piece 2 is 4"},
		{"a long exclusive", "F0 7F 7F 01 01 21 25 34 10" + strings.Repeat("00", 300) + "F7 90 3C 01", "ch1 60:1 on"},
	} {
		if got := heard(bytesOf(t, c.bytes)); got != c.want {
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
		if a, b := heard(whole), heard(running); a != b {
			t.Fatalf("%x: %s\n%x: %s", whole, a, running, b)
		}
	})
}

// FuzzDecoder: no bytes give a message that MIDI does not have.
func FuzzDecoder(f *testing.F) {
	f.Add([]byte{0x90, 0x3C, 0x7F, 0x3C, 0x00})
	f.Add([]byte{0xF0, 0x7E, 0xF8, 0xF7, 0x80, 0x3C, 0x40})
	f.Add([]byte{0xF0, 0x7F, 0x7F, 0x01, 0x01, 0x21, 0x25, 0x34, 0x10, 0xF7, 0xF1, 0x24})
	f.Fuzz(func(t *testing.T, data []byte) {
		var d Decoder
		n := 0
		for _, b := range data {
			m := d.Byte(b)
			if m.Kind != None {
				n++
			}
			note := m.Note
			if note.Key > 127 || note.Velocity > 127 || note.Channel > 15 || note.On && note.Velocity == 0 ||
				m.Kind != NoteMsg && note != (Note{}) || m.Kind != Quarter && m.Piece != 0 || m.Kind != Full && m.Time != [4]byte{} || m.Piece > 127 {
				t.Errorf("%x gives %+v", data, m)
			}
			for _, b := range m.Time {
				if b > 127 {
					t.Errorf("%x gives %+v", data, m)
				}
			}
		}
		if 2*n > len(data) {
			t.Errorf("%d bytes gave %d messages", len(data), n)
		}
	})
}
