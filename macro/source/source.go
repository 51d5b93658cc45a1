// Package source holds the text of a file and says where in it a thing stands.
//
// It takes bytes and gives positions as byte offsets, line and column, UTF-16
// units and terminal cells. There is one converter, so that a caret never
// slips on a tab or an emoji. Nothing here reads the disk.
package source

import (
	"sort"
	"unicode/utf8"
)

// File is one input file. Bytes is never changed after New.
type File struct {
	Name  string // as the user wrote it
	Bytes []byte
	lines []int32 // offset of the first byte of each line
}

// New makes a File of a name and its bytes.
func New(name string, bytes []byte) *File {
	f := &File{Name: name, Bytes: bytes, lines: []int32{0}}
	for i, b := range bytes {
		if b == '\n' {
			f.lines = append(f.lines, int32(i+1))
		}
	}
	return f
}

// Span is a run of bytes of one file: Start is the first byte, End is one past
// the last. The zero Span has no file: IsZero.
type Span struct {
	File       *File
	Start, End int32
}

// At makes a Span of f.
func (f *File) At(start, end int) Span { return Span{f, int32(start), int32(end)} }

// IsZero says that the span names no place.
func (s Span) IsZero() bool { return s.File == nil }

// Text is the text that the span covers.
func (s Span) Text() string {
	if s.File == nil {
		return ""
	}
	return string(s.File.Bytes[s.Start:s.End])
}

// To is the span from the start of s to the end of t, both in one file.
func (s Span) To(t Span) Span {
	if s.File == nil {
		return t
	}
	if t.File != s.File {
		return s
	}
	return Span{s.File, min(s.Start, t.Start), max(s.End, t.End)}
}

// Position is a place for people and editors. Line and Column count from 1,
// Column in characters (code points); UTF16 counts from 0 in 16-bit units, as
// editors do; Cell counts from 0 in terminal cells, a tab going to the next
// multiple of eight.
type Position struct{ Line, Column, UTF16, Cell int }

// Lines is the number of lines; an empty file has one.
func (f *File) Lines() int { return len(f.lines) }

// Line is the text of line n (from 1) without its line end, and "" when there
// is no such line.
func (f *File) Line(n int) string {
	if n < 1 || n > len(f.lines) {
		return ""
	}
	start, end := int(f.lines[n-1]), len(f.Bytes)
	if n < len(f.lines) {
		end = int(f.lines[n]) - 1
	}
	for end > start && (f.Bytes[end-1] == '\r' || f.Bytes[end-1] == '\n') {
		end--
	}
	return string(f.Bytes[start:end])
}

// LineStart is the offset of the first byte of line n (from 1).
func (f *File) LineStart(n int) int {
	n = min(max(n, 1), len(f.lines))
	return int(f.lines[n-1])
}

// Position converts a byte offset. Offsets outside the file are moved to its
// ends.
func (f *File) Position(offset int) Position {
	offset = min(max(offset, 0), len(f.Bytes))
	line := sort.Search(len(f.lines), func(i int) bool { return int(f.lines[i]) > offset })
	p := Position{Line: line, Column: 1}
	for i := int(f.lines[line-1]); i < offset; {
		r, size := utf8.DecodeRune(f.Bytes[i:])
		p.Column++
		p.UTF16++
		if r >= 0x10000 {
			p.UTF16++
		}
		if r == '\t' {
			p.Cell = (p.Cell/8 + 1) * 8
		} else {
			p.Cell += cells(r)
		}
		i += size
	}
	return p
}

// LineColumn is Position's Line and Column, for who needs no more.
func (f *File) LineColumn(offset int) (line, column int) {
	offset = min(max(offset, 0), len(f.Bytes))
	line = sort.Search(len(f.lines), func(i int) bool { return int(f.lines[i]) > offset })
	column = 1
	for i := int(f.lines[line-1]); i < offset; column++ {
		if f.Bytes[i] < utf8.RuneSelf {
			i++
			continue
		}
		_, size := utf8.DecodeRune(f.Bytes[i:])
		i += size
	}
	return line, column
}

// Begin is the position of the span's first byte.
func (s Span) Begin() Position {
	if s.File == nil {
		return Position{Line: 1, Column: 1}
	}
	return s.File.Position(int(s.Start))
}

// Finish is the position one past the span's last byte.
func (s Span) Finish() Position {
	if s.File == nil {
		return Position{Line: 1, Column: 1}
	}
	return s.File.Position(int(s.End))
}

// cells is the width of a character on a terminal: 0 for combining marks and
// joiners, 2 for the wide ranges of Unicode's East Asian Width and for emoji,
// else 1.
func cells(r rune) int {
	switch {
	case r == 0x200d || r >= 0xfe00 && r <= 0xfe0f || r >= 0x300 && r <= 0x36f || r >= 0x1f3fb && r <= 0x1f3ff:
		return 0
	case r >= 0x1100 && r <= 0x115f, r >= 0x2e80 && r <= 0xa4cf, r >= 0xac00 && r <= 0xd7a3,
		r >= 0xf900 && r <= 0xfaff, r >= 0xfe30 && r <= 0xfe6f, r >= 0xff00 && r <= 0xff60,
		r >= 0xffe0 && r <= 0xffe6, r >= 0x1f300 && r <= 0x1faff, r >= 0x20000 && r <= 0x3fffd:
		return 2
	}
	return 1
}

// Width is the number of terminal cells that text takes from cell 0.
func Width(text string) int {
	w := 0
	for _, r := range text {
		if r == '\t' {
			w = (w/8 + 1) * 8
		} else {
			w += cells(r)
		}
	}
	return w
}
