// Package diag is what Cuewright says about a mistake.
//
// A Diagnostic has a stable code, an exact place, what is wrong in the user's
// words, why it matters on the night, and mends. The codes stand in codes*.go,
// one table a stage; each has a lesson in macro/lesson.
package diag

import (
	"cmp"
	"fmt"
	"slices"

	"cuewright/macro/source"
)

// Severity says how bad a finding is.
type Severity uint8

// The severities. Only an Error stops a show from being compiled.
const (
	Error Severity = iota
	Warning
	Advice
)

func (s Severity) String() string { return [...]string{"error", "warning", "advice"}[s] }

// Code names a kind of finding: kebab words that read well after `allow`.
// A code is never renamed.
type Code string

// Entry is a code's row in its table. Why is one sentence about the night.
// Title is a few words for lists.
type Entry struct {
	Code     Code
	Severity Severity
	Title    string
	Why      string
}

// Place is another place that a finding points at, and what is to see there.
type Place struct {
	At   source.Span
	Note string
}

// Edit replaces the text at At with New.
type Edit struct {
	At  source.Span
	New string
}

// Mend is a suggestion. Do is an order in the user's words ("write `deck`").
// Sure means that applying Edits cannot change what the user meant.
type Mend struct {
	Do    string
	Edits []Edit
	Sure  bool
}

// Diagnostic is one finding. What has the user's things in backticks, starts
// with a small letter and ends without a full stop.
type Diagnostic struct {
	Code     Code
	Severity Severity
	At       source.Span
	What     string
	Why      string
	Also     []Place
	Mends    []Mend
}

// New makes a finding; severity and reason come from the code's row.
func New(code Code, at source.Span, format string, args ...any) Diagnostic {
	e := Lookup(code)
	return Diagnostic{Code: code, Severity: e.Severity, At: at, What: fmt.Sprintf(format, args...), Why: e.Why}
}

// With adds a place.
func (d Diagnostic) With(at source.Span, note string) Diagnostic {
	if !at.IsZero() {
		d.Also = append(slices.Clip(d.Also), Place{at, note})
	}
	return d
}

// Mend adds a suggestion without an edit.
func (d Diagnostic) Mend(format string, args ...any) Diagnostic {
	d.Mends = append(slices.Clip(d.Mends), Mend{Do: fmt.Sprintf(format, args...)})
	return d
}

// Replace adds a suggestion that is one edit.
func (d Diagnostic) Replace(at source.Span, text string, sure bool, format string, args ...any) Diagnostic {
	d.Mends = append(slices.Clip(d.Mends), Mend{fmt.Sprintf(format, args...), []Edit{{at, text}}, sure})
	return d
}

// List is the findings of one run.
type List []Diagnostic

// Add appends findings.
func (l *List) Add(d ...Diagnostic) { *l = append(*l, d...) }

// Blocking says whether any finding is an Error.
func (l List) Blocking() bool {
	return slices.ContainsFunc(l, func(d Diagnostic) bool { return d.Severity == Error })
}

// Tidy puts findings in reading order (file name, place, code) and drops
// duplicates: the same code, span and text.
func (l List) Tidy() List {
	slices.SortStableFunc(l, func(a, b Diagnostic) int {
		return cmp.Or(cmp.Compare(fileName(a), fileName(b)), cmp.Compare(a.At.Start, b.At.Start), cmp.Compare(a.At.End, b.At.End),
			cmp.Compare(a.Severity, b.Severity), cmp.Compare(a.Code, b.Code), cmp.Compare(a.What, b.What))
	})
	return slices.CompactFunc(l, func(a, b Diagnostic) bool {
		return a.Code == b.Code && a.At == b.At && a.What == b.What
	})
}

func fileName(d Diagnostic) string {
	if d.At.File == nil {
		return ""
	}
	return d.At.File.Name
}
