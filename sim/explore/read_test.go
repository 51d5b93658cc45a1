package explore

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// A property may look at what the event itself has written. That can hang on
// variables outside the slice, or be a value that stands for others: it must
// be in the slice, as it is.
func TestPropertyLooksAtWhatAnEventHasWritten(t *testing.T) {
	sent := func(effects []step.Effect, verb program.Verb) bool {
		return slices.ContainsFunc(effects, func(e step.Effect) bool { return e.Kind == step.Sent && e.Command.Verb == verb })
	}
	m := simtest.New()
	one, two := m.Source("one", "live"), m.Source("two", "live")
	bank := m.Bank("main", one, two)
	m.Destination("screens", m.BankOut(bank), program.AlwaysOnAir)
	m.Encoder("stream", m.BankOut(bank))
	m.Button("start", m.Do(program.Start, 0, 0, 0))
	m.Button("start again and tell", m.Do(program.Start, 0, 0, 0), m.Do(program.KeyTo, m.Keyer("logo", bank, one), 1, 0))
	m.Button("two", m.Do(program.PresetTo, bank, 1, 0))
	m.Button("over", m.Do(program.Mix, bank, 0, 0))
	p := m.Done(t)
	task := func(name string) int32 {
		i := slices.IndexFunc(p.Buttons, func(b program.Button) bool { return b.Label == name })
		return p.Buttons[i].Press
	}
	for _, q := range []Property{
		{Tasks: []int32{task("start again and tell")}, Event: func(_ *View, _ step.Event, effects []step.Effect, after *View) bool {
			return sent(effects, program.KeyTo) && after.Get(p.Encoders[0].State) == program.MachineRunning
		}},
		{Tasks: []int32{task("over")}, Vars: []int32{p.Banks[0].Program}, Event: func(_ *View, _ step.Event, effects []step.Effect, after *View) bool {
			return sent(effects, program.Mix) && after.Get(p.Banks[0].Program) == 1
		}},
	} {
		for _, whole := range []bool{false, true} {
			if r := New(p).Property(q, Options{NoSlice: whole}); r.Verdict != Refuted || r.Presses != 2 {
				t.Errorf("whole %v: %v with %d presses", whole, r.Verdict, r.Presses)
			}
		}
	}
}
