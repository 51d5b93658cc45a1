package prepare

import (
	"strings"
	"unicode/utf8"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/sim/rehearse"
)

// Rehearsed gives what one rehearsal found as diagnostics with their places in
// the sources: what missed, and what the on-air checks found that nobody has
// accepted.
func (r Result) Rehearsed(run rehearse.Result) diag.List {
	var list diag.List
	for _, m := range run.Misses {
		d := diag.New(m.Code, r.Span(m.At), "%s", m.What)
		if m.Seen != "" {
			d = d.With(d.At, m.Seen)
		}
		list.Add(d)
	}
	for _, f := range run.Findings {
		if !f.Open() {
			continue
		}
		d := diag.New(diag.Code(f.Code), r.Span(f.At), "%s", f.What)
		for _, note := range f.Also {
			d = d.With(r.Span(note.At), note.Text)
		}
		list.Add(d)
	}
	return list.Tidy()
}

// Span is the place in the sources of a place of the program: the statement
// that begins there. Of a compiled show there is no text, but the line and the
// column are right.
func (r Result) Span(at program.Place) source.Span {
	name := ""
	if int(at.File) < len(r.Program.Files) {
		name = r.Program.Files[at.File].Name
	}
	for _, f := range []*source.File{r.Show, r.Plan} {
		if f != nil && f.Name == name && len(f.Bytes) > 0 {
			start := f.LineStart(int(at.Line)) + columns(f.Line(int(at.Line)), int(at.Column))
			return f.At(start, start+statement(f.Bytes[start:]))
		}
	}
	if at.Line == 0 {
		return r.Show.At(0, 0)
	}
	blank := strings.Repeat("\n", int(at.Line)-1) + strings.Repeat(" ", max(0, int(at.Column)-1))
	return source.New(name, []byte(blank)).At(len(blank), len(blank))
}

// columns is the offset of a column, counted from 1 in characters.
func columns(line string, column int) int {
	at := 0
	for n := 1; n < column && at < len(line); n++ {
		_, size := utf8.DecodeRuneInString(line[at:])
		at += size
	}
	return at
}

// statement is the length of the statement at the start of text: up to a line
// end, a semicolon or a brace outside of quotes.
func statement(text []byte) int {
	quoted := false
	end := len(text)
	for i, c := range text {
		if c == '"' {
			quoted = !quoted
		}
		if c == '\n' || !quoted && strings.IndexByte(";{}#", c) >= 0 {
			end = i
			break
		}
	}
	return len(strings.TrimRight(string(text[:end]), " \t\r"))
}
