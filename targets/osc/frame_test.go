package osc

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

// all reads a stream to its end: the packets, and the errors by their words.
func all(r *FrameReader) (packets []string, errs []error) {
	for {
		p, err := r.Next()
		switch {
		case err == nil:
			packets = append(packets, string(p))
		case errors.Is(err, ErrFrameDropped):
			errs = append(errs, err)
		default:
			return packets, append(errs, err)
		}
	}
}

func TestSizedStream(t *testing.T) {
	for name, c := range map[string]struct {
		stream string
		want   []string
		end    error
	}{
		"two packets":            {"\x00\x00\x00\x04/a\x00\x00\x00\x00\x00\x04/b\x00\x00", []string{"/a\x00\x00", "/b\x00\x00"}, io.EOF},
		"empty ones":             {"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x04/a\x00\x00", []string{"/a\x00\x00"}, io.EOF},
		"nothing":                {"", nil, io.EOF},
		"cut in the size":        {"\x00\x00", nil, io.ErrUnexpectedEOF},
		"cut in the packet":      {"\x00\x00\x00\x08/a\x00\x00", nil, io.ErrUnexpectedEOF},
		"cut before the packet":  {"\x00\x00\x00\x08", nil, io.ErrUnexpectedEOF},
		"a negative size":        {"\xff\xff\xff\xff/a\x00\x00", nil, ErrOutOfStep},
		"a size not of four":     {"\x00\x00\x00\x05/a\x00\x00\x00", nil, ErrOutOfStep},
		"a size over the bounds": {"\x00\x01\x00\x00/a\x00\x00", nil, ErrOutOfStep},
		"text instead of OSC":    {"GET / HTTP/1.1\r\n", nil, ErrOutOfStep},
	} {
		for how, r := range map[string]io.Reader{"at once": strings.NewReader(c.stream), "byte by byte": iotest.OneByteReader(strings.NewReader(c.stream))} {
			got, errs := all(NewFrameReader(r, Sized, 0))
			if strings.Join(got, "|") != strings.Join(c.want, "|") || len(errs) != 1 || !errors.Is(errs[0], c.end) {
				t.Errorf("%s, %s: %q, %v", name, how, got, errs)
			}
		}
	}
}

func TestSLIPStream(t *testing.T) {
	const end, esc = "\xc0", "\xdb"
	for name, c := range map[string]struct {
		stream  string
		want    string
		dropped int
		end     error
	}{
		"a double END":                {end + "/a\x00\x00" + end + end + "/b\x00\x00" + end, "/a\x00\x00|/b\x00\x00", 0, io.EOF},
		"a single END, as liblo":      {"/a\x00\x00" + end + "/b\x00\x00" + end, "/a\x00\x00|/b\x00\x00", 0, io.EOF},
		"many ENDs":                   {end + end + end + "/a" + end + end, "/a", 0, io.EOF},
		"escapes":                     {esc + "\xdc" + esc + "\xdd\xdc\xdd" + end, "\xc0\xdb\xdc\xdd", 0, io.EOF},
		"line noise is its own frame": {"noise" + end + "/a\x00\x00" + end, "noise|/a\x00\x00", 0, io.EOF},
		"an unknown escape":           {"/a" + esc + "x/b" + end + "/c" + end, "/c", 1, io.EOF},
		"an END after ESC":            {"/a" + esc + end + "/c" + end, "/c", 1, io.EOF},
		"too long":                    {"123456789" + end + "/c" + end, "/c", 1, io.EOF},
		"just long enough":            {"12345678" + end, "12345678", 0, io.EOF},
		"cut":                         {"/a" + end + "/b", "/a", 0, io.ErrUnexpectedEOF},
		"cut after ESC":               {esc, "", 0, io.ErrUnexpectedEOF},
		"cut while dropping":          {"/a" + esc + "x", "", 0, io.ErrUnexpectedEOF},
		"nothing":                     {"", "", 0, io.EOF},
	} {
		got, errs := all(NewFrameReader(iotest.HalfReader(strings.NewReader(c.stream)), SLIP, 8))
		if strings.Join(got, "|") != c.want || len(errs) != c.dropped+1 || !errors.Is(errs[c.dropped], c.end) {
			t.Errorf("%s: %q, %v", name, got, errs)
		}
	}
}

func TestFramesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		framing := rapid.SampledFrom([]Framing{Sized, SLIP}).Draw(t, "framing")
		special := rapid.SampledFrom([]byte{slipEnd, slipEsc, slipEscEnd, slipEscEsc, 0, '/'})
		packets := rapid.SliceOf(rapid.SliceOfN(special, 4, 4)).Draw(t, "packets")
		var stream []byte
		for _, p := range packets {
			stream = AppendFrame(stream, framing, p)
		}
		got, errs := all(NewFrameReader(bytes.NewReader(stream), framing, 0))
		if len(errs) != 1 || errs[0] != io.EOF || strings.Join(got, "") != string(bytes.Join(packets, nil)) {
			t.Fatalf("%q came back as %q, %v", packets, got, errs)
		}
	})
}

// A size alone costs no memory: nothing is made room for before it comes.
func TestSizeAloneCostsNoMemory(t *testing.T) {
	r := NewFrameReader(strings.NewReader("\x00\x00\xff\xe0"), Sized, 0)
	if _, err := r.Next(); !errors.Is(err, io.ErrUnexpectedEOF) || cap(r.frame) != 0 {
		t.Errorf("%v, and room for %d bytes", err, cap(r.frame))
	}
}

func fuzzFrames(f *testing.F, framing Framing) {
	f.Add([]byte("\x00\x00\x00\x04/a\x00\x00"), []byte("/a\x00\x00"))
	f.Add([]byte("\xc0/a\xdb\xdc\xc0\xc0/b\xdbx\xc0"), []byte("/b\xc0\xdb"))
	f.Fuzz(func(t *testing.T, noise, packet []byte) {
		got, errs := all(NewFrameReader(bytes.NewReader(noise), framing, 64))
		bytesGot := 0
		for _, p := range got {
			bytesGot += len(p)
			if len(p) == 0 || len(p) > 64 {
				t.Fatalf("a packet of %d bytes", len(p))
			}
		}
		if bytesGot > len(noise) || len(errs) > len(noise)+1 {
			t.Fatalf("%d bytes and %d errors out of %d", bytesGot, len(errs), len(noise))
		}
		// After whatever came before, SLIP finds the next frame.
		if framing == SLIP && len(packet) > 0 && len(packet) <= 64 {
			got, _ := all(NewFrameReader(bytes.NewReader(AppendFrame(noise, SLIP, packet)), SLIP, 64))
			if len(got) == 0 || got[len(got)-1] != string(packet) {
				t.Fatalf("%q after %q is lost: %q", packet, noise, got)
			}
		}
	})
}

func FuzzSizedFrames(f *testing.F) { fuzzFrames(f, Sized) }
func FuzzSLIPFrames(f *testing.F)  { fuzzFrames(f, SLIP) }
