package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/report"
	"cuewright/macro/source"
	"cuewright/sim/compare"
)

func newSpare(s streams) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "spare SHOW|PROGRAM [PART…]",
		Short: "Say what to press when a device, cable or tie line dies",
		Long: `Say for each single device, cable and tie line what happens when it dies and the show goes
on: which buttons and cues do nothing, which bring no picture, which destinations lose what,
and what to press or write instead where the rack has another way. One table to print and
to keep in the rack. With PART, only parts with that word in their names.

Routes are taken as they are found at power-on. "still work" lists the buttons and cues on
the same banks and destinations; the others have nothing to do with the part.

` + exitHelp,
		Example: `  cuewright spare final.show
  cuewright spare final.show router mixer
  cuewright spare final.show --json`,
		Args: need("a show or a compiled show", 1, -1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := load(s, args[0], asJSON)
			if err != nil {
				return err
			}
			losses, err := onlyParts(compare.Spare(r.Program), args[1:])
			if err != nil {
				return err
			}
			if asJSON {
				return report.Write(s.out, struct {
					report.Document
					Losses []compare.Loss `json:"losses"`
				}{report.NewDocument(r.Findings), losses})
			}
			return spareTable(s.out, losses)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

// onlyParts keeps the parts that have one of the words in their names.
func onlyParts(losses []compare.Loss, words []string) ([]compare.Loss, error) {
	if len(words) == 0 {
		return losses, nil
	}
	has := func(part, word string) bool {
		return slices.Contains(strings.FieldsFunc(part, func(r rune) bool { return r == ' ' || r == '.' }), word)
	}
	var some []compare.Loss
	var names []string
	used := map[string]bool{}
	for _, l := range losses {
		names = append(names, l.Parts...)
		l.Parts = slices.DeleteFunc(slices.Clone(l.Parts), func(part string) bool {
			return !slices.ContainsFunc(words, func(w string) bool {
				used[w] = used[w] || has(part, w)
				return has(part, w)
			})
		})
		if len(l.Parts) > 0 {
			some = append(some, l)
		}
	}
	for _, w := range words {
		if !used[w] {
			return nil, &mistake{word: w, what: fmt.Sprintf("no device, cable or tie line has `%s` in its name", w), candidates: names}
		}
	}
	return some, nil
}

// The columns of the table, in cells, and what stands between them: together
// they fit a printed page on its side.
var spareColumns = [...]int{30, 42, 34, 34}

const between = " │ "

func spareTable(w io.Writer, losses []compare.Loss) error {
	var b strings.Builder
	row := func(cells ...[]string) {
		for i, high := 0, tallest(cells); i < high; i++ {
			var line strings.Builder
			for n, c := range cells {
				text := ""
				if i < len(c) {
					text = c[i]
				}
				if n > 0 {
					line.WriteString(between)
				}
				line.WriteString(fit(text, spareColumns[n]))
			}
			b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
		}
	}
	rule := func(sign string) {
		var parts []string
		for _, n := range spareColumns {
			parts = append(parts, strings.Repeat(sign, n))
		}
		b.WriteString(strings.Join(parts, sign+"┼"+sign) + "\n")
	}
	row([]string{"when this dies"}, []string{"these do nothing"}, []string{"these still work"}, []string{"press this instead"})
	rule("═")
	first := true
	for i := range losses {
		l := &losses[i]
		if l.Harmless() {
			continue
		}
		if !first {
			rule("─")
		}
		first = false
		row(spareParts(l), spareDead(l), spareAlive(l), spareInstead(l))
	}
	b.WriteString("\n" + spareSummary(losses))
	_, err := io.WriteString(w, b.String())
	return err
}

func tallest(cells [][]string) int {
	most := 0
	for _, c := range cells {
		most = max(most, len(c))
	}
	return most
}

func spareParts(l *compare.Loss) (lines []string) {
	for _, name := range l.Parts {
		lines = append(lines, wrap(name, spareColumns[0], "  ")...)
	}
	return lines
}

func spareDead(l *compare.Loss) (lines []string) {
	put := func(text string) { lines = append(lines, wrap(text, spareColumns[1], "  ")...) }
	if len(l.Nothing) > 0 {
		put(strings.Join(l.Nothing, ", "))
	}
	if len(l.NoPicture) > 0 {
		put("no picture: " + strings.Join(l.NoPicture, ", "))
	}
	for _, p := range l.InPart {
		put("in part: " + p.Name + " does not " + strings.Join(p.Fails, ", "))
	}
	for _, x := range l.Lost {
		if x.All {
			put(x.Name + " loses everything")
		} else {
			put(x.Name + " loses " + strings.Join(x.Sources, ", "))
		}
	}
	return lines
}

func spareAlive(l *compare.Loss) []string {
	text := strings.Join(l.Works, ", ")
	switch {
	case text == "" && l.Others == 0:
		text = "nothing"
	case text == "":
		text = "all " + fmt.Sprint(l.Others) + " others"
	case l.Others > 0:
		text += ", and " + fmt.Sprint(l.Others) + " others"
	}
	return wrap(text, spareColumns[2], "  ")
}

func spareInstead(l *compare.Loss) (lines []string) {
	for _, x := range l.Instead {
		text := x.For + ": press " + x.Press
		if x.Press == "" {
			text = x.For + ": " + strings.Join(x.Salvo, "; ")
		}
		lines = append(lines, wrap(text, spareColumns[3], "  ")...)
	}
	if len(lines) == 0 {
		lines = append(lines, "no other way")
	}
	return lines
}

// wrap breaks a text into lines of so many cells, at spaces; the lines after
// the first are indented.
func wrap(text string, cells int, indent string) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		for source.Width(indent+word) > cells { // a word longer than a line
			cut := strings.TrimRight(fit(word, cells-len(indent)-1), " ")
			if line != "" {
				lines = append(lines, line)
			}
			lines = append(lines, indent+cut)
			word, line = strings.TrimPrefix(word, cut), ""
		}
		switch {
		case line == "" && len(lines) == 0:
			line = word
		case line == "":
			line = indent + word
		case source.Width(line+" "+word) > cells:
			lines = append(lines, line)
			line = indent + word
		default:
			line += " " + word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// spareSummary counts, and names what nothing depends on.
func spareSummary(losses []compare.Loss) string {
	parts, bad, rescued := 0, 0, 0
	var harmless []string
	for i := range losses {
		l := &losses[i]
		parts += len(l.Parts)
		switch {
		case l.Harmless():
			harmless = append(harmless, l.Parts...)
		case len(l.Instead) > 0:
			rescued += len(l.Parts)
			fallthrough
		default:
			bad += len(l.Parts)
		}
	}
	text := fmt.Sprintf("%s: %d take something with them, for %d there is something to press or write instead\n",
		counted(parts, "part", "parts"), bad, rescued)
	if len(harmless) > 0 {
		const shown = 12
		text += "no button, cue or destination needs " + strings.Join(harmless[:min(shown, len(harmless))], ", ")
		if more := len(harmless) - shown; more > 0 {
			text += fmt.Sprintf(" and %d more", more)
		}
		text += "\n"
	}
	return text
}
