package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/sim/compare"
	"cuewright/sim/explore"
	"cuewright/targets/prepare"
)

func newDiff(s streams) *cobra.Command {
	var since, expect string
	var asJSON bool
	var states uint64
	c := &cobra.Command{
		Use:   "diff OLD NEW",
		Short: "Tell what changes for the operator between two versions",
		Long: `Compare two versions of a show and its plan by what they do, not by how they are written:
buttons, cues and macros that do something else, pages, rules, what a destination can show,
and what the plan changes. A comment, another order in the file or another name of a macro
is no change. Each change names the line that it comes from.

A version is a show, a compiled show, or REVISION:PATH, read from git. With --expect, the
changes are held against a list: an earlier output of this command, with or without places.

Exit codes: 0 nothing changes, or all as expected, 1 there are changes, 2 called wrongly, a
version could not be used, or all is as expected but for a rule that was not decided.`,
		Example: `  cuewright diff monday.show tonight.show
  cuewright diff final.program final.show          against what was compiled
  cuewright diff HEAD~1:final.show final.show      against a revision
  cuewright diff --since v1 final.show
  cuewright diff --since v1 final.show --expect changes.txt`,
		RunE: func(c *cobra.Command, args []string) error {
			if since != "" {
				if err := need("a show", 1, 1)(c, args); err != nil {
					return err
				}
				args = []string{since + ":" + args[0], args[0]}
			}
			if err := need("two versions of a show", 2, 2)(c, args); err != nil {
				return err
			}
			return diff(s, args[0], args[1], expect, states, asJSON)
		},
	}
	c.Flags().StringVar(&since, "since", "", "compare a show with itself at a git `REVISION`")
	c.Flags().StringVar(&expect, "expect", "", "a `FILE` that lists the changes that should be there")
	c.Flags().Uint64Var(&states, "states", 50_000, "explore so many `STATES` for each rule's verdict; 0 compares no verdicts")
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

// difference is a diff in JSON. With a list of expected changes, Unexpected
// and Missing are how the two differ.
type difference struct {
	report.Document
	Old        string           `json:"old"`
	New        string           `json:"new"`
	Changes    []compare.Change `json:"changes"`
	Undecided  []string         `json:"undecided"` // rules whose verdicts could not be compared
	Expected   bool             `json:"expected"`  // there was a list
	Unexpected []compare.Change `json:"unexpected"`
	Missing    []string         `json:"missing"`
}

func diff(s streams, old, now, expect string, states uint64, asJSON bool) error {
	was, err := loadVersion(s, old, asJSON)
	if err != nil {
		return err
	}
	is, err := loadVersion(s, now, asJSON)
	if err != nil {
		return err
	}
	d := difference{Document: report.NewDocument(nil), Old: old, New: now, Expected: expect != "", Changes: []compare.Change{},
		Undecided: []string{}, Unexpected: []compare.Change{}, Missing: []string{}}
	changes, undecided := compare.Diff(was, is, decideRules(states))
	d.Changes, d.Undecided = append(d.Changes, changes...), append(d.Undecided, undecided...)
	if d.Expected {
		text, err := os.ReadFile(expect)
		if err != nil {
			return &mistake{word: expect, what: fmt.Sprintf("the list `%s` cannot be read: %s", expect, reason(err))}
		}
		unexpected, missing := compare.Unmet(d.Changes, compare.Expected(string(text)))
		d.Unexpected, d.Missing = append(d.Unexpected, unexpected...), append(d.Missing, missing...)
	}
	if asJSON {
		err = report.Write(s.out, d)
	} else {
		_, err = fmt.Fprint(s.out, d.text())
	}
	if err != nil {
		return err
	}
	switch {
	case d.Expected && len(d.Unexpected)+len(d.Missing) > 0, !d.Expected && len(d.Changes) > 0:
		return exit(exitFindings)
	case len(d.Undecided) > 0:
		return exit(exitUsage)
	}
	return nil
}

func (d *difference) text() string {
	var b strings.Builder
	told := d.Changes
	if d.Expected {
		if told = d.Unexpected; len(told) > 0 {
			b.WriteString("# not expected:\n")
		}
	}
	for _, c := range told {
		b.WriteString(c.String())
	}
	for _, name := range d.Undecided {
		fmt.Fprintf(&b, "# not compared: whether rule %q comes out as before; --states explores further\n", name)
	}
	if len(d.Missing) > 0 {
		b.WriteString("# expected, and did not happen:\n" + strings.Join(d.Missing, ""))
	}
	switch {
	case d.Expected && len(d.Unexpected)+len(d.Missing) > 0:
		fmt.Fprintf(&b, "%s%s, %d not expected; %d expected and missing\n", compare.InAll, countKinds(d.Changes), len(d.Unexpected), len(d.Missing))
	case len(d.Changes) == 0:
		b.WriteString(compare.Nothing + "\n")
	case d.Expected:
		fmt.Fprintf(&b, "%s%s, all as expected\n", compare.InAll, countKinds(d.Changes))
	default:
		fmt.Fprintf(&b, "%s%s\n", compare.InAll, countKinds(d.Changes))
	}
	return b.String()
}

// decideRules explores for the verdicts of rules, each up to a number of
// states and to what a small computer has in memory. It is nil for no states.
func decideRules(states uint64) compare.Decide {
	if states == 0 {
		return nil
	}
	const memory = 512 << 20
	explorers := map[*program.Program]*explore.Explorer{}
	return func(p *program.Program, rule int32) (string, bool) {
		if explorers[p] == nil {
			explorers[p] = explore.New(p)
		}
		v := explorers[p].Rule(int(rule), explore.Options{States: states, Bytes: memory}).Verdict
		return v.String(), v != explore.Unfinished
	}
}

// countKinds counts changes by what they are about: "3 changes: 2 button, 1 rule".
func countKinds(changes []compare.Change) string {
	var kinds []string
	count := map[compare.Kind]int{}
	for _, c := range changes {
		if count[c.Kind]++; count[c.Kind] == 1 {
			kinds = append(kinds, string(c.Kind))
		}
	}
	for i, k := range kinds {
		kinds[i] = fmt.Sprintf("%d %s", count[compare.Kind(k)], k)
	}
	words := counted(len(changes), "change", "changes")
	if len(kinds) > 0 {
		words += ": " + strings.Join(kinds, ", ")
	}
	return words
}

// loadVersion prepares one version. A version that cannot be used ends the
// command: nothing was compared.
func loadVersion(s streams, name string, asJSON bool) (*program.Program, error) {
	path, read := name, prepare.Disk
	revision, inGit := "", false
	if _, err := os.Stat(name); err != nil {
		var rest string
		if revision, rest, inGit = strings.Cut(name, ":"); inGit {
			if revision == "" || strings.HasPrefix(revision, "-") {
				return nil, &mistake{word: name, what: fmt.Sprintf("`%s` does not begin with a revision of git", name)}
			}
			path, read = rest, gitRevision(revision)
		}
	}
	r := prepare.Any(path, read)
	if r.Program == nil {
		var errors diag.List
		for _, d := range r.Findings {
			if d.Severity == diag.Error {
				errors.Add(d)
			}
		}
		err := exit(exitUsage)
		if asJSON {
			if failed := report.JSON(s.out, errors); failed != nil {
				return nil, failed
			}
			return nil, err
		}
		fmt.Fprintf(s.err, "%s cannot be compared:\n", name)
		if failed := report.Text(s.err, errors, s.colourErr); failed != nil {
			return nil, failed
		}
		return nil, err
	}
	if inGit {
		for i := range r.Program.Files {
			r.Program.Files[i].Name = revision + ":" + r.Program.Files[i].Name
		}
	}
	return r.Program, nil
}

// gitRevision reads files as they stand in a revision.
func gitRevision(revision string) func(string) ([]byte, error) {
	return func(path string) ([]byte, error) {
		var out, said bytes.Buffer
		c := exec.Command("git", "-C", filepath.Dir(path), "cat-file", "blob", revision+":./"+filepath.Base(path))
		c.Stdout, c.Stderr = &out, &said
		err := c.Run()
		var failed *exec.ExitError
		switch {
		case err == nil:
			return out.Bytes(), nil
		case errors.As(err, &failed):
			return nil, fmt.Errorf("git: %s: %w", firstLine(said.Bytes()), fs.ErrNotExist)
		}
		return nil, err
	}
}

// firstLine is the beginning of what git says, in characters that cannot steer
// a terminal.
func firstLine(body []byte) string {
	const shown = 80
	line, _, _ := strings.Cut(string(body), "\n")
	line = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '.'
		}
		return r
	}, line)
	return line[:min(shown, len(line))]
}
