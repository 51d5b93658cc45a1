package explore

import (
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/rehearse"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// anyGoal is that up to three variables each have a value that they do not
// start with.
func anyGoal(t *rapid.T, p *program.Program) Property {
	type is struct {
		v     int32
		value uint32
	}
	var want []is
	for range rapid.IntRange(1, 3).Draw(t, "variables") {
		v := int32(rapid.IntRange(0, len(p.Vars)-1).Draw(t, "variable"))
		if size := p.Vars[v].Size; size > 1 {
			want = append(want, is{v, (p.Vars[v].Start + rapid.Uint32Range(1, size-1).Draw(t, "value")) % size})
		}
	}
	return Property{State: func(now *View) bool {
		for _, w := range want {
			if now.Get(w.v) != w.value {
				return false
			}
		}
		return true
	}}
}

// replay takes a story through the stepper and says whether its end shows what
// it should: every event must come in its order and at its time.
func replay(t simtest.Test, p *program.Program, story []step.Event, wrong func(v *View) bool) {
	t.Helper()
	m := step.New(p)
	s := m.Start()
	at := 0
	take := func(e step.Event, _ []step.Effect) {
		if at < len(story) && story[at].Kind == e.Kind && story[at].A == e.A && story[at].At == e.At {
			at++
		}
	}
	for _, e := range story {
		if at == len(story) {
			break
		}
		if e.Kind != step.Expire {
			m.Advance(s, e.At, take)
			if !m.Enabled(s, e) {
				t.Fatalf("%+v cannot happen in %+v", e, story)
			}
			m.Apply(s, e, nil)
			take(e, nil)
			continue
		}
		for s.Now < e.At || story[at] == e {
			timer, due := s.Next()
			if timer < 0 || due > e.At {
				break
			}
			x := step.Event{Kind: step.Expire, A: timer, At: max(due, s.Now)}
			m.Apply(s, x, nil)
			if take(x, nil); at == len(story) || story[at] != e {
				break
			}
		}
	}
	if at < len(story) {
		t.Fatalf("only %d of %+v came about", at, story)
	}
	m.Graph.Look(s)
	v := View{Layout: m.L, State: s, Graph: m.Graph, holds: m.Graph.Holds}
	if !wrong(&v) {
		t.Fatalf("the story does not end where it should: %+v", story)
	}
}

// rehearsed walks the steps of a story as a rehearsal does.
func rehearsed(t simtest.Test, p *program.Program, steps []program.Step, wrong func(v *View) bool) bool {
	w := rehearse.NewWalk(p, "")
	for _, x := range steps {
		var turn rehearse.Turn
		switch x.Op {
		case program.StepGo:
			turn = w.Go(x.A)
		case program.StepStand:
			turn = w.Stand(x.A)
		case program.StepMoment:
			turn = w.Moment(x.A)
		case program.StepPress:
			turn = w.Press(x.A)
		case program.StepHold:
			turn = w.Hold(x.A, x.Micros)
		case program.StepAfter:
			turn = w.After(x.Micros)
		case program.StepFault:
			turn = w.Fault(x.A, uint32(x.B))
		}
		if turn.Miss != nil {
			t.Fatalf("%+v: %s", x, turn.Miss.What)
		}
	}
	m := step.New(p)
	m.Graph.Look(w.State())
	return wrong(&View{Layout: m.L, State: w.State(), Graph: m.Graph, holds: m.Graph.Holds})
}

var bounds = Options{States: 20_000}

// Each refutation happens, as a story and as a rehearsal; what a random walk
// comes across is never proved not to be; and the verdict is the same without
// slices.
func TestVerdictsOfRandomShows(t *testing.T) {
	seen := map[Verdict]int{}
	timed, spurious, told := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := randomShow(t)
		o := bounds
		o.Faults = rapid.SampledFrom([]int{0, 0, 1}).Draw(t, "faults")
		goal := anyGoal(t, p)
		r := New(p).Property(goal, o)
		seen[r.Verdict]++
		spurious += r.Spurious
		if r.Zones > 0 && r.Verdict == Refuted {
			timed++
		}
		if r.Verdict == Refuted {
			replay(t, p, r.Story, goal.State)
			if steps, ok := rehearse.Steps(p, r.Story); ok && rehearsed(t, p, steps, goal.State) {
				told++
			}
		}
		if r.Verdict == Proved {
			meets(t, p, o.Faults, goal)
		}
		o.NoSlice = true
		if whole := New(p).Property(goal, o); whole.Verdict != r.Verdict && whole.Verdict != Unfinished && r.Verdict != Unfinished || whole.HasStory && r.HasStory && whole.Presses != r.Presses {
			t.Fatalf("%v with slices (%d presses), %v without (%d)", r.Verdict, r.Presses, whole.Verdict, whole.Presses)
		}
	})
	t.Logf("verdicts %v, %d spurious orders, %d refuted with exact times, %d as rehearsals", seen, spurious, timed, told)
	if seen[Proved] == 0 || seen[Refuted] == 0 {
		t.Error("a verdict never came up")
	}
}

// meets fails when a random walk meets the goal.
func meets(t *rapid.T, p *program.Program, faults int, goal Property) {
	m := step.New(p)
	w := &walker{t: t, m: m, s: m.Start(), faults: faults}
	w.seen = func() {
		m.Graph.Look(w.s)
		if goal.State(&View{Layout: m.L, State: w.s, Graph: m.Graph, holds: m.Graph.Holds}) {
			t.Fatalf("a walk met what was proved not to be")
		}
	}
	w.walk(p)
}
