package rehearse

import (
	"os"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
)

// small is a show with every kind of step.
const small = `show "Test" uses "rack.yaml"

allow recorder-source-changed "nobody keeps the tape"

page cameras on desk {
  button 1.1 "Goal" { cut main to goal; route screens from main }
  button 1.2 "Shot" { recall goal shot 2 }
  button 1.3 "Late" { wait 10s; recall goal shot 1 }
  button 1.4 "Roll" { record iso; expect iso.rolling within 1s else alert "not rolling" }
  button 1.5 "Stop" guarded { stop iso }  hold 1s { note "held" }
}
`

func run(t *testing.T, show string) (*program.Program, Result) {
	t.Helper()
	p := compile(t, []byte(show), nil)
	return p, New(p).Run(0)
}

func codes(found []Finding) []string {
	var all []string
	for _, f := range found {
		all = append(all, f.Code)
	}
	return all
}

func TestPassed(t *testing.T) {
	for _, c := range []struct {
		name, steps string
		passed      bool
		open        []string
		misses      []string
	}{
		{"nothing wrong", `press cameras 1.1; expect main.program == goal`, true, nil, nil},
		{"a finding nobody expects", `press cameras 1.1; press cameras 1.2`, false, []string{"camera-moved-on-air"}, nil},
		{"a finding that is expected", `press cameras 1.1; press cameras 1.2; expect finding camera-moved-on-air`, true, nil, nil},
		{"a finding after the last step", `press cameras 1.1; press cameras 1.3`, false, []string{"camera-moved-on-air"}, nil},
		{"an expectation missed", `expect main.program == goal`, false, nil, []string{"expectation-missed"}},
		{"a cover opened is no shot", `press cameras 1.5; press cameras 1.5; press cameras 1.5`, true, nil, nil},
		{"a device is away, and that is the point", `fault iso away; press cameras 1.4; expect finding device-did-not-act; after 1s; expect alert "not rolling"; fault iso well; press cameras 1.4; after 1s; expect iso.rolling`, true, nil, nil},
		{"all kinds of misses", `go; press cameras 1.1; expect alert "x"; expect finding flashing`, false, nil, []string{"nothing-on-standby", "alert-missed", "finding-missed"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, r := run(t, small+"rehearsal \"r\" { "+c.steps+" }\n")
			if r.Passed != c.passed {
				t.Errorf("passed is %v", r.Passed)
			}
			if got := codes(r.Open()); !slices.Equal(got, c.open) {
				t.Errorf("open findings %v, want %v", got, c.open)
			}
			var missed []string
			for _, m := range r.Misses {
				missed = append(missed, string(m.Code))
				if m.At.Line == 0 || m.What == "" || m.Seen == "" {
					t.Errorf("%+v does not say where, what and what instead", m)
				}
			}
			if !slices.Equal(missed, c.misses) {
				t.Errorf("misses %v, want %v", missed, c.misses)
			}
		})
	}
}

// What comes by itself after the last step is told, and marked.
func TestLateFindings(t *testing.T) {
	_, r := run(t, small+`rehearsal "r" { press cameras 1.1; press cameras 1.3 }`)
	if len(r.Findings) != 1 || !r.Findings[0].Late || r.Findings[0].Beat <= r.LastBeat {
		t.Errorf("findings %+v, last beat %d", r.Findings, r.LastBeat)
	}
	if last := r.Beats[len(r.Beats)-1]; last.Micros != 10_000_000 || r.Unsettled {
		t.Errorf("the story ends at %s", last.Time)
	}
	for i, b := range r.Beats {
		if b.Number != i {
			t.Errorf("beat %d has the number %d", i, b.Number)
		}
	}
}

// An allowance accepts and is counted, until its day has passed.
func TestAllowances(t *testing.T) {
	const show = `show "Test" uses "rack.yaml"
allow camera-moved-on-air "it is slow and smooth" until "2027-01-31"
page cameras on desk {
  button 1.1 "Goal" { cut main to goal; route screens from main }
  button 1.2 "Shot" { recall goal shot 2 }
}
rehearsal "r" { press cameras 1.1; press cameras 1.2; press cameras 1.2 }
`
	p := compile(t, []byte(show), nil)
	for _, c := range []struct {
		today  string
		used   int
		passed bool
	}{{"", 2, true}, {"2027-01-31", 2, true}, {"2027-02-01", 0, false}} {
		r := New(p)
		r.Today = c.today
		x := r.Run(0)
		if used := x.Used(p)[0]; used != c.used || x.Passed != c.passed {
			t.Errorf("today %q: used %d times, passed %v", c.today, used, x.Passed)
		}
	}
}

// What was seen instead names the things of the condition, each once.
func TestSeen(t *testing.T) {
	_, r := run(t, small+`rehearsal "r" {
  press cameras 1.1
  expect main.program == wide and not logo.on or deck.on_air and screens.shows(deck) and iso.rolling and main.program != goal
}`)
	want := "main program is goal, logo is off, deck is not on air, screens shows goal, iso is stopped"
	if len(r.Misses) != 1 || r.Misses[0].Seen != want {
		t.Errorf("misses %+v, want seen %q", r.Misses, want)
	}
}

