package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// SummaryLines is the most lines that a summary takes on screen.
const SummaryLines = 20

// Text writes the findings and then the summary. With colour, severities and
// carets are coloured too; they are always words and signs as well.
func Text(w io.Writer, list diag.List, colour bool) error {
	p := paint(colour)
	var b strings.Builder
	for i, d := range list {
		if i > 0 {
			b.WriteByte('\n')
		}
		finding(&b, d, p)
	}
	if len(list) > 0 {
		b.WriteByte('\n')
	}
	b.WriteString(Summary(list))
	_, err := io.WriteString(w, b.String())
	return err
}

// Alone writes one finding without a summary, for what ends a command before
// it has begun.
func Alone(w io.Writer, d diag.Diagnostic, colour bool) error {
	var b strings.Builder
	finding(&b, d, paint(colour))
	_, err := io.WriteString(w, b.String())
	return err
}

// finding writes one finding with its lines of why, mend and frame.
func finding(b *strings.Builder, d diag.Diagnostic, p painter) {
	fmt.Fprintf(b, "%s: %s: %s  [%s]\n", place(d.At), p.severity(d.Severity), plain(d.What), d.Code)
	if d.Why != "" {
		fmt.Fprintf(b, "  %s\n", plain(d.Why))
	}
	if line := mends(d.Mends); line != "" {
		fmt.Fprintf(b, "  %s\n", line)
	}
	frame(b, d.At, p.carets(d.Severity))
	for _, also := range d.Also {
		if also.At == d.At { // the line has just been shown
			fmt.Fprintf(b, "  %s\n", plain(also.Note))
			continue
		}
		fmt.Fprintf(b, "  %s: %s\n", place(also.At), plain(also.Note))
		frame(b, also.At, func(s string) string { return s })
	}
}

// mends puts the suggestions into one line: "mend: write `deck`, or write `dock`".
// What only says what there is stands apart.
func mends(list []diag.Mend) string {
	var b strings.Builder
	for i, m := range list {
		first, _, _ := strings.Cut(m.Do, " ")
		switch {
		case i == 0:
			b.WriteString("mend: ")
		case first == "it" || first == "the" || first == "there":
			b.WriteString("; ")
		default:
			b.WriteString(", or ")
		}
		b.WriteString(plain(m.Do))
	}
	return b.String()
}

// place is "file:line:column", counted from 1.
func place(s source.Span) string {
	if s.IsZero() {
		return "cuewright"
	}
	at := s.Begin()
	return fmt.Sprintf("%s:%d:%d", plain(s.File.Name), at.Line, at.Column)
}

// Summary is the counts and the names of the findings, in at most SummaryLines
// lines, and how to learn more.
func Summary(list diag.List) string {
	count := CountOf(list)
	if len(list) == 0 {
		return "no findings\n"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", count)
	kinds := kindsOf(list)
	const room = SummaryLines - 3 // the counts, "and more", the hint
	for i, k := range kinds {
		if i == room {
			fmt.Fprintf(&b, "  and %s\n", plural(len(kinds)-room, "more kind", "more kinds"))
			break
		}
		fmt.Fprintf(&b, "  %-8s %s  %s\n", k.severity, k.code, k.where())
	}
	fmt.Fprintf(&b, "`cuewright explain %s` says more\n", kinds[0].code)
	return b.String()
}

// kind is a code with all places where it was found.
type kind struct {
	severity diag.Severity
	code     diag.Code
	places   []string
}

// where lists the first three places.
func (k *kind) where() string {
	const shown = 3
	text := strings.Join(k.places[:min(shown, len(k.places))], ", ")
	if more := len(k.places) - shown; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// kindsOf groups findings by code, errors before warnings before advice, each
// in the order of first appearance.
func kindsOf(list diag.List) []*kind {
	var kinds []*kind
	known := map[diag.Code]*kind{}
	for severity := diag.Error; severity <= diag.Advice; severity++ {
		for _, d := range list {
			if d.Severity != severity {
				continue
			}
			k := known[d.Code]
			if k == nil {
				k = &kind{severity: severity, code: d.Code}
				known[d.Code] = k
				kinds = append(kinds, k)
			}
			k.places = append(k.places, line(d.At))
		}
	}
	return kinds
}

// line is "file:line".
func line(s source.Span) string {
	if s.IsZero() {
		return "everywhere"
	}
	return plain(s.File.Name) + ":" + strconv.Itoa(s.Begin().Line)
}

func number(n int) string { return strconv.Itoa(n) }

// plural is a number with its noun.
func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return number(n) + " " + many
}

// sentence joins parts: "a", "a and b", "a, b and c"; "no findings" for none.
func sentence(parts []string) string {
	switch len(parts) {
	case 0:
		return "no findings"
	case 1:
		return parts[0]
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}
