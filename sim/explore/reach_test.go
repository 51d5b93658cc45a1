package explore

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// plain counts the reachable states with the stepper alone, timers ending in
// any order, at most so many.
func plain(p *program.Program, faults, most int) (int, bool) {
	type at struct {
		s    *state.State
		left int
	}
	m := step.New(p)
	key := func(x at) string {
		runs := make([]bool, len(x.s.Due))
		for i, due := range x.s.Due {
			runs[i] = due != state.Off
		}
		return fmt.Sprint(x.s.Words, runs, x.left)
	}
	start := at{m.Start(), faults}
	seen := map[string]bool{key(start): true}
	for todo := []at{start}; len(todo) > 0; todo = todo[1:] {
		for _, e := range everyEvent(p) {
			left := todo[0].left
			if e.Kind == step.Fault && uint32(e.B) != program.Well {
				left--
			}
			if left < 0 || !allowed(m, todo[0].s, e) {
				continue
			}
			next := at{todo[0].s.Clone(), left}
			m.Apply(next.s, e, nil)
			if k := key(next); !seen[k] {
				seen[k] = true
				todo = append(todo, next)
			}
			if len(seen) > most {
				return most, false
			}
		}
	}
	return len(seen), true
}

func everyEvent(p *program.Program) (all []step.Event) {
	for i := range p.Buttons {
		all = append(all, step.Event{Kind: step.Down, A: int32(i)}, step.Event{Kind: step.Up, A: int32(i)})
	}
	for i := range p.Timers {
		all = append(all, step.Event{Kind: step.Expire, A: int32(i)})
	}
	if len(p.Cues) > 0 {
		all = append(all, step.Event{Kind: step.Go, A: -1}, step.Event{Kind: step.Stand, A: int32(len(p.Cues))})
	}
	for i := range p.Cues {
		all = append(all, step.Event{Kind: step.Go, A: int32(i)}, step.Event{Kind: step.Stand, A: int32(i)})
		if p.Cues[i].By != program.NoMoment {
			all = append(all, step.Event{Kind: step.Moment, A: int32(i)})
		}
	}
	for d := range p.Devices {
		for h := range program.Healths {
			all = append(all, step.Event{Kind: step.Fault, A: int32(d), B: int32(h)})
		}
	}
	return all
}

// beside says whether skip or back leads from one cue to another.
func beside(at uint32, to int32) bool { return int32(at)+1 == to || int32(at) == to+1 }

func allowed(m *step.Machine, s *state.State, e step.Event) bool {
	if e.Kind == step.Stand {
		return beside(m.L.Get(s, m.P.StandbyVar()), e.A)
	}
	if e.Kind == step.Fault {
		now := m.L.Get(s, m.P.Devices[e.A].Health)
		if (now == program.Well) == (uint32(e.B) == program.Well) || !(&engine{p: m.P}).canBe(e.A, uint32(e.B)) {
			return false
		}
	}
	return m.Enabled(s, e)
}

// The explorer finds as many states as the stepper does, and so the same:
// TestWalks holds that it makes none up.
func TestReachIsWhatTheStepperReaches(t *testing.T) {
	most := 0
	rapid.Check(t, func(t *rapid.T) {
		p := randomShow(t)
		faults := rapid.SampledFrom([]int{0, 0, 0, 1}).Draw(t, "faults")
		want, ok := plain(p, faults, 3000)
		got, done := New(p).Reach(Options{Faults: faults, States: 20_000})
		if ok && (!done || got != uint64(want)) {
			t.Fatalf("the explorer finds %d states (%v), the stepper %d", got, done, want)
		}
		if ok {
			most = max(most, want)
		}
	})
	if most < 50 {
		t.Errorf("the largest show had only %d states", most)
	}
}

// race is two keyers that one press turns on after different times, and the
// property that the second is on before the first.
func race(t simtest.Test, first, second int64) (*program.Program, Property) {
	m := simtest.New()
	black := int32(1)
	main := m.Bank("main", black)
	one, two := m.Keyer("one", main, black), m.Keyer("two", main, black)
	a := m.Task(program.BranchTask, 0, program.Ignore, "a", program.Instr{Op: program.Sleep, Micros: first}, m.Do(program.KeyTo, one, 1, 0))
	b := m.Task(program.BranchTask, 0, program.Ignore, "b", program.Instr{Op: program.Sleep, Micros: second}, m.Do(program.KeyTo, two, 1, 0))
	m.Button("both", program.Instr{Op: program.Run, A: a, B: 1}, program.Instr{Op: program.Run, A: b, B: 2},
		program.Instr{Op: program.Join, A: a}, program.Instr{Op: program.Join, A: b})
	p := m.Done(t)
	v, w := p.Keyers[one].On, p.Keyers[two].On
	return p, Property{State: func(now *View) bool { return now.Get(v) == 0 && now.Get(w) == 1 }}
}

// What only an impossible order of timers breaks is proved; timers of one
// moment end in table order.
func TestImpossibleOrdersAreExcluded(t *testing.T) {
	for _, c := range []struct {
		first, second int64
		want          Verdict
	}{
		{1 * simtest.Second, 2 * simtest.Second, Proved},
		{1 * simtest.Second, 1*simtest.Second + 1, Proved},
		{1 * simtest.Second, 1 * simtest.Second, Proved},
		{1 * simtest.Second, 1*simtest.Second - 1, Refuted},
		{1 * simtest.Second, simtest.Second / 2, Refuted},
	} {
		p, wrong := race(t, c.first, c.second)
		r := New(p).Property(wrong, Options{})
		if r.Verdict != c.want {
			t.Errorf("%d and %d: %v, want %v", c.first, c.second, r.Verdict, c.want)
		}
		switch r.Verdict {
		case Proved:
			if r.Spurious != 1 || r.Zones == 0 {
				t.Errorf("%d and %d: %d spurious orders, %d zones: the untimed search must have found the order", c.first, c.second, r.Spurious, r.Zones)
			}
		case Refuted:
			replay(t, p, r.Story, wrong.State)
			if r.Presses != 1 || r.Story[len(r.Story)-1].At != c.second {
				t.Errorf("story %+v, want one press and %d later the end", r.Story, c.second)
			}
		}
	}
}

// A bound is never a proof.
func TestBounds(t *testing.T) {
	p := demo(t)
	stop := func(Progress) bool { return false }
	for _, c := range []struct {
		name string
		o    Options
		want Bound
	}{
		{"states", Options{NoSlice: true, States: 1000}, StateBound},
		{"bytes", Options{NoSlice: true, Bytes: 100_000}, ByteBound},
		{"progress", Options{NoSlice: true, Progress: stop}, Stopped},
	} {
		if r := New(p).Rule(4, c.o); r.Verdict != Unfinished || r.Bound != c.want || r.HasStory {
			t.Errorf("%s: %v, bound %d, want unfinished, %d", c.name, r.Verdict, r.Bound, c.want)
		}
	}
	if n, ok := New(p).Reach(Options{States: 1000}); ok || n < 1000 {
		t.Errorf("Reach with a bound says %d, %v", n, ok)
	}
}
