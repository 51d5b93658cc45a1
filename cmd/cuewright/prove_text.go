package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"cuewright/macro/diag"
	"cuewright/macro/report"
	"cuewright/sim/prove"
	"cuewright/sim/story"
	"cuewright/targets/prepare"
)

// isTerminal says whether somebody sees what is written there.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// writeProof tells a proof to people: every finding with its story, every
// verdict, and a summary last.
func writeProof(s streams, r prepare.Result, path string, is *prove.Report) error {
	list := r.Proved(is)
	for i := range is.Findings {
		if err := report.Alone(s.out, list[i], s.colourOut); err != nil {
			return err
		}
		writeStory(s.out, r, path, &is.Findings[i])
		fmt.Fprintln(s.out)
	}
	writeVerdicts(s.out, r, is)
	_, err := io.WriteString(s.out, proofSummary(is))
	return err
}

// writeStory tells how a finding comes about.
func writeStory(w io.Writer, r prepare.Result, path string, f *prove.Finding) {
	if len(f.Story) == 0 {
		return
	}
	fmt.Fprintf(w, "  how it comes about, with %s:\n", counted(f.Presses, "press", "presses"))
	for i := range f.Story {
		head, body, _ := strings.Cut(f.Story[i].String(), "\n")
		fmt.Fprintf(w, "  %s\n", stepHead(f.Story, i, head))
		for line := range strings.Lines(body) {
			fmt.Fprint(w, "  "+line)
		}
	}
	fmt.Fprintf(w, "     →  %s\n", f.Last)
	writeMore(w, f)
	if words := f.Words(r.Program); f.Steps != nil {
		fmt.Fprintf(w, "  again: printf '%s\\n' | cuewright rehearse %s --step\n", strings.Join(words, `\n`), path)
	} else {
		fmt.Fprintln(w, "  no rehearsal can do this: one finger is down while another one presses")
	}
	for _, tried := range f.Tried {
		fmt.Fprintf(w, "  tried, and it does not help: %s\n", tried)
	}
}

// stepHead is the first line of a step; after the first press it says how
// much later than the step before it comes.
func stepHead(beats []story.Beat, i int, head string) string {
	if i < 2 {
		return head
	}
	later := beats[i].Micros - beats[i-1].Micros
	if later == 0 {
		return head + ", in the same moment"
	}
	return head + ", " + strings.TrimRight(strings.TrimRight(fmt.Sprintf("%.6f", float64(later)/1e6), "0"), ".") + " s later"
}

func writeMore(w io.Writer, f *prove.Finding) {
	const most = 6
	if len(f.More) == 0 {
		return
	}
	if len(f.More) == 1 && !f.Others {
		fmt.Fprintf(w, "  and 1 more like it: %s\n", f.More[0])
		return
	}
	at := ""
	if f.Others {
		at = "at least "
	}
	fmt.Fprintf(w, "  and %s%d more like it:\n", at, len(f.More))
	for _, m := range f.More[:min(most, len(f.More))] {
		fmt.Fprintf(w, "    %s\n", m)
	}
	if n := len(f.More) - most; n > 0 {
		fmt.Fprintf(w, "    and %d more\n", n)
	}
}

