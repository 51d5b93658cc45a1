package prove_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/prove"
	"cuewright/sim/simtest"
)

// compile compiles what comes after the head of a show on the small rack.
func compile(t *testing.T, text string) *program.Program {
	t.Helper()
	rack, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return simtest.Compile(t, "show \"Test\" uses \"rack.yaml\"\n"+text, string(rack))
}

// said is a report in short: "code verdict" of all answers that apply, and
// "code: what" of all findings.
func said(r *prove.Report) string {
	var lines []string
	for _, a := range r.Answers {
		if a.Verdict != prove.NotApplicable && a.Code != "flashing" {
			name := a.Name
			if a.Code == "rule-broken" {
				name = strings.Trim(strings.SplitN(name, " ", 2)[1], `"`)
			}
			lines = append(lines, fmt.Sprintf("%s %s %s", a.Code, name, a.Verdict))
		}
	}
	for _, f := range r.Findings {
		lines = append(lines, f.Code+": "+f.What)
	}
	return strings.Join(lines, "\n")
}

// The cases of a report, each with all that it says.
func TestReports(t *testing.T) {
	for _, c := range []struct{ name, show, want string }{
		{"nothing to say", `page p on desk { button 1.1 "Fan" { switch fan on } }`,
			"picture-refused screens proved\nlive-without-recording stream proved"},
		{"guarded by what it asks", `page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Move" { if goal.on_air { alert "on air" } else { recall goal shot 1 } }
}`, "camera-moved-on-air goal proved\npicture-refused screens proved\nlive-without-recording stream proved"},
		{"asked too early", `page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Move" { if not goal.on_air { wait 1s; recall goal shot 1 } }
}`, "camera-moved-on-air goal refuted\npicture-refused screens proved\nlive-without-recording stream proved\n" +
			"camera-moved-on-air: `goal` moves to its shot 1 `whole goal` while `screens` shows it on air"},
		{"allowed in one place, done in another", `macro slow { allow camera-moved-on-air "it is slow"
  recall goal shot 1 }
page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Slow" { run slow }
  button 1.3 "Fast" { recall goal shot 2 }
}`, "camera-moved-on-air goal refuted\npicture-refused screens proved\nlive-without-recording stream proved\n" +
			"camera-moved-on-air: `goal` moves to its shot 2 `goal line` while `screens` shows it on air"},
		{"allowed where it is done", `macro slow { allow camera-moved-on-air "it is slow"
  recall goal shot 1 }
page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Slow" { run slow }
}`, "camera-moved-on-air goal allowed\npicture-refused screens proved\nlive-without-recording stream proved"},
		{"allowed where it was started", `macro clip { allow deck-ran-out-on-air "the last picture stays"
  load deck with "goal-1"; wait 1s; play deck; cut main to deck; wait 9s; cut main to goal }
page p on desk {
  button 1.1 "Clip" { run clip }
  button 1.2 "Air" { if main.program != wide { route screens from main } }
}`, "deck-touched-on-air deck proved\ndeck-ran-out-on-air deck allowed\npicture-refused screens proved\nlive-without-recording stream proved"},
		{"broken at power-on", `page p on desk { button 1.1 "Fan" { switch fan on } }
never "wide on the side" { side.shows(wide) }`,
			"rule-broken wide on the side refuted\npicture-refused screens proved\nlive-without-recording stream proved\nrule-broken: `wide on the side` is broken at power-on"},
		{"by itself", `macro a { record iso; wait 1s; stop iso }
page p on desk { button 1.1 "A" { run a } }
rundown { cue 1 "A" { run a } cue 2 "Late" follow 1 after 1s { switch fan on } }
always "no fan" { not fan.on }`,
			"rule-broken no fan refuted\npicture-refused screens proved\nlive-without-recording stream proved\nrule-broken: `no fan` is broken with 1 press"},
		{"a check that its allowance no longer needs", `allow live-without-recording "nobody looks"
page p on desk { button 1.1 "Fan" { switch fan on } }`,
			"picture-refused screens proved\nlive-without-recording stream proved\nstale-allowance: nothing that can happen with this show is a `live-without-recording` to allow here"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, o := range []prove.Options{{}, {NoSlice: true, Workers: 2}} {
				if got := said(prove.Show(compile(t, strings.ReplaceAll(c.show, "} cue", "}\n cue")), o)); got != c.want {
					t.Errorf("no slices %v:\n%s\nwant\n%s", o.NoSlice, got, c.want)
				}
			}
		})
	}
}

// Other buttons that do the same are named with the first, not told again.
func TestMoreLikeIt(t *testing.T) {
	r := prove.Show(compile(t, `page p on desk {
  button 1.1 "One" { route side from guest }
  button 1.2 "Two" { route side from guest }
  button 1.3 "Three" { route side from slides }
}
rundown {
  cue 1 "Guest" { route side from guest }
}
never "no guest" { side.shows(guest) }`), prove.Options{})
	if len(r.Findings) != 1 {
		t.Fatalf("%+v", r.Findings)
	}
	f := r.Findings[0]
	if want := []string{`desk: p 1.2 "Two"`, `go: cue 1 "Guest"`}; !slices.Equal(f.More, want) || f.Others {
		t.Errorf("more %q, others %v", f.More, f.Others)
	}
	if last := f.Story[len(f.Story)-1]; len(f.Story) != 2 || f.Story[0].Title != "power-on" || last.Title != `desk: p 1.1 "One"` {
		t.Errorf("%v", f.Story)
	}
}

