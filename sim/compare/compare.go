// Package compare says what differs for the operator: between two versions of
// a show and its plan (Diff), when a part of the rack dies (Spare), and which
// tie lines the show's routes can have for good (Allocate).
//
// Two versions are compared by effect. What a script does is written down in
// names, without indexes, comments or the order of the file; a button, cue or
// macro has changed when that has. A macro that changed is told once, with the
// buttons and cues that run it. Things that have only another name in the
// file (macros, salvos) have not changed for the operator.
//
// It takes programs that are valid and changes none of them. It knows nothing
// of files and prints nothing: cmd does.
package compare

import (
	"slices"
	"strings"

	"cuewright/macro/program"
)

// Kind says what a change is about.
type Kind string

// The kinds of change, in the order in which they are told.
const (
	OfSurface     Kind = "surface"
	OfPage        Kind = "page"
	OfButton      Kind = "button"
	OfCue         Kind = "cue"
	OfMacro       Kind = "macro"
	OfSalvo       Kind = "salvo"
	OfDestination Kind = "destination"
	OfRule        Kind = "rule"
	OfPlan        Kind = "plan"
	OfVerdict     Kind = "verdict"
	OfMessages    Kind = "messages"
)

// Hunk is lines that were, lines that are in their place, and where they
// stand: "final.show:37". Its JSON field names are stable.
type Hunk struct {
	Was   []string `json:"was,omitempty"`
	Is    []string `json:"is,omitempty"`
	WasAt string   `json:"was_at,omitempty"`
	IsAt  string   `json:"is_at,omitempty"`
}

// Change is one difference for the operator. Says is a line of its own that
// says all of it but the hunks; For are the buttons and cues that do something
// else because of it.
type Change struct {
	Kind  Kind     `json:"kind"`
	Says  string   `json:"says"`
	Hunks []Hunk   `json:"hunks"`
	For   []string `json:"for,omitempty"`
}

// Text is a change without places: what a list of expected changes is held
// against. The first line has no indent and the others have two spaces.
func (c Change) Text() string {
	var b strings.Builder
	b.WriteString(c.Says + "\n")
	for _, h := range c.Hunks {
		h.lines(&b)
	}
	return b.String()
}

func (h Hunk) lines(b *strings.Builder) {
	for _, line := range h.Was {
		b.WriteString("  - " + line + "\n")
	}
	for _, line := range h.Is {
		b.WriteString("  + " + line + "\n")
	}
}

// String is a change for people: Text with the places, which have four spaces
// before them.
func (c Change) String() string {
	var b strings.Builder
	b.WriteString(c.Says + "\n")
	for _, h := range c.Hunks {
		h.lines(&b)
		if place := h.place(); place != "" {
			b.WriteString("    " + place + "\n")
		}
	}
	if len(c.For) > 0 {
		b.WriteString("    for " + strings.Join(c.For, ", ") + "\n")
	}
	return b.String()
}

func (h Hunk) place() string {
	switch {
	case h.WasAt == "" && h.IsAt == "":
		return ""
	case h.WasAt == "":
		return "now " + h.IsAt
	case h.IsAt == "":
		return "was " + h.WasAt
	}
	return "now " + h.IsAt + ", was " + h.WasAt
}

// Decide says how a rule of a program comes out ("proved", "refuted"), and
// whether that is certain. It may explore; it is asked for the rules that both
// versions have.
type Decide func(p *program.Program, rule int32) (verdict string, sure bool)

// Diff is what changes for the operator from one version to another, and the
// rules whose verdicts could not be compared because one is not certain. When
// nothing else changes, the rules hold as they did and none is named. Decide
// may be nil: then verdicts are not compared.
func Diff(was, is *program.Program, decide Decide) (changes []Change, undecided []string) {
	d := newDiffer(was, is)
	d.surfaces()
	d.pages()
	d.buttons()
	d.cues()
	d.macros()
	d.salvos()
	d.destinations()
	d.rules()
	d.plan()
	if decide != nil && len(d.changes) > 0 { // the same effects give the same verdicts
		undecided = d.verdicts(decide)
	}
	d.messages()
	return d.changes, undecided
}

// Unmet holds changes against those that were expected, both ways: changes
// that nobody expects, and expected texts that did not come. Both keep their
// order; a text that is expected twice must come twice.
func Unmet(changes []Change, expected []string) (unexpected []Change, missing []string) {
	missing = slices.Clone(expected)
	for _, c := range changes {
		if i := slices.Index(missing, c.Text()); i >= 0 {
			missing = slices.Delete(missing, i, i+1)
		} else {
			unexpected = append(unexpected, c)
		}
	}
	return unexpected, missing
}

// Expected reads a list of expected changes: what Diff's changes print, with
// or without the places. Blank lines, lines that begin with # and the summary
// of a printed diff do not count.
func Expected(text string) []string {
	var all []string
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, " \t\r\n")
		switch {
		case line == "" || line[0] == '#' || line == Nothing || strings.HasPrefix(line, InAll):
		case strings.HasPrefix(line, "    "): // a place
		case strings.HasPrefix(line, "  ") && len(all) > 0:
			all[len(all)-1] += line + "\n"
		default:
			all = append(all, line+"\n")
		}
	}
	return all
}

// Nothing is printed when no change was found; InAll begins the summary.
const (
	Nothing = "nothing changes for the operator"
	InAll   = "in all: "
)
