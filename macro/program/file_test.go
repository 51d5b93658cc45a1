package program

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// seal puts a right head before any payload.
func seal(payload []byte) []byte {
	return fmt.Appendf(nil, "cuewright-program %d %d %x\n%s", Version, len(payload), sha256.Sum256(payload), payload)
}

func TestEncodeDecodeGivesTheSame(t *testing.T) {
	for _, p := range []*Program{tiny(), {Rate: Rate{Num: 25, Den: 1}, Nodes: []Node{{Device: -1, Tie: -1}},
		Sources: []Source{{Picture: "nothing", Device: -1, Camera: -1, Deck: -1}}, Vars: []Var{{Kind: Standby, Owner: -1, Size: 1}}}} {
		file := Encode(p)
		back, err := Decode(file)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(p, back) {
			t.Errorf("decode(encode(p)) differs:\n%+v\n%+v", p, back)
		}
		if !bytes.Equal(file, Encode(back)) {
			t.Error("the same program gave other bytes")
		}
	}
}

// Names and texts come from people: any of them survives the file.
func TestAnyTextSurvives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := tiny()
		word := rapid.String().Draw(t, "text")
		p.Show, p.Texts[0], p.Clips[0].Name = word, word, word
		p.Messages[0].OSC = rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "osc")
		back, err := Decode(Encode(p))
		if err != nil || !reflect.DeepEqual(p, back) {
			t.Fatalf("%q did not survive: %v", word, err)
		}
	})
}

func TestDecodeRefuses(t *testing.T) {
	good := string(Encode(tiny()))
	head, payload, _ := strings.Cut(good, "\n")
	large, now := seal(nil), fmt.Sprintf(" %d ", Version)
	for _, c := range []struct {
		name, file string
		want       error
	}{
		{"nothing", "", ErrNotProgram{}},
		{"a show", `show "Tiny" uses "rack.yaml"`, ErrNotProgram{}},
		{"a part of the first word", "cuewright-prog", ErrNotProgram{}},
		{"only the first word", "cuewright-program ", ErrDamaged{}},
		{"a version that is no number", "cuewright-program one 2 00\n{}", ErrDamaged{}},
		{"a later version with another head", "cuewright-program 12 zstd\n\x00\x01", ErrNewer{12}},
		{"a version of long ago", strings.Replace(good, now, " 0 ", 1), ErrDamaged{}},
		{"a head with leading zeros", strings.Replace(good, now, " 0"+now[1:], 1), ErrDamaged{}},
		{"a head without its end", head, ErrDamaged{}},
		{"a claimed length above the limit", "cuewright-program" + now + "99999999 00\n{}", ErrTooLarge{99999999}},
		{"more bytes than the limit", string(large) + strings.Repeat("x", MaxPayload+1), ErrTooLarge{MaxPayload + 1}},
		{"half a file", good[:len(good)/2], ErrDamaged{}},
		{"a byte too many", good + "\n", ErrDamaged{}},
		{"one letter changed", strings.Replace(good, "Doors", "doors", 1), ErrDamaged{}},
		{"no payload", string(seal(nil)), ErrDamaged{}},
		{"an unknown field", string(seal([]byte(strings.Replace(payload, "{", `{"Colour":1,`, 1)))), ErrDamaged{}},
		{"a field twice", string(seal([]byte(strings.Replace(payload, "{", `{"Show":"Tiny",`, 1)))), ErrDamaged{}},
		{"a field in small letters", string(seal([]byte(strings.Replace(payload, `"Show"`, `"show"`, 1)))), ErrDamaged{}},
		{"blanks", string(seal([]byte(strings.Replace(payload, ":", ": ", 1)))), ErrDamaged{}},
		{"a second text after it", string(seal([]byte(payload + payload))), ErrDamaged{}},
		{"a number too large for its field", string(seal([]byte(strings.Replace(payload, `"Owner":0`, `"Owner":4294967296`, 1)))), ErrDamaged{}},
		{"a list in place of an object", string(seal([]byte("[1]"))), ErrDamaged{}},
		{"null", string(seal([]byte("null"))), ErrDamaged{}},
		{"an index out of range", string(seal([]byte(strings.Replace(payload, `"Timer":0`, `"Timer":77`, 1)))), ErrDamaged{}},
	} {
		p, err := Decode([]byte(c.file))
		if p != nil || err == nil || reflect.TypeOf(err) != reflect.TypeOf(c.want) {
			t.Errorf("%s: got %v, want %T", c.name, err, c.want)
			continue
		}
		if _, damaged := err.(ErrDamaged); !damaged && err != c.want {
			t.Errorf("%s: got %#v, want %#v", c.name, err, c.want)
		}
		if words := err.Error(); strings.ContainsAny(words[len(words)-1:], ".?!") || words != strings.ToLower(words[:1])+words[1:] {
			t.Errorf("%s: %q is not worded like a finding", c.name, words)
		}
	}
}

// A flipped bit anywhere in a file on a worn card is noticed.
func TestEveryFlippedBitIsNoticed(t *testing.T) {
	file := Encode(tiny())
	for i := range file {
		for bit := range 8 {
			if i%97 != bit && i > 200 { // all of the head, one bit of 97 bytes after it
				continue
			}
			file[i] ^= 1 << bit
			if _, err := Decode(file); err == nil {
				t.Errorf("bit %d of byte %d can be flipped", bit, i)
			}
			file[i] ^= 1 << bit
		}
	}
}

func TestErrorsCanBeToldApart(t *testing.T) {
	_, err := Decode(fmt.Appendf(nil, "cuewright-program %d 0 0\n", Version+1))
	var newer ErrNewer
	if err = fmt.Errorf("small.cue: %w", err); !errors.As(err, &newer) || newer.Version != Version+1 {
		t.Errorf("%v is not ErrNewer", err)
	}
}

func TestMessageIndex(t *testing.T) {
	p := tiny()
	index := p.MessageIndex()
	if len(index) != 2 || index[Command{Verb: Crosspoint, B: 1}] != 1 {
		t.Errorf("got %v", index)
	}
	if _, ok := index[Command{Verb: Take}]; ok {
		t.Error("a command without a message has one")
	}
}

func FuzzDecode(f *testing.F) {
	good := Encode(tiny())
	_, payload, _ := bytes.Cut(good, []byte("\n"))
	f.Add(good)
	f.Add(payload)
	for _, change := range [][2]string{{`"Timer":0`, `"Timer":7`}, {`"Rests":[`, `"Rests":[1,`}, {`"L":6`, `"L":9`}, {`"Up":[`, `"Up":[-1,`}} {
		f.Add(bytes.Replace(payload, []byte(change[0]), []byte(change[1]), 1))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, file := range [][]byte{data, seal(data)} {
			if p, err := Decode(file); err == nil {
				use(p)
				if !bytes.Equal(Encode(p), file) {
					t.Error("two files are one program")
				}
			}
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	p := tiny()
	for i := range 20_000 { // as many crosspoints as a large router has
		p.Switches[0].Picks = append(p.Switches[0].Picks, Pick{3, int32(i), "cam"})
		p.Nodes[7].Up = append(p.Nodes[7].Up, 3)
		p.Messages = append(p.Messages, Message{Command{Crosspoint, 0, int32(i + 2), 0}, 0, make([]byte, 40), nil, "route aux1 from cam"})
	}
	p.Vars[p.Switches[0].Var].Size = uint32(len(p.Switches[0].Picks))
	file := Encode(p)
	b.SetBytes(int64(len(file)))
	for b.Loop() {
		if _, err := Decode(file); err != nil {
			b.Fatal(err)
		}
	}
}
