package source

import (
	"testing"
	"unicode/utf16"

	"pgregory.net/rapid"
)

func TestPosition(t *testing.T) {
	// The emoji is U+1F600: four bytes, two UTF-16 units, two terminal cells
	// (Unicode's East Asian Width W). é is two bytes, one of everything else.
	f := New("a.show", []byte("one\n\té😀x\r\nlast"))
	tests := []struct {
		offset int
		want   Position
	}{
		{0, Position{1, 1, 0, 0}},
		{3, Position{1, 4, 3, 3}},
		{4, Position{2, 1, 0, 0}},
		{5, Position{2, 2, 1, 8}},   // behind the tab
		{7, Position{2, 3, 2, 9}},   // behind é
		{11, Position{2, 4, 4, 11}}, // behind the emoji
		{14, Position{3, 1, 0, 0}},
		{18, Position{3, 5, 4, 4}},
		{999, Position{3, 5, 4, 4}}, // moved to the end
		{-1, Position{1, 1, 0, 0}},
	}
	for _, tt := range tests {
		if got := f.Position(tt.offset); got != tt.want {
			t.Errorf("Position(%d) = %v, want %v", tt.offset, got, tt.want)
		}
	}
}

func TestLine(t *testing.T) {
	f := New("a.show", []byte("one\r\n\nthree"))
	for n, want := range map[int]string{0: "", 1: "one", 2: "", 3: "three", 4: ""} {
		if got := f.Line(n); got != want {
			t.Errorf("Line(%d) = %q, want %q", n, got, want)
		}
	}
	if New("empty", nil).Lines() != 1 {
		t.Error("an empty file has one line")
	}
}

func TestSpanTo(t *testing.T) {
	f, g := New("f", []byte("abcdef")), New("g", []byte("abcdef"))
	if got := f.At(3, 4).To(f.At(1, 2)); got != f.At(1, 4) {
		t.Errorf("To goes to the outer ends, got %v", got)
	}
	if got := f.At(1, 2).To(g.At(3, 4)); got != f.At(1, 2) {
		t.Errorf("a span of another file is left out, got %v", got)
	}
	if got := (Span{}).To(f.At(1, 2)); got != f.At(1, 2) {
		t.Errorf("from nowhere to a span is the span, got %v", got)
	}
	if got := f.At(1, 4).Text(); got != "bcd" {
		t.Errorf("Text = %q", got)
	}
}

// Columns and UTF-16 units agree with the standard library's count of the
// text before the offset, on any text.
func TestPositionAgainstUTF16(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		f := New("f", []byte(text))
		offset := rapid.IntRange(0, len(text)).Draw(t, "offset")
		for offset < len(text) && text[offset]&0xc0 == 0x80 {
			offset++ // into the middle of a character nothing points
		}
		p := f.Position(offset)
		before := []rune(text[f.LineStart(p.Line):offset])
		if p.Column != len(before)+1 || p.UTF16 != len(utf16.Encode(before)) {
			t.Fatalf("Position(%d) of %q = %v", offset, text, p)
		}
	})
}

// LineColumn says the same as Position, in any file, at any offset.
func TestLineColumnIsThePosition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := New("f", []byte(rapid.StringOf(rapid.SampledFrom([]rune("ab\n\t\rä漢👍"))).Draw(t, "text")))
		offset := rapid.IntRange(-2, len(f.Bytes)+2).Draw(t, "offset")
		p := f.Position(offset)
		if line, column := f.LineColumn(offset); line != p.Line || column != p.Column {
			t.Fatalf("%q at %d: %d:%d, not %d:%d", f.Bytes, offset, line, column, p.Line, p.Column)
		}
	})
}
