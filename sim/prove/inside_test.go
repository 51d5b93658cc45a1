package prove

import (
	"os"
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/simtest"
	"cuewright/sim/state"
)

func compiled(t *testing.T, text string) *program.Program {
	t.Helper()
	rack, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return simtest.Compile(t, "show \"Test\" uses \"rack.yaml\"\n"+text, string(rack))
}

// What each event alone proves, and what it rightly does not: each line is a
// button's script, whose check the reason stands close by, or not.
func TestEachEventByItself(t *testing.T) {
	for _, c := range []struct {
		name, code, script string
		want               bool
	}{
		{"asked just before", "camera-moved-on-air", "if not goal.on_air { recall goal shot 1 }", true},
		{"asked about another picture", "camera-moved-on-air", "if not wide.on_air { recall goal shot 1 }", false},
		{"asked the wrong way round", "camera-moved-on-air", "if goal.on_air { recall goal shot 1 }", false},
		{"asked, then cut to it", "camera-moved-on-air", "if not goal.on_air { recall goal shot 1; cut main to goal }", false},
		{"asked, then something that no picture depends on", "camera-moved-on-air", "if not goal.on_air { switch fan on; recall goal shot 1; record iso }", true},
		{"asked, then waited", "camera-moved-on-air", "if not goal.on_air { wait 1s; recall goal shot 1 }", false},
		{"asked again after the wait", "camera-moved-on-air", "wait 1s; if not goal.on_air { recall goal shot 1 }", true},
		{"asked by two at once", "camera-moved-on-air", "if not (goal.on_air or wide.on_air) { recall goal shot 1 }", true},
		{"asked with an or that says too little", "camera-moved-on-air", "if not goal.on_air or fan.on { recall goal shot 1 }", false},
		{"left early", "camera-moved-on-air", "if goal.on_air { abandon \"no\" }\n recall goal shot 1", true},
		{"no mix runs", "transition-over-transition", "if not main.mixing { mix main to goal over 1s }", true},
		{"a fade is no mix", "transition-over-transition", "if not main.mixing { fade main to black over 1s }", false},
		{"two in one go", "transition-over-transition", "if not main.mixing { mix main to goal over 1s; mix main to wide over 1s }", false},
		{"cut between", "transition-over-transition", "cut main to wide; mix main to goal over 1s", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := compiled(t, "page p on desk {\n button 1.1 \"B\" { "+c.script+" }\n button 1.2 \"Air\" { cut main to goal; route screens from main }\n}\n")
			w := onair.NewWatch(p, state.NewLayout(p))
			l := newLocal(p, w)
			var claims []claim
			for _, check := range w.Checks(c.code) {
				if check.Code == "camera-moved-on-air" {
					check.At = -1
				}
				claims = append(claims, l.check(check))
			}
			if len(claims) == 0 {
				t.Fatal("nothing to check")
			}
			held := l.proves(claims, l.events(), func() bool { return true })
			if slices.Contains(held, !c.want) {
				t.Errorf("proves %v, want %v", held, c.want)
			}
		})
	}
}

// The shortest time in which a script can make seven changes.
func TestPace(t *testing.T) {
	strobe := "cut main to goal; wait 100ms; cut main to wide; wait 100ms; cut main to goal; wait 100ms; cut main to wide; wait 100ms; cut main to goal; wait 100ms; cut main to wide; wait 100ms; cut main to goal"
	for _, c := range []struct {
		name, macros, script string
		want                 bool
	}{
		{"seven in 0.6 s", "", strobe, true},
		{"six", "", strobe[:len(strobe)-len("; wait 100ms; cut main to goal")], false},
		{"one waits longer", "", "cut main to wide; wait 500ms; " + strobe[:len(strobe)-len("; wait 100ms; cut main to goal")], true},
		{"seven in 1.2 s", "", "cut main to goal; wait 200ms; cut main to wide; wait 200ms; cut main to goal; wait 200ms; cut main to wide; wait 200ms; cut main to goal; wait 200ms; cut main to wide; wait 200ms; cut main to goal", false},
		{"seven at once are one", "", "cut main to goal; cut main to wide; cut main to goal; cut main to wide; cut main to goal; cut main to wide; cut main to goal", false},
		{"by a macro that is run three times", "macro two { cut main to goal; wait 100ms; cut main to wide; wait 100ms; cut main to goal; wait 100ms }", "run two; run two; run two", true},
		{"with a wait in the macro", "macro two { cut main to goal; wait 1s; cut main to wide; wait 1s }", "run two; run two; run two; run two", false},
		{"in branches, which may come together", "macro two { cut main to goal; wait 300ms; cut main to wide; wait 300ms; cut main to goal; wait 300ms; cut main to wide }\nmacro more { cut effects to goal; wait 300ms; cut effects to wide; wait 300ms; cut effects to goal }",
			"together {\n run two\n run more\n}", true},
		{"on one of two ways", "", "if fan.on { " + strobe + " } else { cut main to wide }", true},
		{"a slow mix may end late", "", "mix main to goal over 2s; wait 2s; cut main to wide; wait 200ms; cut main to goal; wait 200ms; cut main to wide; wait 200ms; cut main to goal; wait 200ms; cut main to wide; wait 190ms; cut main to goal", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := compiled(t, c.macros+"\npage p on desk { button 1.1 \"B\" { "+c.script+" } }\n")
			pace := newPacer(p)
			if got := pace.flashes(p.Buttons[0].Press); got != c.want {
				t.Errorf("%v, want %v: %v", got, c.want, pace.until[p.Buttons[0].Press])
			}
		})
	}
}

// A proved pace is one that random presses of that button alone never beat:
// what flashes in the walk, the pacer has called fast.
func TestPaceIsSafe(t *testing.T) {
	p := compiled(t, "macro m { cut main to goal; wait 150ms; cut main to wide; wait 150ms; cut main to goal; wait 150ms; cut main to wide; wait 150ms; cut main to goal; wait 150ms; cut main to wide; wait 150ms; cut main to goal }\n"+
		"page p on desk {\n button 1.1 \"Air\" { cut main to deck; route screens from main }\n button 1.2 \"M\" { run m }\n}\n")
	r := Show(p, Options{})
	i := slices.IndexFunc(r.Findings, func(f Finding) bool { return f.Code == "flashing" })
	if i < 0 || r.Findings[i].Presses != 2 {
		t.Errorf("%+v", r.Answers)
	}
}

// Of a held button only the finger moves: the story that a rehearsal can do.
func TestPlain(t *testing.T) {
	p := compiled(t, "page p on desk {\n button 1.1 \"Talk\" { note \"x\" }  release { switch fan on }\n button 1.2 \"Board\" { switch scoreboard on }\n}\nnever \"both\" { fan.on and scoreboard.on }\n")
	r := Show(p, Options{})
	if len(r.Findings) != 1 || r.Findings[0].Steps == nil || r.Findings[0].Presses != 2 {
		t.Fatalf("%+v", r.Findings)
	}
}
