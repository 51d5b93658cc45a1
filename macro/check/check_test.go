package check

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/source"
	"cuewright/macro/syntax"

	"pgregory.net/rapid"
)

// good is a show without a fault, to plant faults in.
const good = `show "Good" uses "rack.yaml"
macro replay(item: clip, back: source) { load deck with item; play deck; mix main to back over 12f }
macro roll { record iso, safety }
salvo doors { route screens from main }
rundown {
  cue 1 "Doors" { run doors }
  cue 2 "Roll" { run roll; run replay(item: "opener", back: wide) }
}
page cameras on desk {
%s}
%s`

// faults are scripts of a button with one fault each, and its code.
var faults = map[string]string{
	`cut main to wied`:                                      "unknown-name",
	`cut mian to wide`:                                      "unknown-name",
	`run rol`:                                               "unknown-name",
	`cut main to slides`:                                    "not-a-pick",
	`record stream`:                                         "wrong-kind",
	`load deck with "gaol-1"`:                               "unknown-clip",
	`recall goal shot 9`:                                    "unknown-shot",
	`recall wide shot 1`:                                    "not-robotic",
	`route screens from bars`:                               "refused-picture",
	`route web from goal`:                                   "hard-patched",
	`send lights(level: 101, scene: "x")`:                   "send-value",
	`send lights(level: 10)`:                                "missing-argument",
	`send horn(level: 10)`:                                  "unknown-argument",
	`run replay(item: "opener")`:                            "missing-argument",
	`run replay(item: "opner", back: goal)`:                 "unknown-clip",
	`run replay(item: "opener", back: bars)`:                "not-a-pick",
	`run replay(item: "opener", back: iso)`:                 "wrong-kind",
	`wait 0s`:                                               "duration-zero",
	`mix main over 00:00:00:50`:                             "duration-unreadable",
	`go 7`:                                                  "unknown-cue",
	`page desk to camera`:                                   "unknown-name",
	`page side_desk to cameras`:                             "page-not-on-surface",
	`if main.program == wied { note "x" }`:                  "unknown-name",
	`if iso.roling { note "x" }`:                            "unknown-field",
	`if iso { note "x" }`:                                   "condition-type",
	`if main.program == slides { note "x" }`:                "never-true",
	`if iso.rolling + 1 == 2 { note "x" }`:                  "condition-unsupported",
	`if iso.rolling iso { note "x" }`:                       "condition-unreadable",
	`wait until rundown.standby == 9`:                       "unknown-cue",
	`stop iso`:                                              "stop-unguarded",
	`mix main over 2m`:                                      "long-transition",
	`allow stop-ungarded "x"`:                               "unknown-code",
	`allow place-taken "x"`:                                 "error-allowed",
	`allow label-long "x"`:                                  "stale-allowance",
	`allow stop-unguarded "x" until "2027-02-30"; stop iso`: "date-unreadable",
	`together { cut main to goal; { wait 1s; key logoo on } }`: "unknown-name",
}

// items are faults at the top of the file.
var items = map[string]string{
	`macro hide { key logo off }`:                         "never-run",
	`salvo shut { key logo off }`:                         "never-run",
	`page far on desk { button 1.1 "A" { take main } }`:   "page-out-of-reach",
	`rundown { cue 3 "C" { take main } }`:                 "second-rundown",
	`never "a" { screens.shows(wied) }`:                   "unknown-name",
	`rehearsal "a" { press cameras 9.9 }`:                 "no-button-there",
	`rehearsal "b" { fault deck full }`:                   "fault-unfit",
	`rehearsal "c" { expect finding no-such-thing-here }`: "unknown-code",
	`macro goal { note "x" }`:                             "name-taken never-run",
}

