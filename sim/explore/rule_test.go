package explore

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/rehearse"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// watched is a robotic camera on the one bank, whose picture the screens show,
// a button that moves it after a wait, and two that cut.
func watched(t simtest.Test) *program.Program {
	m := simtest.New()
	camera, black := m.Camera("goal"), int32(1)
	main := m.Bank("main", black, camera)
	m.Destination("screens", m.BankOut(main), program.AlwaysOnAir)
	m.Recorder("iso", m.BankOut(main))
	m.Button("move", program.Instr{Op: program.Sleep, Micros: simtest.Second}, m.Do(program.Recall, 0, 1, 0))
	m.Button("black", m.Do(program.CutTo, main, 0, 0))
	m.Button("goal", m.Do(program.CutTo, main, 1, 0))
	m.Button("record", m.Do(program.Record, 0, 0, 0))
	return m.Done(t)
}

func (m recalled) in(effects []step.Effect) bool {
	return slices.ContainsFunc(effects, func(e step.Effect) bool {
		return e.Kind == step.Sent && e.Command.Verb == program.Recall && e.Command.A == int32(m)
	})
}

// recalled is a camera that an event may have moved.
type recalled int32

// A property of events: its effects count, what it reads is in its slice, and
// the story ends with the event.
func TestEventProperty(t *testing.T) {
	p := watched(t)
	moved := Property{
		Event: func(before *View, _ step.Event, effects []step.Effect, _ *View) bool {
			return recalled(0).in(effects) && before.Graph.OnAir().Has(p.Cameras[0].Source)
		},
		Tasks: []int32{p.Buttons[0].Press},
	}
	r := New(p).Property(moved, Options{})
	if r.Verdict != Refuted || r.Presses != 2 || len(r.Story) != 3 {
		t.Fatalf("%v, %d presses, %+v; want a press of move and of goal, then the wait's end", r.Verdict, r.Presses, r.Story)
	}
	if last := r.Story[2]; last.Kind != step.Expire || last.At != simtest.Second {
		t.Errorf("the story ends with %+v, want the wait's end after a second", last)
	}
	if want := []int32{0, 1, 2}; !slices.Equal(r.Slice.Buttons, want) {
		t.Errorf("buttons %v matter, want %v: to record makes no difference", r.Slice.Buttons, want)
	}
	moved.Event = func(before *View, _ step.Event, effects []step.Effect, after *View) bool {
		return recalled(0).in(effects) && before.Get(p.Cameras[0].Shot) == 1 && after.Get(p.Cameras[0].Shot) == 2
	}
	if r := New(p).Property(moved, Options{}); r.Verdict != Proved {
		t.Errorf("nothing moves it from the first shot: %v", r.Verdict)
	}
}

// The kinds of rule and their verdicts.
func TestRules(t *testing.T) {
	p := watched(t)
	m := &simtest.Maker{P: *p}
	bank, rec := p.Banks[0], p.Recorders[0]
	onBlack, onGoal := m.Is(bank.Program, 0), m.Is(bank.Program, 1)
	mixing, rolling := m.Is(bank.Transition, program.Mixing), m.Is(rec.State, program.MachineRunning)
	for _, c := range []struct {
		name    string
		rule    program.Rule
		want    Verdict
		presses int // of its story, -1 for none
	}{
		{"never, broken", program.Rule{Kind: program.Never, Cond: onGoal, While: -1}, Refuted, 1},
		{"never, broken at power-on", program.Rule{Kind: program.Never, Cond: onBlack, While: -1}, Refuted, 0},
		{"never, kept", program.Rule{Kind: program.Never, Cond: mixing, While: -1}, Proved, -1},
		{"always, broken", program.Rule{Kind: program.Always, Cond: onBlack, While: -1}, Refuted, 1},
		{"always while, broken", program.Rule{Kind: program.Always, Cond: rolling, While: onGoal}, Refuted, 1},
		{"always while, kept", program.Rule{Kind: program.Always, Cond: onGoal, While: onGoal}, Proved, -1},
		{"always while, never up", program.Rule{Kind: program.Always, Cond: rolling, While: mixing}, NotChecked, -1},
		{"possible", program.Rule{Kind: program.Possible, Cond: rolling, While: -1}, Proved, 1},
		{"not possible", program.Rule{Kind: program.Possible, Cond: mixing, While: -1}, Refuted, -1},
	} {
		m.P.Rules = []program.Rule{c.rule}
		r := New(&m.P).Rule(0, Options{})
		presses := -1
		if r.HasStory {
			presses = r.Presses
		}
		if r.Verdict != c.want || presses != c.presses {
			t.Errorf("%s: %v, %d presses (-1 is no story), want %v, %d", c.name, r.Verdict, presses, c.want, c.presses)
		}
	}
}

// A rule that only a fault breaks, found with one and not without.
func TestFaults(t *testing.T) {
	p := watched(t)
	v, failed := p.Recorders[0].State, p.Tasks[p.Buttons[3].Press].Failed
	hangs := Property{State: func(now *View) bool { return now.Get(failed) == 1 && now.Get(v) != program.MachineRunning }}
	if r := New(p).Property(hangs, Options{}); r.Verdict != Proved {
		t.Errorf("without faults: %v", r.Verdict)
	}
	r := New(p).Property(hangs, Options{Faults: 1})
	if r.Verdict != Refuted || r.Presses != 2 {
		t.Fatalf("with one: %v, %d presses, want the fault and the press", r.Verdict, r.Presses)
	}
	replay(t, p, r.Story, hangs.State)
	if steps, ok := rehearse.Steps(p, r.Story); !ok || !rehearsed(t, p, steps, hangs.State) {
		t.Errorf("its rehearsal does not end in it: %+v", steps)
	}
}

// A guarded button is pressed twice, a held one held.
func TestSteps(t *testing.T) {
	p := compiled(t, "../../testdata/shows/small/small.show", "../../testdata/shows/small/rack.yaml")
	find := func(label string) int32 {
		return int32(slices.IndexFunc(p.Buttons, func(b program.Button) bool { return b.Label == label }))
	}
	goal := slices.IndexFunc(p.Cameras, func(c program.Camera) bool { return c.Name == "goal" })
	shot := Property{State: func(now *View) bool { return now.Get(p.Cameras[goal].Shot) == 2 }}
	r := New(p).Property(shot, Options{})
	steps, ok := rehearse.Steps(p, r.Story)
	if !ok || len(steps) == 0 || steps[0].Op != program.StepHold || steps[0].A != find("Goal") || !rehearsed(t, p, steps, shot.State) {
		t.Errorf("%v: %+v become %+v, want `Goal` held", r.Verdict, r.Story, steps)
	}
	stop := p.Buttons[find("Stop")].Press
	fires := Property{Tasks: []int32{stop}, Event: func(_ *View, _ step.Event, effects []step.Effect, _ *View) bool {
		return slices.ContainsFunc(effects, func(e step.Effect) bool { return e.Kind == step.Started && e.Task == stop })
	}}
	r = New(p).Property(fires, Options{})
	if steps, ok := rehearse.Steps(p, r.Story); !ok || len(steps) != 2 || steps[0] != steps[1] || steps[0].A != find("Stop") {
		t.Errorf("%v: %+v become %+v, want `Stop` pressed twice", r.Verdict, r.Story, steps)
	}
	if _, ok := rehearse.Steps(p, []step.Event{{Kind: step.Down, A: find("Talk")}, {Kind: step.Down, A: find("Wide")}, {Kind: step.Up, A: find("Talk")}}); ok {
		t.Error("a press while another is held can be no rehearsal")
	}
}
