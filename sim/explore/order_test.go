package explore

import (
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/rehearse"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// Standby is skipped and taken back, and cues are called by their numbers, as
// the controller lets an operator do at any time.
func TestStandbyIsMoved(t *testing.T) {
	p := simtest.Compile(t, `show "Moved" uses "rack.yaml"
page front on desk { button 1.1 "Go" { go } }
rundown {
  cue 1 "One"   { cut main to arm }
  cue 2 "Two"   { key logo on }
  cue 3 "Three" { cut under to arm }
}
never "cue 2 before cue 1" { logo.on and main.program == near }
never "cue 2 skipped" { rundown.standby == 3 and not logo.on }
never "cue 3 twice" { under.program == arm and rundown.standby == 3 }
never "cue 1 and 3 on standby" { rundown.standby == 1 and rundown.standby == 3 }
`, simtest.MixerRack())
	for i, c := range []struct {
		ordered, free Verdict
		presses       int
		last          step.EventKind
	}{
		{Proved, Refuted, 1, step.Go},
		{Proved, Refuted, 2, step.Stand},
		{Proved, Refuted, 2, step.Go},
		{Proved, Proved, 0, 0},
	} {
		name := p.Rules[i].Name
		for _, whole := range []bool{false, true} {
			if r := New(p).Rule(i, Options{InOrder: true, NoSlice: whole}); r.Verdict != c.ordered {
				t.Errorf("%q is %v in order, want %v", name, r.Verdict, c.ordered)
			}
			r := New(p).Rule(i, Options{NoSlice: whole})
			if r.Verdict != c.free || r.Presses != c.presses {
				t.Fatalf("%q is %v with %d presses, want %v with %d", name, r.Verdict, r.Presses, c.free, c.presses)
			}
			if !r.HasStory {
				continue
			}
			if last := r.Story[len(r.Story)-1]; last.Kind != c.last {
				t.Errorf("%q ends with %+v", name, last)
			}
			replay(t, p, r.Story, goal(&p.Rules[i]))
			if steps, ok := rehearse.Steps(p, r.Story); !ok || !rehearsed(t, p, steps, goal(&p.Rules[i])) {
				t.Errorf("%q: no rehearsal ends in it: %+v", name, steps)
			}
		}
	}
}

// A script that waits for a cue on standby wakes when it is skipped over: skip
// and back go cue by cue.
func TestSkipWakes(t *testing.T) {
	p := simtest.Compile(t, `show "Wakes" uses "rack.yaml"
page front on desk { button 1.1 "Wait" { wait until rundown.standby == 2; key logo on } }
rundown {
  cue 1 "One" { note "one" }
  cue 2 "Two" { note "two" }
}
possible "woken" { logo.on }
`, simtest.MixerRack())
	r := New(p).Rule(0, Options{})
	if r.Verdict != Proved || r.Presses != 2 {
		t.Errorf("%v with %d presses, want a press of the button and a skip", r.Verdict, r.Presses)
	}
	if steps, ok := rehearse.Steps(p, r.Story); !ok || len(steps) == 0 || steps[len(steps)-1].Op != program.StepStand && steps[len(steps)-1].Op != program.StepGo {
		t.Errorf("the story is %+v", steps)
	}
}
