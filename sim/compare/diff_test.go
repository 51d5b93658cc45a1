package compare_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/format"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/sim/compare"
	"cuewright/sim/simtest"

	"pgregory.net/rapid"
)

func read(t simtest.Test, name string) string {
	t.Helper()
	data, err := os.ReadFile("../../testdata/shows/" + name)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return string(data)
}

// edit replaces texts, pair by pair; each must be there once.
func edit(t simtest.Test, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if n := strings.Count(text, pairs[i]); n != 1 {
			t.Fatalf("%q is there %d times", pairs[i], n)
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

func told(changes []compare.Change) string {
	var b strings.Builder
	for _, c := range changes {
		b.WriteString(c.String())
	}
	return b.String()
}

// diff compares the small show with an edit of it, and of its plan.
func diff(t *testing.T, show, rack []string) string {
	t.Helper()
	oldShow, oldRack := read(t, "small/small.show"), read(t, "small/rack.yaml")
	was := simtest.Compile(t, oldShow, oldRack)
	is := simtest.Compile(t, edit(t, oldShow, show...), edit(t, oldRack, rack...))
	changes, _ := compare.Diff(was, is, nil)
	return told(changes)
}

func TestDiff(t *testing.T) {
	for _, c := range []struct {
		name       string
		show, rack []string
		want       string
	}{
		{"nothing", nil, nil, ""},
		{"comments and space", []string{"macro roll {", "# roll the recorders\nmacro roll   {  # both"}, nil, ""},
		{"another name of a macro", []string{"macro roll {", "macro run_up {", "run roll;", "run run_up;"}, nil, ""},
		{"another name of a salvo", []string{"salvo doors {", "salvo opening {", `cue 1 "Doors"     { run doors }`, `cue 1 "Doors"     { run opening }`,
			"button 1.3 \"Doors\"   { run doors }", "button 1.3 \"Doors\"   { run opening }"}, nil, ""},
		{"and in another order", []string{"iso.rolling and safety.rolling within", "safety.rolling and iso.rolling within"}, nil, ""},
		{"statements put into a macro", []string{`button 1.1 "Wide"    { cut main to wide }`, `button 1.1 "Wide"    { run to_wide }`,
			"salvo doors {", "macro to_wide { cut main to wide }\nsalvo doors {"}, nil, ""},
		{"what a button does", []string{`"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`}, nil, `
button cameras 1.1 "Wide" does something else
  - cut main to wide
  + cut main to goal
    now test.show:44, was test.show:44
`},
		{"label", []string{`"Wide" `, `"All" `}, nil, `
button cameras 1.1 "All" was called "Wide"
    now test.show:44, was test.show:44
`},
		{"guard", []string{`"Crew"    {`, `"Crew"   guarded {`}, nil, `
button cameras 3.4 "Crew" is guarded now
    now test.show:49, was test.show:49
`},
		{"moved", []string{"button 3.4", "button 3.1"}, nil, `
button cameras 3.1 "Crew" was at cameras 3.4
    now test.show:49, was test.show:49
`},
		{"new and gone", []string{`button 3.4 "Crew"    { page desk to crew }`, `button 3.4 "Note"    { note "hello" }`}, nil, `
button cameras 3.4 "Note" was called "Crew"
    now test.show:49, was test.show:49
button cameras 3.4 "Note" does something else
  - page desk to crew
  + note "hello"
    now test.show:49, was test.show:49
`},
		{"lamp", []string{"lamp dark when stream.stopped", "lamp dark when stream.live"}, nil, `
button cameras 2.2 "Quiet" lights otherwise
  - lamp dark when stream.state is stopped
  + lamp dark when stream.state is live
    now test.show:48, was test.show:48
`},
		{"hold and release", []string{"hold 1s {", "hold 2s {"}, nil, `
button cameras 1.2 "Goal" does something else
  - held for 1s:
  + held for 2s:
    now test.show:45, was test.show:45
`},
		{"a macro is told once", []string{"mix main over 12f\n  wait", "mix main over 24f\n  wait"}, nil, `
macro replay does something else
  - mix main over 12f
  + mix main over 24f
    now test.show:16, was test.show:16
    for button cameras 2.1 "Replay", cue 2 "Titles"
`},
		{"the limit of a wait", []string{"within 90s", "within 80s"}, nil, `
macro replay does something else
  - wait until deck.state is ended within 90s
  + wait until deck.state is ended within 80s
    now test.show:17, was test.show:17
    for button cameras 2.1 "Replay", cue 2 "Titles"
`},
		{"a condition", []string{"effects.program == goal", "effects.program == wide"}, nil, `
macro quiet does something else
  -   if effects.program is goal {
  +   if effects.program is wide {
    now test.show:24, was test.show:24
    for button cameras 2.2 "Quiet"
`},
		{"a branch", []string{"wait 00:00:00:10; switch fan on", "wait 00:00:00:10; switch fan off"}, nil, `
macro quiet does something else
  -     switch fan on
  +     switch fan off
    now test.show:31, was test.show:31
    for button cameras 2.2 "Quiet"
`},
		{"run again", []string{"macro quiet restart", "macro quiet"}, nil, `
macro quiet does something else
  - run again: restarts
  + run again: ignored
    now test.show:21, was test.show:21
    for button cameras 2.2 "Quiet"
`},
		{"an argument", []string{`item: "goal-1"`, `item: "opener"`}, nil, `
button cameras 2.1 "Replay" does something else
  - run replay("goal-1", wide)
  + run replay("opener", wide)
    now test.show:47, was test.show:47
`},
		{"all arguments, and what the macro does", []string{`item: "goal-1", back: wide`, `item: "goal-1", back: goal`,
			`item: "opener", back: wide`, `item: "opener", back: goal`, "wait until deck.ended within 90s", "wait until deck.ended within 80s"}, nil, `
button cameras 2.1 "Replay" does something else
  - run replay("goal-1", wide)
  + run replay("goal-1", goal)
    now test.show:47, was test.show:47
cue 2 "Titles" does something else
  - run replay("opener", wide)
  + run replay("opener", goal)
    now test.show:66, was test.show:66
macro replay does something else
  - wait until deck.state is ended within 90s
  + wait until deck.state is ended within 80s
    now test.show:17, was test.show:17
    for button cameras 2.1 "Replay", cue 2 "Titles"
`},
		{"a parameter's name", []string{"replay(item: clip", "replay(which: clip", "load deck with item", "load deck with which",
			`replay(item: "goal-1"`, `replay(which: "goal-1"`, `replay(item: "opener"`, `replay(which: "opener"`}, nil, ""},
		{"a salvo, and what can be seen", []string{"route side, stage from slides", "route side, stage from guest"}, nil, `
salvo doors does something else
  - route side from slides
  - route stage from slides
  + route side from guest
  + route stage from guest
    now test.show:40, was test.show:40
    for button crew 1.3 "Doors", cue 1 "Doors"
side can now show guest
    now test.show:40, was rack.yaml:101
stage can now show guest
    now test.show:40, was rack.yaml:102
side cannot show slides any more
    now rack.yaml:101, was test.show:40
stage cannot show slides any more
    now rack.yaml:102, was test.show:40
`},
		{"cues", []string{"follow 2 after 5s", "follow 2 after 6s", `cue 3.5 "Extra" `, `cue 3.6 "Extra" `, "at 21:15:00", "at 21:20:00", "at timecode 01:02:03:04 ", "", "clock 21:15:00", "clock 21:20:00", "timecode 01:02:03:04; ", ""}, nil, `
cue 3 "Kick-off" comes at another time
  - follows cue 2 after 5s
  + follows cue 2 after 6s
    now test.show:67, was test.show:67
cue 3.6 "Extra" was cue 3.5
    now test.show:68, was test.show:68
cue 3.6 "Extra" comes at another time
  - comes by the clock at 21:15:00 in Europe/Vienna
  + comes by the clock at 21:20:00 in Europe/Vienna
    now test.show:68, was test.show:68
cue 4 "Anthem" comes at another time
  - comes by the timecode at 01:02:03:04
  + waits for go
    now test.show:69, was test.show:69
`},
		{"rules", []string{"{ screens.shows(views) or side.shows(views) }", "{ side.shows(views) }",
			`possible "the goal can go to air" { main.program == goal }`, `possible "wide can go to air" { main.program == wide }`}, nil, `
rule "multiview reaches the audience" demands something else
  - never (screens.shows(views) or side.shows(views))
  + never side.shows(views)
    now test.show:72, was test.show:72
rule "wide can go to air" is new
  + possible main.program is wide
    now test.show:74
rule "the goal can go to air" is gone
  - possible main.program is goal
    was test.show:74
`},
		{"a page", []string{"page crew on desk, side_desk", "page crew on desk"}, nil, `
surface side_desk begins with no page, began with crew
    now rack.yaml:107, was test.show:53
page crew is now on desk, was on desk, side_desk
    now test.show:53, was test.show:53
`},
		{"the plan", nil, []string{"opener: { length: 24s }", "opener: { length: 20s }"}, `
clip deck "opener" is otherwise
  - length 24s
  + length 20s
    now rack.yaml:36, was rack.yaml:36
`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := diff(t, c.show, c.rack); got != strings.TrimPrefix(c.want, "\n") {
				t.Errorf("got\n%s\nwant%s", got, c.want)
			}
		})
	}
}

// shuffle puts the items of a show into another order. The first page of each
// surface stays first: which page shows at power-on is no matter of order.
func shuffle(t *rapid.T, show string) string {
	file, _ := syntax.Parse(source.New("test.show", []byte(show)))
	var first, rest []string
	seen := map[string]bool{}
	for _, item := range file.Items {
		at, to := item.Span(), &rest
		if p, ok := item.(*syntax.Page); ok {
			for _, s := range p.Surfaces {
				if !seen[s.Text] {
					seen[s.Text], to = true, &first
				}
			}
		}
		*to = append(*to, show[at.Start:at.End])
	}
	out := append([]string{show[file.Show.At.Start:file.Show.At.End]}, first...)
	return strings.Join(append(out, rapid.Permutation(rest).Draw(t, "order")...), "\n\n") + "\n"
}

// TestOrderAndLayoutAreSilent: another order of the file, other comments and
// the one layout change nothing for the operator.
func TestOrderAndLayoutAreSilent(t *testing.T) {
	for _, folder := range []string{"small", "league"} {
		show, rack := read(t, folder+"/"+folder+".show"), read(t, folder+"/rack.yaml")
		was := simtest.Compile(t, show, rack)
		rapid.Check(t, func(t *rapid.T) {
			other := shuffle(t, show)
			if rapid.Bool().Draw(t, "formatted") {
				file, _ := syntax.Parse(source.New("test.show", []byte(other)))
				laid, err := format.Show(file)
				if err != nil {
					t.Fatal(err)
				}
				other = string(laid)
			}
			if changes, _ := compare.Diff(was, simtest.Compile(t, other, rack), nil); len(changes) > 0 {
				t.Fatalf("%s:\n%s", folder, told(changes))
			}
		})
	}
}

// cuts are the buttons of the league show that cut or route one picture, by
// line, and the pictures that another could be put in their place.
var cuts = []string{"tower", "north_goal", "south_goal", "roam", "overhead", "commentator", "scores", "card"}

// TestOneEditIsToldOnce: another picture on one button is told once, with the
// button, both pictures and the line.
func TestOneEditIsToldOnce(t *testing.T) {
	show, rack := read(t, "league/league.show"), read(t, "league/rack.yaml")
	lines := strings.Split(show, "\n")
	var at []int
	for i, l := range lines {
		if strings.HasPrefix(l, "  button") && strings.Contains(l, "{ cut main to ") {
			at = append(at, i)
		}
	}
	was := simtest.Compile(t, show, rack)
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.SampledFrom(at).Draw(t, "line")
		head, tail, _ := strings.Cut(lines[i], "{ cut main to ")
		old, rest, _ := strings.Cut(tail, " ")
		now := rapid.SampledFrom(cuts).Filter(func(s string) bool { return s != old }).Draw(t, "picture")
		edited := slices.Clone(lines)
		edited[i] = head + "{ cut main to " + now + " " + rest
		is := simtest.Compile(t, strings.Join(edited, "\n"), rack)
		changes, _ := compare.Diff(was, is, nil)
		var buttons []compare.Change
		for _, c := range changes {
			if c.Kind != compare.OfDestination { // what can be seen may follow from it
				buttons = append(buttons, c)
			}
		}
		place := fmt.Sprintf("test.show:%d", i+1)
		want := compare.Hunk{Was: []string{"cut main to " + old}, Is: []string{"cut main to " + now}, WasAt: place, IsAt: place}
		if len(buttons) != 1 || len(buttons[0].Hunks) != 1 || fmt.Sprint(buttons[0].Hunks[0]) != fmt.Sprint(want) {
			t.Fatalf("line %d: %s", i+1, told(changes))
		}
	})
}