// A proof that is stopped says so of what it has not looked at, and keeps what
// it has.
func TestStopped(t *testing.T) {
	p := compile(t, `page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Move" { recall goal shot 1 }
}`)
	asked := 0
	r := prove.Show(p, prove.Options{Progress: func(now prove.Progress) bool {
		asked++
		return false
	}})
	if !r.Stopped || !r.Undecided() || asked != 1 || len(r.Findings) > 0 {
		t.Errorf("stopped %v, asked %d times: %s", r.Stopped, asked, said(r))
	}
	p = compile(t, `page p on desk {
  button 1.1 "Fan" { if not scoreboard.on { switch fan on } }
  button 1.2 "Board" { if not fan.on { switch scoreboard on } }
  button 1.3 "A" { route side from slides }  hold 1s { route side from guest }
  button 1.4 "B" { route line1 from slides }  hold 1s { route line1 from guest }
  button 1.5 "C" { route line2 from slides }  hold 1s { route line2 from guest }
  button 2.1 "D" { route stage from slides }  hold 1s { route stage from guest }
}
never "both" { fan.on and scoreboard.on }`)
	r = prove.Show(p, prove.Options{States: 1, NoSlice: true})
	if !r.Undecided() || r.Stopped {
		t.Errorf("with one state: %s", said(r))
	}
	for _, a := range r.Answers {
		if a.Verdict == prove.Unfinished && a.Note == "" {
			t.Errorf("%+v does not say how far it came", a)
		}
	}
}

// A mend is offered only when it helps and nothing else gets worse.
func TestMends(t *testing.T) {
	text := `page p on desk {
  button 1.1 "Goal" { route screens from goal }
  button 1.2 "Move" { recall goal shot 1 }
}`
	var tried []string
	for _, c := range []struct{ name, mended, want string }{
		{"it helps", strings.Replace(text, "recall goal shot 1", "if not goal.on_air { recall goal shot 1 }", 1), "yes"},
		{"it does not", text, ""},
		{"it is no show", "", ""},
		{"another thing gets worse", strings.Replace(text, "recall goal shot 1", "start stream", 1), ""},
	} {
		tried = nil
		r := prove.Show(compile(t, text), prove.Options{Recheck: func(try prove.Try) (*program.Program, string) {
			tried = append(tried, try.Do)
			if c.mended == "" {
				return nil, ""
			}
			return compile(t, c.mended), "yes"
		}})
		got := ""
		if m := r.Findings[0].Mend; m != nil {
			got = m.Line
		}
		if got != c.want || len(tried) == 0 || c.want == "" && len(r.Findings[0].Tried) != len(tried) {
			t.Errorf("%s: %q, tried %q", c.name, got, tried)
		}
	}
}

// A wait is tried longer and shorter, in the scripts that the story has set off;
// a rule that nothing gets to has no story, and no mend is looked for.
func TestMendsOfRules(t *testing.T) {
	var tried []string
	o := prove.Options{Recheck: func(try prove.Try) (*program.Program, string) {
		if strings.HasPrefix(try.Do, "write `wait") {
			text, fits := try.Change("wait 900ms")
			tried = append(tried, fmt.Sprint(text, " ", fits))
		}
		return nil, ""
	}}
	prove.Show(compile(t, `page p on desk {
  button 1.1 "Live" { start stream; wait 1100ms; switch fan on }
  button 1.2 "Other" { wait 800ms; switch scoreboard on }
}
possible "never mind" { deck.playing }
never "dark" { stream.live and not fan.on }`), o)
	if want := []string{"wait 100ms true", "wait 2.1s true", "wait 550ms true", "wait 4.4s true"}; !slices.Equal(tried, want) {
		t.Errorf("tried %q", tried)
	}
}

// The words of a rehearsal are those of the language, exact to the microsecond.
func TestWords(t *testing.T) {
	p := compile(t, `page p on desk { button 1.2 "B" { go } }
rundown {
  cue 3.5 "C" { switch fan on }
  cue 4 "D" at 00:15:00 { switch fan on }
  cue 5 "E" at timecode 10:00:00:24 { switch fan on }
}`)
	f := prove.Finding{Code: "flashing", Steps: []program.Step{{Op: program.StepGo, A: -1}, {Op: program.StepGo, A: 0}, {Op: program.StepPress, A: 0},
		{Op: program.StepHold, A: 0, Micros: 1_500_000}, {Op: program.StepAfter, Micros: 240_000}, {Op: program.StepAfter, Micros: 1},
		{Op: program.StepAfter, Micros: 60_000_000}, {Op: program.StepFault, A: 0, B: int32(program.Away)},
		{Op: program.StepMoment, A: 1}, {Op: program.StepMoment, A: 2}}}
	want := "rehearsal \"a \\\"b\\\"\" {\n  go\n  go 3.5\n  press p 1.2\n  hold p 1.2 for 1.5s\n  after 240ms\n  after 0.000001s\n  after 60s\n  fault " +
		p.Devices[0].Name + " away\n  clock 00:15:00\n  timecode 10:00:00:24\n  expect finding flashing\n}\n"
	if got, ok := f.Rehearsal(p, `a "b"`); !ok || got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	f.Steps = nil
	if _, ok := f.Rehearsal(p, "x"); ok {
		t.Error("a rehearsal of what no rehearsal can do")
	}
}
