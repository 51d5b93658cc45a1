package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/macro/source"
	"cuewright/sim/rehearse"
	"cuewright/sim/story"
	"cuewright/targets/prepare"
)

func newRehearse(s streams) *cobra.Command {
	var byHand, asJSON bool
	var script string
	c := &cobra.Command{
		Use:   "rehearse SHOW|PROGRAM [NAME…]",
		Short: "Play the show's rehearsals, or step through it by hand",
		Long: `Play the rehearsals that the show has, all or the named ones, in virtual time and without
the gear: what each press sends and changes, what every destination shows, and what the
on-air checks find. A rehearsal fails when something is not as it expects.

With --step, press buttons, fire cues and let time pass by hand; "help" lists the words.
With --script the words come from a file.

` + exitHelp,
		Example: `  cuewright rehearse final.show
  cuewright rehearse final.show "replay during the match"
  cuewright rehearse final.show --step
  cuewright rehearse final.show --script evening.txt`,
		Args: need("a show or a compiled show", 1, -1),
		RunE: func(_ *cobra.Command, args []string) error {
			if (byHand || script != "") && len(args) > 1 {
				return &mistake{word: args[1], what: "names of rehearsals do not go with --step or --script", mend: "leave the name out"}
			}
			r, err := load(s, args[0], asJSON && !byHand && script == "")
			if err != nil {
				return err
			}
			if byHand || script != "" {
				return stepThrough(s, r, script, asJSON)
			}
			return rehearseAll(s, r, args[1:], asJSON)
		},
	}
	c.ValidArgsFunction = completing(1, true, rehearsalNames)
	c.Flags().BoolVar(&byHand, "step", false, "step through the show by hand")
	c.Flags().StringVar(&script, "script", "", "step through the show with the words of a `FILE`")
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

// today is the date that allowances are held against.
func today() string { return time.Now().Format(time.DateOnly) }

// chosen are the rehearsals of those names, all of them without a name.
func chosen(p *program.Program, names []string) ([]int, error) {
	var all []string
	for _, r := range p.Rehearsals {
		all = append(all, r.Name)
	}
	var out []int
	for _, name := range names {
		i := slices.Index(all, name)
		if i < 0 {
			return nil, &mistake{word: name, what: fmt.Sprintf("there is no rehearsal `%s`", name), candidates: all,
				mend: there(all)}
		}
		out = append(out, i)
	}
	if len(names) == 0 {
		for i := range all {
			out = append(out, i)
		}
	}
	return out, nil
}

// rehearsed is one rehearsal with its findings and how it went.
type rehearsed struct {
	rehearse.Result
	Failed bool `json:"failed"`
}

func rehearseAll(s streams, r prepare.Result, names []string, asJSON bool) error {
	which, err := chosen(r.Program, names)
	if err != nil {
		return err
	}
	runner := rehearse.New(r.Program)
	runner.Today = today()
	var runs []rehearsed
	var found diag.List
	code := exitClean
	for _, i := range which {
		run := runner.Run(i)
		list := r.Rehearsed(run)
		failed := list.Blocking() || run.Unsettled
		if failed {
			code = exitFindings
		}
		found.Add(list...)
		runs = append(runs, rehearsed{run, failed})
	}
	found = found.Tidy()
	if asJSON {
		err = report.Write(s.out, struct {
			report.Document
			Rehearsals []rehearsed `json:"rehearsals"`
		}{report.NewDocument(append(slices.Clone(r.Findings), found...)), append([]rehearsed{}, runs...)})
	} else {
		err = tellRehearsals(s, r, runs, found)
	}
	if err != nil {
		return err
	}
	return ended(code)
}

func tellRehearsals(s streams, r prepare.Result, runs []rehearsed, found diag.List) error {
	for _, run := range runs {
		fmt.Fprintf(s.out, "rehearsal %q  (%s)\n", run.Name, story.Place(r.Program, run.At))
		if err := story.Write(s.out, run.Beats...); err != nil {
			return err
		}
		if run.Unsettled {
			fmt.Fprintln(s.out, "it never comes to rest")
		}
		fmt.Fprintln(s.out)
	}
	if len(found) > 0 {
		if err := report.Text(s.out, found, s.colourOut); err != nil {
			return err
		}
	}
	_, err := io.WriteString(s.out, rehearsalSummary(runs, watched(r.Program.Rules)))
	return err
}

// watched counts the rules that can break along the way: not the possible ones.
func watched(rules []program.Rule) int {
	n := 0
	for i := range rules {
		if rules[i].Kind != program.Possible {
			n++
		}
	}
	return n
}

// rehearsalSummary is the last lines: how many went how, and which failed.
func rehearsalSummary(runs []rehearsed, rules int) string {
	if len(runs) == 0 {
		return "nothing was rehearsed: the show has no rehearsal\n"
	}
	const shown = 10
	var b strings.Builder
	failed, expectations := []string{}, 0
	for _, run := range runs {
		expectations += run.Expectations
		if run.Failed {
			failed = append(failed, run.Name)
		}
	}
	fmt.Fprintf(&b, "%s with %s: %d passed, %d failed\n", counted(len(runs), "rehearsal", "rehearsals"),
		counted(expectations, "expectation", "expectations"), len(runs)-len(failed), len(failed))
	if rules > 0 {
		fmt.Fprintf(&b, "%s watched along the way; `cuewright prove` tries every press\n", counted(rules, "rule was", "rules were"))
	}
	for _, name := range failed[:min(shown, len(failed))] {
		fmt.Fprintf(&b, "  failed: %q\n", name)
	}
	if more := len(failed) - shown; more > 0 {
		fmt.Fprintf(&b, "  and %d more\n", more)
	}
	return b.String()
}

// longestScript is the most that is read of a script, in bytes.
const longestScript = 1 << 20

// openScript reads the file of --script; without one there is only the input.
func openScript(s streams, path string) (*source.File, io.Reader, error) {
	if path == "" {
		return nil, s.in, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, &mistake{word: path, what: fmt.Sprintf("the script `%s` cannot be read", path)}
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, longestScript))
	if err != nil {
		return nil, nil, &mistake{word: path, what: fmt.Sprintf("the script `%s` cannot be read", path)}
	}
	return source.New(path, text), bytes.NewReader(text), nil
}

// in reports a mistake that stands in a line of a script.
func (m *mistake) in(script *source.File, line int, s streams) error {
	text := script.Line(line)
	start := script.LineStart(line) + len(text) - len(strings.TrimLeft(text, " \t"))
	words, _, _ := strings.Cut(strings.TrimSpace(text), "#")
	d := diag.New("wrong-usage", script.At(start, start+len(strings.TrimSpace(words))), "%s", m.what)
	if m.mend != "" {
		d = d.Mend("%s", m.mend)
	}
	if err := report.Alone(s.err, d, s.colourErr); err != nil {
		return err
	}
	return exit(exitUsage)
}