// TestSymmetry: what is told from one version to the other is told the other
// way round, with the sides exchanged.
func TestSymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		was, is := random(t, "old"), random(t, "new")
		there, _ := compare.Diff(was, is, nil)
		back, _ := compare.Diff(is, was, nil)
		if len(there) != len(back) {
			t.Fatalf("there %d, back %d:\n%s\n%s", len(there), len(back), told(there), told(back))
		}
		if a, b := sides(there, false), sides(back, true); !slices.Equal(a, b) {
			t.Fatalf("%q\n%q", a, b)
		}
	})
}

func random(t *rapid.T, label string) *program.Program {
	_ = rapid.Bool().Draw(t, label)
	m := simtest.Rack(t)
	simtest.Show(t, m)
	return m.Done(t)
}

// sides lists what hunks took away and brought, sorted.
func sides(changes []compare.Change, exchanged bool) (all []string) {
	for _, c := range changes {
		for _, h := range c.Hunks {
			was, is := h.Was, h.Is
			if exchanged {
				was, is = is, was
			}
			for _, l := range was {
				all = append(all, string(c.Kind)+" - "+l)
			}
			for _, l := range is {
				all = append(all, string(c.Kind)+" + "+l)
			}
		}
	}
	slices.Sort(all)
	return all
}

