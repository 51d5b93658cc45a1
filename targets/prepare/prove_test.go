package prepare

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
	"cuewright/sim/prove"
	"cuewright/sim/rehearse"
)

// faultCase is a file of testdata/prove: a show with one fault in it, what a
// proof must say of it, and the show without the fault. Its comment ends with
// lines `code: CODE` or `rule: NAME`, `presses: N` and maybe `faults: N`.
// The shows stand in wrong.show and mended.show, on the small rack or on
// rack.yaml; or they are the demo with the changes of wrong.diff and
// mended.diff, whose lines begin with - and +.
type faultCase struct {
	name, code, rule string
	presses, faults  int
	files            map[string]string
}

func readFault(t *testing.T, path string) faultCase {
	t.Helper()
	archive, err := txtar.ParseFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c := faultCase{name: strings.TrimSuffix(filepath.Base(path), ".txtar"), files: map[string]string{}}
	for line := range strings.Lines(string(archive.Comment)) {
		key, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
		switch key {
		case "code":
			c.code = value
		case "rule":
			c.code, c.rule = "rule-broken", value
		case "presses":
			fmt.Sscan(value, &c.presses)
		case "faults":
			fmt.Sscan(value, &c.faults)
		}
	}
	if !diag.Known(diag.Code(c.code)) || c.presses == 0 {
		t.Fatalf("%s says neither what is found nor with how many presses", path)
	}
	for _, f := range archive.Files {
		c.files[f.Name] = string(f.Data)
	}
	return c
}

// shows are one side of a case as files: "show.show" and its plan.
func (c *faultCase) shows(t *testing.T, side string) func(string) ([]byte, error) {
	t.Helper()
	files := map[string]string{"show.show": c.files[side+".show"]}
	if rack, ok := c.files["rack.yaml"]; ok {
		files["rack.yaml"] = rack
	}
	if files["show.show"] == "" {
		files["show.show"] = patched(t, league(t, "league.show"), c.files[side+".diff"])
		files["rack.yaml"] = league(t, "rack.yaml")
	}
	return fromMap(t, files)
}

func league(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(testdata + "shows/league/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// patched makes the changes of a diff: a run of - lines, which must be there
// once, gives way to the + lines after it.
func patched(t *testing.T, text, diff string) string {
	t.Helper()
	for diff != "" {
		var old, new strings.Builder
		for strings.HasPrefix(diff, "-") {
			line, rest, _ := strings.Cut(diff, "\n")
			old.WriteString(line[1:] + "\n")
			diff = rest
		}
		for strings.HasPrefix(diff, "+") {
			line, rest, _ := strings.Cut(diff, "\n")
			new.WriteString(line[1:] + "\n")
			diff = rest
		}
		if old.Len() == 0 || strings.Count(text, old.String()) != 1 {
			t.Fatalf("the demo has this not once: %q", old.String())
		}
		text = strings.Replace(text, old.String(), new.String(), 1)
	}
	return text
}

// prove proves what the case is about.
func (c *faultCase) prove(t *testing.T, side string) (Result, *prove.Report) {
	t.Helper()
	r := Show("show.show", c.shows(t, side))
	if r.Program == nil {
		t.Fatalf("the %s show is none: %v", side, r.Findings)
	}
	o := prove.Options{Faults: c.faults, Workers: 2, States: 2_000_000, Bytes: 1 << 30, Rules: []int{}, Codes: []string{c.code}}
	for i := range r.Program.Rules {
		if c.rule == prove.RuleName(r.Program, i) {
			o.Rules = append(o.Rules, i)
		}
	}
	return r, prove.Show(r.Program, o)
}

// underRace says that the race detector is on, which makes a proof ten times
// as long. The faults of the demo are then left to the run without it; those
// on the small rack go through the same code.
var underRace bool

// TestSeededFaults: each fault is found, with the shortest story; the story
// reproduces as a rehearsal of the show; without the fault it is proved.
func TestSeededFaults(t *testing.T) {
	cases, err := filepath.Glob(testdata + "prove/*.txtar")
	if err != nil || len(cases) < 25 {
		t.Fatal("too few cases", len(cases), err)
	}
	for _, path := range cases {
		c := readFault(t, path)
		if underRace && c.files["wrong.diff"] != "" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r, report := c.prove(t, "wrong")
			i := slices.IndexFunc(report.Findings, func(f prove.Finding) bool { return f.Code == c.code && f.Rule == c.rule })
			if i < 0 {
				t.Fatalf("not found: %+v", report.Answers)
			}
			f := &report.Findings[i]
			if f.Presses != c.presses {
				t.Errorf("with %d presses, not %d:\n%s", f.Presses, c.presses, strings.Join(f.Words(r.Program), "\n"))
			}
			c.reproduces(t, r, f)
			_, report = c.prove(t, "mended")
			for _, a := range report.Answers {
				if a.Code == c.code && a.Verdict != prove.Proved && a.Verdict != prove.NotApplicable {
					t.Errorf("mended, %s %s is %s: %s", a.Code, a.Name, a.Verdict, a.Note)
				}
			}
			if len(report.Findings) > 0 || len(report.Answers) == 0 {
				t.Errorf("mended: %+v", report.Findings)
			}
		})
	}
}

// reproduces writes the story as a rehearsal, puts it into the show and runs it.
func (c *faultCase) reproduces(t *testing.T, r Result, f *prove.Finding) {
	t.Helper()
	text, ok := f.Rehearsal(r.Program, "the story")
	if !ok {
		t.Fatalf("no rehearsal does this: %v", f.Story)
	}
	read := c.shows(t, "wrong")
	again := Show("show.show", func(name string) ([]byte, error) {
		data, err := read(name)
		if name == "show.show" {
			data = append(data, text...)
		}
		return data, err
	})
	if again.Program == nil {
		t.Fatalf("the rehearsal is none: %v\n%s", again.Findings, text)
	}
	run := rehearse.New(again.Program).Run(len(again.Program.Rehearsals) - 1)
	if len(run.Misses) > 0 {
		t.Errorf("the rehearsal misses: %+v\n%s", run.Misses, text)
	}
}

// notExplored is the rule that sim/explore cannot decide on the demo when no
// device fails (its TestDemo).
const notExplored = `never "the deck loads where a take could bring it"`

// TestDemoIsClean: the demo carries an allowance for all that a proof finds,
// each is needed, and every step of it can come about.
func TestDemoIsClean(t *testing.T) {
	r := Show(testdata+"shows/league/league.show", Disk)
	report := prove.Show(r.Program, prove.Options{Workers: 2, States: 2_000_000, Bytes: 1 << 30})
	for i := range report.Answers {
		if a := &report.Answers[i]; a.Verdict == prove.Refuted || a.Verdict == prove.Unfinished || a.Verdict == prove.NotChecked {
			t.Errorf("%s %s is %s: %s", a.Code, a.Name, a.Verdict, a.Note)
		}
	}
	if !slices.ContainsFunc(report.Answers, func(a prove.Answer) bool {
		return a.Name == notExplored && a.Verdict == prove.Proved && a.Note == "by each event alone, from any state"
	}) {
		t.Errorf("%s is not proved by each event alone", notExplored)
	}
	for _, f := range report.Findings {
		t.Errorf("%s: %s: %s", f.Place, f.Code, f.What)
	}
	if len(report.Unknown) > 0 {
		t.Errorf("not known: %q", report.Unknown)
	}
}