// n faults planted far apart give those n findings and no other.
func TestEveryFaultIsFound(t *testing.T) {
	scripts, tops := slices.Sorted(maps.Keys(faults)), slices.Sorted(maps.Keys(items))
	rapid.Check(t, func(rt *rapid.T) {
		var buttons strings.Builder
		var want []string
		for i, s := range rapid.SliceOfN(rapid.SampledFrom(append(scripts, "cut main to goal")), 1, 15).Draw(rt, "buttons") {
			fmt.Fprintf(&buttons, "  button %d.%d \"B\" { %s }\n", i/5+1, i%5+1, s)
			want = append(want, strings.Fields(faults[s])...)
		}
		top := rapid.SliceOfNDistinct(rapid.SampledFrom(tops), 0, len(tops), rapid.ID[string]).Draw(rt, "items")
		for _, s := range top {
			want = append(want, strings.Fields(items[s])...)
		}
		f, r, before := read(t, fmt.Sprintf(good, buttons.String(), strings.Join(top, "\n")), "")
		_, found := Show(f, r)
		var got []string
		for _, d := range append(before, found...) {
			got = append(got, string(d.Code))
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			rt.Fatalf("%s\nfound %v\nwant  %v", f.Source.Bytes, got, want)
		}
	})
}

func codesOf(list diag.List) (codes []string) {
	for _, d := range list {
		codes = append(codes, string(d.Code))
	}
	return codes
}

// Checking changes neither the tree nor the answer of the next time.
func TestSameTwice(t *testing.T) {
	for _, path := range corpus(t) {
		show, rack := files(t, path)
		f, r, _ := read(t, show, rack)
		_, one := Show(f, r)
		_, two := Show(f, r)
		if fmt.Sprint(one) != fmt.Sprint(two) {
			t.Errorf("%s: two answers\n%v\n%v", path, one, two)
		}
	}
}

func corpus(t testing.TB) []string {
	cases, err := filepath.Glob(testdata + "find/*.txtar")
	if err != nil || len(cases) == 0 {
		t.Fatal("no cases", err)
	}
	return cases
}

func TestMacroOrder(t *testing.T) {
	f, r, _ := read(t, `show "Order" uses "rack.yaml"
macro a { run c; run b }
macro b { together { run d; note "x" } }
macro c { if iso.rolling { note "y" } else { run d } }
macro d { note "z" }
`, "")
	info, _ := Show(f, r)
	var order []string
	for _, m := range info.MacroOrder {
		order = append(order, m.Name.Text)
	}
	if got := strings.Join(order, " "); got != "d c b a" {
		t.Errorf("the order is %s", got)
	}
}

// A finding in a macro that depends on a value stands at the value, through
// any number of macros, and shows the place of use.
func TestFaultsOfCalls(t *testing.T) {
	f, r, _ := read(t, `show "Calls" uses "rack.yaml"
macro inner(item: clip, on: deck) { load on with item }
macro outer(what: clip) { run inner(item: what, on: deck) }
page cameras on desk {
  button 1.1 "A" { run outer(what: "gaol-1") }
  button 1.2 "B" { run outer(what: "goal-1"); run outer(what: "gaol-1") }
}
`, "")
	_, list := Show(f, r)
	if len(list) != 2 {
		t.Fatalf("found %v", codesOf(list))
	}
	for _, d := range list {
		if d.At.Text() != `"gaol-1"` || len(d.Also) != 2 || d.Also[1].At.Text() != "item" || d.Also[1].At.Begin().Line != 2 {
			t.Errorf("%s at %q, also %v", d.Code, d.At.Text(), d.Also)
		}
	}
}

// Where the plan or the show was not understood, nothing is called unknown or
// unused that may only look so.
func TestPartial(t *testing.T) {
	const show = `show "Partial" uses "rack.yaml"
macro hide { key logo off }
page cameras on desk {
  button 1.1 "A" { cut main to wied; route screns from wide; load deck with "new"; cut main to slides }
  button 1.2 "B" { recall goal shot 8; send hooter }  lamp lit when isolated.rolling or main.program == slides
}
`
	f, r, _ := read(t, show, "")
	r.Partial, r.Holes = true, true
	if _, list := Show(f, r); fmt.Sprint(codesOf(list)) != "[never-run]" {
		t.Errorf("with half a plan: %v", list)
	}
	r.Holes, r.Lost = false, map[string]bool{"screns": true, "hooter": true, "isolated": true}
	if _, list := Show(f, r); fmt.Sprint(codesOf(list)) != "[never-run unknown-name]" || list[1].At.Text() != "wied" {
		t.Errorf("a fault in the plan that loses names hides no other name: %v", list)
	}
	f, r, _ = read(t, show+"page { ]\n", "")
	_, list := Show(f, r)
	if got := codesOf(list); slices.Contains(got, "never-run") || !slices.Contains(got, "not-a-pick") {
		t.Errorf("with half a show: %v", got)
	}
}