// TestSelfIsSilent: no program differs from itself, whatever its code.
func TestSelfIsSilent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := random(t, "one")
		if changes, _ := compare.Diff(p, p, nil); len(changes) > 0 {
			t.Fatalf("%s", told(changes))
		}
	})
}

// TestExpected: what is printed can be expected, with or without places, and
// each side of the comparison is missed when it is not there.
func TestExpected(t *testing.T) {
	show, rack := read(t, "small/small.show"), read(t, "small/rack.yaml")
	was := simtest.Compile(t, show, rack)
	is := simtest.Compile(t, edit(t, show, `"Wide"    { cut main to wide }`, `"All"    { cut main to goal }`), rack)
	changes, _ := compare.Diff(was, is, nil)
	printed := "# as agreed\n" + told(changes) + "\n" + compare.InAll + "2 changes\n"
	if unexpected, missing := compare.Unmet(changes, compare.Expected(printed)); len(unexpected)+len(missing) > 0 {
		t.Errorf("not expected %v, missing %q", unexpected, missing)
	}
	unexpected, missing := compare.Unmet(changes, []string{changes[0].Text(), "cue 9 \"Nine\" is new\n"})
	if len(unexpected) != 1 || unexpected[0].Says != changes[1].Says || !slices.Equal(missing, []string{"cue 9 \"Nine\" is new\n"}) {
		t.Errorf("not expected %v, missing %q", unexpected, missing)
	}
}

// TestVerdicts: a rule that comes out otherwise is told, one that was not
// decided is named, and nothing is when nothing else changes.
func TestVerdicts(t *testing.T) {
	show, rack := read(t, "small/small.show"), read(t, "small/rack.yaml")
	was := simtest.Compile(t, show, rack)
	is := simtest.Compile(t, edit(t, show, `"Wide" `, `"All" `), rack)
	decide := func(p *program.Program, rule int32) (string, bool) {
		if p == is && rule == 1 {
			return "refuted", true
		}
		return "proved", rule != 2
	}
	changes, undecided := compare.Diff(was, is, decide)
	if got := told(changes); !strings.Contains(got, `rule "recording while live" is now refuted, was proved`) || len(changes) != 2 {
		t.Error(got)
	}
	if !slices.Equal(undecided, []string{"the goal can go to air"}) {
		t.Errorf("undecided: %q", undecided)
	}
	if changes, undecided := compare.Diff(was, was, decide); len(changes)+len(undecided) > 0 {
		t.Errorf("%v %v", changes, undecided)
	}
}
