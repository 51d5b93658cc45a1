package report

import (
	"encoding/json"
	"io"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// Document is the JSON form of the findings of one run. A command that has
// more to say embeds it and adds fields.
type Document struct {
	Version  int       `json:"version"`
	Findings []Finding `json:"findings"`
	Summary  Count     `json:"summary"`
}

// Finding is one finding. File is as the user wrote it.
type Finding struct {
	Code     diag.Code `json:"code"`
	Severity string    `json:"severity"`
	What     string    `json:"what"`
	Why      string    `json:"why,omitempty"`
	Range
	Also  []Place `json:"also,omitempty"`
	Mends []Mend  `json:"mends,omitempty"`
}

// Range is a run of text in a file; To is one past its end.
type Range struct {
	File string `json:"file"`
	From Point  `json:"from"`
	To   Point  `json:"to"`
}

// Point is a position: Line and Column count from 1, Column in characters;
// UTF16 counts from 0 in 16-bit units of the line, Offset from 0 in bytes of
// the file.
type Point struct {
	Line   int `json:"line"`
	Column int `json:"column"`
	UTF16  int `json:"utf16"`
	Offset int `json:"offset"`
}

// Place is another place of a finding.
type Place struct {
	Range
	Note string `json:"note"`
}

// Mend is a suggestion. Sure ones may be applied without a look.
type Mend struct {
	Do    string `json:"do"`
	Sure  bool   `json:"sure"`
	Edits []Edit `json:"edits,omitempty"`
}

// Edit puts New in the place of the range's text.
type Edit struct {
	Range
	New string `json:"new"`
}

// NewDocument is the JSON form of a list.
func NewDocument(list diag.List) Document {
	doc := Document{Version: Version, Findings: []Finding{}, Summary: CountOf(list)}
	for _, d := range list {
		f := Finding{Code: d.Code, Severity: d.Severity.String(), What: d.What, Why: d.Why, Range: rangeOf(d.At)}
		for _, a := range d.Also {
			f.Also = append(f.Also, Place{rangeOf(a.At), a.Note})
		}
		for _, m := range d.Mends {
			mend := Mend{Do: m.Do, Sure: m.Sure}
			for _, e := range m.Edits {
				mend.Edits = append(mend.Edits, Edit{rangeOf(e.At), e.New})
			}
			f.Mends = append(f.Mends, mend)
		}
		doc.Findings = append(doc.Findings, f)
	}
	return doc
}

// JSON writes the findings as one Document.
func JSON(w io.Writer, list diag.List) error { return Write(w, NewDocument(list)) }

// Write writes a Document, or a larger value that embeds one, as indented JSON.
func Write(w io.Writer, doc any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(doc)
}

func rangeOf(s source.Span) Range {
	if s.IsZero() {
		one := Point{Line: 1, Column: 1}
		return Range{From: one, To: one}
	}
	return Range{strings.ToValidUTF8(s.File.Name, "\uFFFD"), point(s.Begin(), s.Start), point(s.Finish(), s.End)}
}

func point(p source.Position, offset int32) Point {
	return Point{p.Line, p.Column, p.UTF16, int(offset)}
}
