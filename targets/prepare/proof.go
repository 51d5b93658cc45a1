package prepare

import (
	"path/filepath"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/sim/prove"
)

// Proved gives what a proof found as diagnostics with their places in the
// sources, in the proof's order: one for each finding.
func (r Result) Proved(report *prove.Report) diag.List {
	var list diag.List
	for i := range report.Findings {
		f := &report.Findings[i]
		d := diag.New(diag.Code(f.Code), r.Span(f.At), "%s", f.What)
		for _, n := range f.Also {
			d = d.With(r.Span(n.At), n.Text)
		}
		if f.Mend != nil {
			d = d.Mend("%s: `%s`", f.Mend.Do, f.Mend.Line)
		}
		list.Add(d)
	}
	return list
}

// Recheck gives a proof what tries a change: the show at path is compiled with
// it, and nothing is written. It is nil for a compiled show, which has no text.
func (r Result) Recheck(path string, read func(string) ([]byte, error)) prove.Recheck {
	if r.Show == nil || len(r.Show.Bytes) == 0 || r.Plan == nil {
		return nil
	}
	return func(t prove.Try) (*program.Program, string) {
		text, line, ok := r.tried(t)
		if !ok {
			return nil, ""
		}
		again := Show(path, func(name string) ([]byte, error) {
			if filepath.Clean(name) == filepath.Clean(path) {
				return text, nil
			}
			return read(name)
		})
		return again.Program, line
	}
}

// tried is the show's text with a change, and its line as it reads then.
func (r Result) tried(t prove.Try) (text []byte, line string, ok bool) {
	at := r.Span(t.At)
	if at.File != r.Show || at.IsZero() {
		return nil, "", false
	}
	was := string(r.Show.Bytes[at.Start:at.End])
	if t.Swap.Line == 0 {
		is, fits := t.Change(was)
		if !fits || is == was {
			return nil, "", false
		}
		text = replaced(r.Show, at, is)
	} else {
		other := r.Span(t.Swap)
		if other.File != r.Show || other.Start < at.End {
			return nil, "", false
		}
		text = replaced(r.Show, other, was)
		text = append(append(append([]byte{}, text[:at.Start]...), r.Show.Bytes[other.Start:other.End]...), text[at.End:]...)
	}
	changed := source.New(r.Show.Name, text)
	return text, strings.TrimSpace(changed.Line(at.Begin().Line)), true
}

func replaced(f *source.File, at source.Span, by string) []byte {
	return append(append(append([]byte{}, f.Bytes[:at.Start]...), by...), f.Bytes[at.End:]...)
}