// writeVerdicts tells each rule's verdict on a line, and each check's; what a
// check says of several things in the same way is one line.
func writeVerdicts(w io.Writer, r prepare.Result, is *prove.Report) {
	var last *prove.Answer
	for i := range is.Answers {
		a := &is.Answers[i]
		if a.Code == "rule-broken" {
			fmt.Fprintf(w, "%-14s %s%s%s\n", a.Verdict, a.Name, matter(r, a), noted(a))
			continue
		}
		if last != nil && last.Code == a.Code && last.Verdict == a.Verdict && last.Note == a.Note && a.Verdict != prove.Refuted {
			fmt.Fprintf(w, ", %s", a.Name)
			continue
		}
		if last != nil {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%-14s %s%s%s", a.Verdict, a.Code, noted(a), named(a))
		last = a
	}
	if last != nil {
		fmt.Fprintln(w)
	}
	for _, u := range is.Unknown {
		fmt.Fprintf(w, "%-14s %s\n", "not known", u)
	}
	fmt.Fprintln(w)
}

// matter says how much of the show a rule depends on.
func matter(r prepare.Result, a *prove.Answer) string {
	if a.States == 0 {
		return ""
	}
	return fmt.Sprintf(": %d of %d buttons and %d of %d cues matter, %s states", a.Buttons, len(r.Program.Buttons), a.Cues, len(r.Program.Cues), thousands(a.States))
}

func noted(a *prove.Answer) string {
	if a.Note == "" {
		return ""
	}
	return " (" + a.Note + ")"
}

func named(a *prove.Answer) string {
	if a.Name == "" {
		return ""
	}
	return ": " + a.Name
}

// mostNamed is how many names the summary has in a line.
const mostNamed = 4

// proofSummary is the last lines: how many of what, and which.
func proofSummary(is *prove.Report) string {
	var b strings.Builder
	all, names := map[prove.Verdict]int{}, map[prove.Verdict][]string{}
	for i := range is.Answers {
		a := &is.Answers[i]
		all[a.Verdict]++
		name := a.Name
		if a.Code != "rule-broken" {
			name = a.Code + named(a)
		}
		names[a.Verdict] = append(names[a.Verdict], name)
	}
	if is.Stopped {
		b.WriteString("stopped before the end: what is below is what is known\n")
	}
	fmt.Fprintf(&b, "%s: ", counted(len(is.Answers)-all[prove.NotApplicable], "rule or check", "rules and checks"))
	var parts []string
	for _, v := range []prove.Verdict{prove.Proved, prove.Allowed, prove.Refuted, prove.NotChecked, prove.Unfinished} {
		if all[v] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", all[v], v))
		}
	}
	if all[prove.NotApplicable] > 0 {
		parts = append(parts, fmt.Sprintf("and %d that nothing in the show could break", all[prove.NotApplicable]))
	}
	b.WriteString(strings.Join(parts, ", ") + "\n")
	for _, v := range []prove.Verdict{prove.Refuted, prove.NotChecked, prove.Unfinished} {
		if all[v] > 0 {
			fmt.Fprintf(&b, "  %s: %s\n", v, few(names[v]))
		}
	}
	codes, order := map[string]int{}, []string{}
	for i := range is.Findings {
		if codes[is.Findings[i].Code]++; codes[is.Findings[i].Code] == 1 {
			order = append(order, is.Findings[i].Code)
		}
	}
	for i, code := range order {
		if i == 10 {
			fmt.Fprintf(&b, "  and %d more kinds\n", len(order)-i)
			break
		}
		fmt.Fprintf(&b, "  %s: %s\n", counted(codes[code], "finding", "findings"), code)
	}
	if len(is.Unknown) > 0 {
		fmt.Fprintf(&b, "  not known to be in reach: %s\n", counted(len(is.Unknown), "thing", "things"))
	}
	if is.Faults > 0 {
		fmt.Fprintf(&b, "with up to %s\n", counted(is.Faults, "device fault", "device faults"))
	}
	return b.String()
}

func few(names []string) string {
	if len(names) > mostNamed {
		return strings.Join(names[:mostNamed], "; ") + fmt.Sprintf("; and %d more", len(names)-mostNamed)
	}
	return strings.Join(names, "; ")
}

// writeRehearsals writes the stories as rehearsals of the show.
func writeRehearsals(s streams, r prepare.Result, is *prove.Report) error {
	used := map[string]int{}
	for _, x := range r.Program.Rehearsals {
		used[x.Name]++
	}
	for i := range is.Findings {
		f := &is.Findings[i]
		if len(f.Story) == 0 {
			continue
		}
		name := diag.Lookup(diag.Code(f.Code)).Title
		if f.Rule != "" {
			name = f.Rule
		}
		if used[name]++; used[name] > 1 {
			name = fmt.Sprintf("%s, %d", name, used[name])
		}
		text, ok := f.Rehearsal(r.Program, name)
		if !ok {
			text = fmt.Sprintf("# no rehearsal can do this: %s\n", f.Last)
		}
		if _, err := fmt.Fprintf(s.out, "# %s\n%s\n", f.Last, text); err != nil {
			return err
		}
	}
	return nil
}
