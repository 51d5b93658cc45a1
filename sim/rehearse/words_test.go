package rehearse

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

const worded = `show "Words" uses "rack.yaml"
page cameras on desk {
  button 1.1 "Wide" { cut main to wide }
  button 1.2 "Goal" { cut main to goal } hold 1s { recall goal shot 2 }
  button 3.3 "Talk" { key logo on } release { key logo off }
}
rundown in "Europe/Vienna" {
  cue 1 "Doors" { cut main to wide }
  cue 2.5 "Late" at 21:15:00 { cut main to goal }
  cue 3 "Anthem" at timecode 01:02:03:04 { key logo off }
}
`

// What is written for steps is read as the same steps.
func TestWordsAreRead(t *testing.T) {
	p := compile(t, []byte(worded), nil)
	rapid.Check(t, func(t *rapid.T) {
		micros := func() int64 { return rapid.Int64Range(1, 5_000_000_000).Draw(t, "micros") }
		var steps []program.Step
		for range rapid.IntRange(1, 8).Draw(t, "steps") {
			button := int32(rapid.IntRange(0, len(p.Buttons)-1).Draw(t, "button"))
			steps = append(steps, rapid.SampledFrom([]program.Step{
				{Op: program.StepGo, A: int32(rapid.IntRange(-1, len(p.Cues)-1).Draw(t, "cue"))},
				{Op: program.StepStand, A: int32(rapid.IntRange(0, len(p.Cues)).Draw(t, "standby"))},
				{Op: program.StepPress, A: button},
				{Op: program.StepHold, A: button, Micros: micros()},
				{Op: program.StepAfter, Micros: micros()},
				{Op: program.StepMoment, A: int32(rapid.IntRange(1, 2).Draw(t, "moment"))},
				{Op: program.StepFault, A: int32(rapid.IntRange(0, len(p.Devices)-1).Draw(t, "device")), B: int32(rapid.IntRange(0, int(program.Away)).Draw(t, "health"))},
			}).Draw(t, "step"))
		}
		name := rapid.StringMatching(`[ -~]{1,20}`).Draw(t, "name")
		block := Block(name, Words(p, steps))
		again := compile(t, []byte(worded+block), nil)
		r := again.Rehearsals[0]
		for i := range r.Steps {
			r.Steps[i].At = program.Place{}
		}
		if r.Name != name || !slices.Equal(r.Steps, steps) {
			t.Fatalf("%s\ngives %q %+v\nwant %q %+v", block, r.Name, r.Steps, name, steps)
		}
	})
}

// What a rehearsal cannot say stands where it happened, and the rest around it.
func TestRetell(t *testing.T) {
	p := compile(t, []byte(worded), nil)
	const wide, goal, talk = 0, 1, 2
	at := func(seconds int64, kind step.EventKind, a, b int32) step.Event {
		return step.Event{Kind: kind, A: a, B: b, At: seconds * 1_000_000}
	}
	for _, c := range []struct {
		name   string
		events []step.Event
		want   string
	}{
		{"nothing", nil, ""},
		{"a finger on a button that does not mind", []step.Event{at(1, step.Down, wide, 0), at(3, step.Up, wide, 0)}, "after 1s; press cameras 1.1; after 2s"},
		{"held", []step.Event{at(1, step.Down, goal, 0), at(3, step.Up, goal, 0)}, "after 1s; hold cameras 1.2 for 2s"},
		{"two fingers", []step.Event{at(1, step.Down, goal, 0), at(2, step.Down, wide, 0), at(3, step.Up, goal, 0)},
			"after 1s; # the finger stays on `Goal` while something else is done; hold cameras 1.2 for 1s; press cameras 1.1; after 1s"},
		{"never let go", []step.Event{at(0, step.Down, talk, 0)}, "# the finger stays on `Talk`; press cameras 3.3"},
		{"what came by itself", []step.Event{at(1, step.Go, -1, 0), at(2, step.Expire, 0, 0), at(4, step.Moment, 1, 0)}, "after 1s; go; after 3s; clock 21:15:00"},
		{"what was heard", []step.Event{at(2, step.Observe, p.Banks[0].Program, 2)}, "after 2s; # heard: main program is deck"},
		{"standby", []step.Event{at(2, step.Stand, 1, 0), at(3, step.Stand, 3, 0)}, "after 2s; standby 2.5; after 1s; standby"},
		{"all stopped", []step.Event{at(2, step.StopAll, 0, 0)}, "after 2s; # stop everything that runs"},
	} {
		r := Retell(p, c.events)
		lines := r.Words(p)
		got := strings.ReplaceAll(strings.Join(lines, "; "), "# a rehearsal cannot say this: ", "# ")
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
		if _, ok := Steps(p, c.events); ok != (len(r.Unsaid) == 0) {
			t.Errorf("%s: %v, and unsaid is %v", c.name, ok, r.Unsaid)
		}
		if text := Block(c.name, lines); compile(t, fmt.Append(nil, worded, text), nil) == nil {
			t.Errorf("%s: not read:\n%s", c.name, text)
		}
	}
}
