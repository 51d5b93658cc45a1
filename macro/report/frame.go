package report

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"cuewright/macro/source"
)

// frameCells is the widest piece of a line that a frame shows. A longer line
// is cut to a piece around the span, with … where it was cut.
const frameCells = 110

// frame writes the span's first line and carets under the span. A span of
// several lines is marked to the end of its first, and says how many follow.
func frame(b *strings.Builder, at source.Span, paint func(string) string) {
	if at.IsZero() || len(at.File.Bytes) == 0 {
		return
	}
	begin, finish := at.Begin(), at.Finish()
	text := at.File.Line(begin.Line)
	if strings.TrimSpace(text) == "" {
		return // nothing to see
	}
	from := begin.Cell
	to, more := finish.Cell, finish.Line-begin.Line
	if more > 0 {
		to = source.Width(text)
		if finish.Column == 1 {
			more-- // it ends with the line end before
		}
	}
	to = max(to, from+1)
	shown, from, to := window(cellsOf(text), from, to)
	gutter := fmt.Sprintf("%4d | ", begin.Line)
	fmt.Fprintf(b, "%s%s\n", gutter, strings.TrimRight(shown, " "))
	fmt.Fprintf(b, "     | %s%s", strings.Repeat(" ", from), paint(strings.Repeat("^", to-from)))
	if more > 0 {
		fmt.Fprintf(b, " and %s", plural(more, "more line", "more lines"))
	}
	b.WriteByte('\n')
}

// cell is a character as it is shown, and the terminal cell where it starts.
type cell struct {
	text string
	at   int
}

// cellsOf lays a line out: tabs become blanks, signs that would steer the
// terminal become a replacement of the same width. The last cell is empty and
// marks the end.
func cellsOf(text string) []cell {
	var out []cell
	at := 0
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		width := source.Width(string(r))
		switch {
		case r == '\t':
			width = (at/8+1)*8 - at
			out = append(out, cell{strings.Repeat(" ", width), at})
		case r == utf8.RuneError || steers(r):
			out = append(out, cell{"\uFFFD", at})
		default:
			out = append(out, cell{text[i : i+size], at})
		}
		at += width
		i += size
	}
	return append(out, cell{"", at})
}

// window is the piece of a line that is shown, and the span's cells in it.
func window(line []cell, from, to int) (text string, f, t int) {
	const before = 40 // cells of context ahead of the span in a cut line
	total := line[len(line)-1].at
	low, high := 0, total
	if total > frameCells {
		low = max(0, from-before)
		high = low + frameCells
	}
	var b strings.Builder
	first, last := -1, 0
	for _, c := range line[:len(line)-1] {
		if c.at < low || c.at >= high {
			continue
		}
		if first < 0 {
			first = c.at
			if first > 0 {
				b.WriteString("…")
				first--
			}
		}
		b.WriteString(c.text)
		last = c.at + 1
	}
	first = max(first, 0)
	if last < total && total > frameCells {
		b.WriteString("…")
		to = min(to, max(last, from+1))
	}
	return b.String(), from - first, to - first
}

// plain is text that cannot steer a terminal and stays on its line: what the
// user wrote may hold anything.
func plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case steers(r):
			return '\uFFFD'
		}
		return r
	}, text)
}

// steers says whether a character moves the cursor, colours, or turns the
// writing direction: controls (C0, C1) and the bidirectional formatting
// characters of Unicode's UAX #9.
func steers(r rune) bool {
	return unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0x200e || r == 0x200f ||
		r == 0x2028 || r == 0x2029
}