// An allowance holds where it stands, and not beside it.
func TestAllow(t *testing.T) {
	for name, c := range map[string]struct{ show, codes string }{
		"whole show": {`allow stop-unguarded "x"
page cameras on desk { button 1.1 "A" { stop iso } }`, ""},
		"page": {`page cameras on desk {
allow stop-unguarded "x"
button 1.1 "A" { stop iso }
}`, ""},
		"block":        {`page cameras on desk { button 1.1 "A" { if logo.on { allow stop-unguarded "x"; stop iso } } }`, ""},
		"beside":       {`page cameras on desk { button 1.1 "A" { if logo.on { allow stop-unguarded "x" }; stop iso } }`, "stale-allowance stop-unguarded"},
		"not the rest": {`page cameras on desk { button 1.1 "A" { allow stop-unguarded "x"; stop iso }  hold 1s { stop safety } }`, "stop-unguarded"},
		"on air":       {`allow camera-moved-on-air "x"`, ""},
		"stale, meant": {"allow stop-unguarded \"x\"\nallow stale-allowance \"the wing comes later\"", ""},
	} {
		f, r, _ := read(t, "show \"Allow\" uses \"rack.yaml\"\n"+c.show+"\n", "")
		_, list := Show(f, r)
		if got := strings.Join(codesOf(list), " "); got != c.codes {
			t.Errorf("%s: %s", name, got)
		}
	}
}

// A shot's name in a condition becomes its number for those who come after.
func TestShotNames(t *testing.T) {
	f, r, _ := read(t, "show \"Shots\" uses \"rack.yaml\"\nnever \"a\" { goal.shot == \"goal line\" }\n", "")
	info, list := Show(f, r)
	rule := f.Items[0].(*syntax.Rule)
	if e := info.Conds[rule.Cond]; len(list) > 0 || e.Args[1].Op != cond.NumberValue || e.Args[1].Text != "2" {
		t.Errorf("%v %+v", list, e.Args[1])
	}
}

// What a finding offers is right: after a mend that is sure, the finding is
// gone, and after any other edit the show can at least be read.
func TestMends(t *testing.T) {
	for _, path := range corpus(t) {
		show, rack := files(t, path)
		f, r, before := read(t, show, rack)
		if before.Blocking() {
			continue
		}
		_, list := Show(f, r)
		for _, d := range list {
			for _, m := range d.Mends {
				if len(m.Edits) != 1 || m.Edits[0].At.File != f.Source {
					continue
				}
				e := m.Edits[0]
				mended := show[:e.At.Start] + e.New + show[e.At.End:]
				g, _, broken := read(t, mended, rack)
				if broken.Blocking() {
					t.Errorf("%s: %s breaks the show: %s", filepath.Base(path), d.Code, m.Do)
				}
				_, after := Show(g, r)
				if m.Sure && slices.ContainsFunc(after, func(a diag.Diagnostic) bool { return a.Code == d.Code && a.At.Start == d.At.Start }) {
					t.Errorf("%s: %s is not mended by: %s", filepath.Base(path), d.Code, m.Do)
				}
			}
		}
	}
}

// Findings speak the user's language.
func TestWords(t *testing.T) {
	for _, path := range corpus(t) {
		show, rack := files(t, path)
		f, r, _ := read(t, show, rack)
		_, list := Show(f, r)
		for _, d := range list {
			text := d.What
			if len(d.Mends) == 0 {
				t.Errorf("%s: %s offers nothing", filepath.Base(path), d.Code)
			}
			for _, m := range d.Mends {
				text += " | " + m.Do
			}
			for _, word := range []string{"illegal", "unexpected", " AST", " node", "parse", "identifier", "expression", "nil ", "?", "%!", "nothing or", "syntax."} {
				if strings.Contains(strings.ReplaceAll(text, "`?", ""), word) {
					t.Errorf("%s: %q in: %s", filepath.Base(path), word, text)
				}
			}
			if strings.HasSuffix(d.What, ".") || d.What[:1] != strings.ToLower(d.What[:1]) {
				t.Errorf("%s: %s", d.Code, d.What)
			}
		}
	}
}

