package osc

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// lines are the lines of a file in testdata/wire that hold something; each
// file names the source of its values.
func lines(t testing.TB, name string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../testdata/wire", name))
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			out = append(out, line)
		}
	}
	return out
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return b
}

// message reads "/path tag:value …".
func message(t testing.TB, text string) Message {
	t.Helper()
	words := strings.Fields(text)
	m := Message{Path: words[0]}
	for _, w := range words[1:] {
		tag, value, _ := strings.Cut(w, ":")
		a, err := arg(tag, value)
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		m.Args = append(m.Args, a)
	}
	return m
}

func arg(tag, value string) (Arg, error) {
	switch tag {
	case "i", "h":
		v, err := strconv.ParseInt(value, 10, 64)
		if tag == "i" {
			return Int32(int32(v)), err
		}
		return Int64(v), err
	case "f":
		v, err := strconv.ParseFloat(value, 32)
		return Float32(float32(v)), err
	case "d":
		v, err := strconv.ParseFloat(value, 64)
		return Float64(v), err
	case "s":
		return String(value), nil
	case "S":
		return Symbol(value), nil
	case "c":
		return Char(value[0]), nil
	case "b":
		v, err := hex.DecodeString(value)
		return Blob(v), err
	case "r":
		v, err := strconv.ParseUint(value, 16, 32)
		return Colour(uint32(v)), err
	case "m":
		v, err := hex.DecodeString(value)
		return MIDI(v[0], v[1], v[2], v[3]), err
	case "t":
		v, err := strconv.ParseUint(strings.Replace(value, ".", "", 1), 16, 64)
		return Time(TimeTag(v)), err
	case "T", "F":
		return Bool(tag == "T"), nil
	case "N":
		return Null(), nil
	case "I":
		return Infinitum(), nil
	case "[":
		return ArrayStart(), nil
	case "]":
		return ArrayEnd(), nil
	}
	return Arg{}, fmt.Errorf("no tag %q", tag)
}

func TestMessageVectors(t *testing.T) {
	all := lines(t, "messages.txt")
	seen := map[byte]bool{}
	for i := 0; i < len(all); i += 2 {
		m, want := message(t, all[i]), unhex(t, all[i+1])
		for _, a := range m.Args {
			seen[a.Tag] = true
		}
		got, err := Encode(m)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("Encode(%s) = %x, %v; want %x", all[i], got, err, want)
		}
		got, err = AppendMessage([]byte("before"), m.Path, m.Args...)
		if err != nil || !bytes.Equal(got, append([]byte("before"), want...)) {
			t.Errorf("AppendMessage(%s) = %x, %v", all[i], got, err)
		}
		back, err := Decode(want)
		if err != nil || fmt.Sprint(back) != fmt.Sprint(m) {
			t.Errorf("Decode(%x) = %v, %v; want %v", want, back, err, m)
		}
		for j, a := range back.(Message).Args {
			if a != m.Args[j] {
				t.Errorf("%s: argument %d came back as %v", all[i], j, a)
			}
		}
	}
	for _, tag := range "ifsbhtdScrmTFNI[]" {
		if !seen[byte(tag)] {
			t.Errorf("no vector has tag %c", tag)
		}
	}
}

// Source: the same bytes from liblo, npm osc and osc-min.
func TestBundleVectors(t *testing.T) {
	first := Message{"/oscillator/4/frequency", []Arg{Float32(440)}}
	dated := Bundle{Time: 0xe800000040000000, Elements: []Packet{
		Message{"/a", []Arg{Int32(1)}}, Message{"/b", []Arg{Int32(2)}}}}
	const datedHex = "2362756e646c6500 e800000040000000 0000000c 2f610000 2c690000 00000001 0000000c 2f620000 2c690000 00000002"
	for _, c := range []struct {
		bundle Bundle
		hex    string
	}{
		{Bundle{Time: Immediately}, "2362756e646c6500 0000000000000001"},
		{Bundle{Time: Immediately, Elements: []Packet{first}}, "2362756e646c6500 0000000000000001 00000020" +
			"2f6f7363 696c6c61 746f722f 342f6672 65717565 6e637900 2c660000 43dc0000"},
		{dated, datedHex},
		{Bundle{Time: Immediately, Elements: []Packet{dated}}, "2362756e646c6500 0000000000000001 00000030" + datedHex},
	} {
		want := unhex(t, c.hex)
		got, err := AppendPacket(nil, c.bundle)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("AppendPacket(%v) = %x, %v; want %x", c.bundle, got, err, want)
		}
		back, err := Decode(want)
		if err != nil || fmt.Sprint(back) != fmt.Sprint(c.bundle) {
			t.Errorf("Decode(%x) = %v, %v; want %v", want, back, err, c.bundle)
		}
	}
}

func TestRejects(t *testing.T) {
	for _, line := range lines(t, "rejects.txt") {
		packet, want, _ := strings.Cut(line, " | ")
		p, err := Decode(unhex(t, packet))
		var m *Malformed
		if !errors.As(err, &m) || m.Err.Error() != want {
			t.Errorf("Decode(%s) = %v, %v; want %q", packet, p, err, want)
		}
	}
	if p, err := Decode(nil); err == nil {
		t.Errorf("an empty packet is %v", p)
	}
}

// OSC 1.0: "OSC implementations should be robust in the case of a missing OSC
// Type Tag String."
func TestMessageWithoutTypeTags(t *testing.T) {
	p, err := Decode(unhex(t, "2f610000"))
	if m, ok := p.(Message); err != nil || !ok || m.Path != "/a" || len(m.Args) != 0 {
		t.Errorf("got %v, %v", p, err)
	}
}

// OSC 1.0: a message with an unrecognised tag should be discarded; the rest of
// its bundle should not.
func TestUnknownTagInBundleIsLeftOut(t *testing.T) {
	known := unhex(t, "2f610000 2c690000 00000001")
	unknown := unhex(t, "2f620000 2c510000 00000002")
	packet, err := AppendBundle(nil, Immediately, known, unknown, known)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Decode(packet)
	if b, ok := p.(Bundle); err != nil || !ok || len(b.Elements) != 2 || b.Discarded != 1 {
		t.Errorf("got %v, %v", p, err)
	}
}

func TestMatchVectors(t *testing.T) {
	for _, line := range lines(t, "match.txt") {
		f := strings.Fields(line)
		if got := Match(f[0], f[1]); got != (f[2] == "yes") {
			t.Errorf("Match(%s, %s) = %v", f[0], f[1], got)
		}
	}
}

func TestFrameVectors(t *testing.T) {
	for _, line := range lines(t, "frames.txt") {
		f := strings.Fields(line)
		framing := map[string]Framing{"sized": Sized, "slip": SLIP}[f[0]]
		packet, stream := unhex(t, f[1]), unhex(t, f[2])
		if got := AppendFrame(nil, framing, packet); !bytes.Equal(got, stream) {
			t.Errorf("AppendFrame(%s) = %x, want %x", f[1], got, stream)
		}
		got, err := NewFrameReader(bytes.NewReader(stream), framing, 0).Next()
		if err != nil || !bytes.Equal(got, packet) {
			t.Errorf("Next of %x = %x, %v", stream, got, err)
		}
	}
}
