package main

import (
	"fmt"
	"strings"

	"cuewright/sim/rehearse"
	"cuewright/targets/control"
)

// writeNights writes what was done on each night as a rehearsal.
func writeNights(s streams, dir string) error {
	nights, torn, err := control.Nights(dir)
	if err != nil {
		return &mistake{word: dir, what: err.Error()}
	}
	if len(nights) == 0 {
		return &mistake{word: dir, what: fmt.Sprintf("there is no journal in `%s`", dir)}
	}
	for _, t := range torn {
		fmt.Fprintln(s.err, t)
	}
	told := 0
	for i := range nights {
		n := &nights[i]
		when := n.Began.Format("2006-01-02 15:04:05")
		fmt.Fprintf(s.out, "# %q as it was done on %s, program %.12s\n", n.Show, when, n.Program)
		if n.Skipped != "" {
			fmt.Fprintf(s.out, "# there is no rehearsal of it: %s\n\n", oneLine(n.Skipped))
			continue
		}
		told++
		for _, line := range caveats(n) {
			fmt.Fprintf(s.out, "# %s\n", oneLine(line))
		}
		fmt.Fprintln(s.out, rehearse.Block("the night of "+when, n.Lines))
	}
	if told == 0 {
		fmt.Fprintln(s.err, "nothing here begins at power-on, where rehearsals do")
		return exit(exitFindings)
	}
	return nil
}

// caveats is in what a rehearsal is not the night, and that it is where it is.
func caveats(n *control.Night) []string {
	var lines []string
	if n.Broken != "" {
		lines = append(lines, "it ends before the night did: "+n.Broken)
	}
	if n.Unsaid > 0 {
		lines = append(lines, counted(n.Unsaid, "thing that happened stands", "things that happened stand")+" in it as comments: a rehearsal cannot say that")
	}
	if len(n.Differs) == 0 {
		return append(lines, "it was played: it ends where the show stood")
	}
	lines = append(lines, "it was played, and it ends otherwise than the night did:")
	const shown = 8
	for _, what := range n.Differs[:min(shown, len(n.Differs))] {
		lines = append(lines, "  "+what)
	}
	if more := len(n.Differs) - shown; more > 0 {
		lines = append(lines, fmt.Sprintf("  and %d more", more))
	}
	return lines
}

// oneLine keeps a comment a comment.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