// Any text is checked without harm, however it is broken.
func FuzzShow(f *testing.F) {
	for _, path := range corpus(f) {
		b, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		_, show, _ := strings.Cut(string(b), "-- small.show --\n")
		f.Add(show)
	}
	_, rack, _ := read(f, "", "")
	f.Fuzz(func(t *testing.T, text string) {
		tree, _ := syntax.Parse(source.New("x.show", []byte(text)))
		info, list := Show(tree, rack)
		if info == nil {
			t.Fatal("no info")
		}
		for _, d := range list {
			if d.At.IsZero() || d.What == "" {
				t.Fatalf("%s has no place or no words: %q", d.Code, d.What)
			}
		}
	})
}

// many is a show of n buttons on pages of fifteen, of the kinds that shows
// are made of.
func many(n int) string {
	var b strings.Builder
	b.WriteString("show \"Many\" uses \"rack.yaml\"\nmacro replay(item: clip, back: source) { load deck with item; mix main to back over 12f }\n")
	scripts := []string{"cut main to wide", "cut main to goal", "run replay(item: \"goal-1\", back: wide)", "recall goal shot 2",
		"route screens from main", "key logo on", "send lights(level: 40, scene: \"half\")", "preset main to deck; take main"}
	for i := range n {
		if i%15 == 0 {
			if i > 0 {
				b.WriteString("}\n")
			}
			fmt.Fprintf(&b, "\npage p%d on desk {\n", i/15)
		}
		script := scripts[i%len(scripts)]
		if i%15 == 14 {
			script = fmt.Sprintf("page desk to p%d", (i/15+1)%((n+14)/15))
		}
		fmt.Fprintf(&b, "  button %d.%d \"Button %d\" { %s }\n", i%15/5+1, i%5+1, i%1000, script)
	}
	return b.String() + "}\n"
}

func TestManyIsGood(t *testing.T) {
	f, r, before := read(t, many(1000), "")
	if _, list := Show(f, r); len(before)+len(list) > 0 {
		t.Errorf("%v %v", before, list)
	}
}

func BenchmarkShow(b *testing.B) {
	text := many(10_000)
	f, r, _ := read(b, text, "")
	b.Run("check", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		b.ReportAllocs()
		for b.Loop() {
			Show(f, r)
		}
	})
	b.Run("parse and check", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			f, _ := syntax.Parse(source.New("many.show", []byte(text)))
			Show(f, r)
		}
	})
}

// A hard-patched destination: the show's line, the output and the destination
// in the plan, and where its picture could be looped through.
func TestHardPatched(t *testing.T) {
	rack, err := os.ReadFile(testdata + "shows/league/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, r, _ := read(t, `show "Hard" uses "rack.yaml"
page cameras on desk { button 1.1 "Web" { route web from tower } }
`, string(rack))
	_, list := Show(f, r)
	if fmt.Sprint(codesOf(list)) != "[hard-patched]" {
		t.Fatalf("found %v", list)
	}
	d := list[0]
	if d.At.Text() != "web" || len(d.Also) != 2 || d.Also[0].At.File != r.File || d.Also[1].At.Text() != "web" {
		t.Errorf("at %q, also %v", d.At.Text(), d.Also)
	}
	const want = "plug `web` into the spare output `router.6`, which can show `main` and more"
	if len(d.Mends) != 1 || d.Mends[0].Do != want {
		t.Errorf("offers %v", d.Mends)
	}
	for _, dev := range r.Devices { // without the loop-through that the rack has, a new one is needed
		for _, o := range dev.Outputs {
			if o.Switch != nil {
				o.Switch.Picks = nil
			}
		}
	}
	_, list = Show(f, r)
	const loop = "plug `web` into the spare output `router.6`, and loop `mixer.1` through to the spare input `router.6`, so that it can still be shown"
	if len(list) != 1 || len(list[0].Mends) != 1 || list[0].Mends[0].Do != loop {
		t.Errorf("offers %v", list)
	}
	for _, dev := range r.Devices {
		if dev.Name == "router" && (dev.Outputs[5].Cable != nil || dev.Inputs[5].Cable != nil) {
			t.Errorf("router.6 is not spare")
		}
	}
}