// The demo's rehearsals are part of the demo: they pass.
func TestLeagueRehearsalsPass(t *testing.T) {
	show, err := os.ReadFile("../../testdata/shows/league/league.show")
	if err != nil {
		t.Fatal(err)
	}
	rack, err := os.ReadFile("../../testdata/shows/league/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p := compile(t, show, rack)
	r := New(p)
	for i := range p.Rehearsals {
		x := r.Run(i)
		for _, m := range x.Misses {
			t.Errorf("%s, line %d: %s; %s", x.Name, m.At.Line, m.What, m.Seen)
		}
		for _, f := range x.Open() {
			t.Errorf("%s, beat %d: %s: %s", x.Name, f.Beat, f.Code, f.What)
		}
	}
}

// A rehearsal tells the same story every time, on a used runner and a new one.
func TestSameStoryTwice(t *testing.T) {
	show, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		t.Fatal(err)
	}
	p := compile(t, show, nil)
	r := New(p)
	first := r.Run(0)
	if again := r.Run(0); !reflect.DeepEqual(first, again) {
		t.Error("the second run differs")
	}
	if fresh := New(p).Run(0); !reflect.DeepEqual(first, fresh) {
		t.Error("a new runner differs")
	}
}

// Going back is as if it had not been done: the same things done next have the
// same beats and findings.
func TestBack(t *testing.T) {
	show, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		t.Fatal(err)
	}
	p := compile(t, show, nil)
	rapid.Check(t, func(t *rapid.T) {
		straight, wandering := NewWalk(p, ""), NewWalk(p, "")
		for range rapid.IntRange(1, 12).Draw(t, "things") {
			for range rapid.IntRange(0, 3).Draw(t, "detours") {
				anything(t, wandering, p)
				if !wandering.Back() {
					t.Fatal("no way back")
				}
			}
			state := rapid.Int().Draw(t, "seed")
			a, b := something(straight, p, state), something(wandering, p, state)
			if !reflect.DeepEqual(a, b) || !straight.State().Equal(wandering.State()) {
				t.Fatalf("straight %+v\nwandering %+v", a, b)
			}
		}
		for wandering.Back() {
		}
		if !wandering.State().Equal(NewWalk(p, "").State()) {
			t.Fatal("all the way back is not power-on")
		}
	})
}

func anything(t *rapid.T, w *Walk, p *program.Program) Turn {
	return something(w, p, rapid.Int().Draw(t, "detour"))
}

// something does one of the things that a person can, chosen by n.
func something(w *Walk, p *program.Program, n int) Turn {
	n &= 1<<40 - 1
	which := n / 8
	switch n % 8 {
	case 0, 1, 2:
		return w.Press(int32(which % len(p.Buttons)))
	case 3:
		return w.Hold(int32(which%len(p.Buttons)), int64(which%3)*1_000_000)
	case 4:
		return w.Go(int32(which%(len(p.Cues)+1)) - 1)
	case 5:
		return w.After(int64(which%50) * 100_000)
	case 6:
		return w.Fault(int32(which%len(p.Devices)), uint32(which/64)%program.Healths)
	default:
		return w.Stop()
	}
}

func BenchmarkRehearse(b *testing.B) {
	show, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		b.Fatal(err)
	}
	r := New(compile(b, show, nil))
	b.ReportAllocs()
	for b.Loop() {
		r.Run(0)
	}
}

// A rule of the show that breaks along the way is a finding when it breaks,
// not again while it stays broken; one that is broken at power-on at once.
func TestRulesAreWatched(t *testing.T) {
	const rules = small + `never "the goal is in the hall" { screens.shows(goal) }
always "it rolls when live" { iso.rolling } while { main.program == goal }
always "the logo is on" { logo.on }
possible "the logo can come" { logo.on }
`
	_, r := run(t, rules+`rehearsal "r" { press cameras 1.1; press cameras 1.1; after 1s }`+"\n")
	var got []string
	for _, f := range r.Findings {
		got = append(got, f.Code+" "+f.What)
	}
	want := []string{"rule-broken always `the logo is on` does not hold", "rule-broken never `the goal is in the hall` does not hold",
		"rule-broken always `it rolls when live` does not hold"}
	if !slices.Equal(got, want) || r.Passed || r.Findings[0].Beat != 0 || r.Findings[1].Beat != 1 {
		t.Errorf("passed %v, %q", r.Passed, got)
	}
	_, r = run(t, small+`never "the goal is in the hall" { screens.shows(goal) }
rehearsal "r" { press cameras 1.1; expect finding rule-broken }`+"\n")
	if !r.Passed {
		t.Errorf("a rule that is expected to break: %v", r.Findings)
	}
}
