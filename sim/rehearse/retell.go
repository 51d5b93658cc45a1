package rehearse

import (
	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// Retold is a rehearsal that does what events did, as far as one can. Unsaid
// is what it cannot say, by the step before which that happened; len(Steps)
// stands for the end. Where there is any, it may come out otherwise.
type Retold struct {
	Steps  []program.Step
	Unsaid map[int][]string
}

// Steps gives the steps of a rehearsal that does what a story says. It says
// false when no rehearsal can: something is done while a finger is down, or
// the story ends while one is whose coming up would do something.
func Steps(p *program.Program, events []step.Event) ([]program.Step, bool) {
	r := Retell(p, events)
	return r.Steps, len(r.Unsaid) == 0
}

// Retell gives the rehearsal of events, which are in order and from power-on.
// What comes by itself (step.Expire) need not be among them.
func Retell(p *program.Program, events []step.Event) Retold {
	x := retelling{p: p}
	for i, e := range events {
		switch e.Kind {
		case step.Go:
			x.do(e.At, program.Step{Op: program.StepGo, A: e.A})
		case step.Stand:
			x.do(e.At, program.Step{Op: program.StepStand, A: e.A})
		case step.Moment:
			x.do(e.At, program.Step{Op: program.StepMoment, A: e.A})
		case step.Fault:
			x.do(e.At, program.Step{Op: program.StepFault, A: e.A, B: e.B})
		case step.Down:
			x.finger(events[i:])
		case step.Up, step.Expire: // a finger comes up where it went down, what comes by itself comes
		default:
			x.after(e.At)
			x.unsaid(story.New(step.New(p)).Title(e))
		}
	}
	if n := len(events); n > 0 {
		x.after(events[n-1].At)
	}
	return x.Retold
}

// Play gives where steps lead from power-on.
func Play(p *program.Program, steps []program.Step) *state.State {
	s := &script{walk: NewWalk(p, "")}
	for i := range steps {
		s.step(&steps[i])
	}
	return s.walk.State()
}

// retelling is a rehearsal being written.
type retelling struct {
	Retold
	p   *program.Program
	now int64
}

func (x *retelling) unsaid(what string) {
	if x.Unsaid == nil {
		x.Unsaid = map[int][]string{}
	}
	x.Unsaid[len(x.Steps)] = append(x.Unsaid[len(x.Steps)], what)
}

func (x *retelling) after(at int64) {
	if at > x.now {
		x.Steps = append(x.Steps, program.Step{Op: program.StepAfter, Micros: at - x.now})
		x.now = at
	}
}

func (x *retelling) do(at int64, s program.Step) {
	x.after(at)
	x.Steps = append(x.Steps, s)
}

// finger is a finger that goes down with the first of events.
func (x *retelling) finger(events []step.Event) {
	down := events[0]
	x.after(down.At)
	until, why := x.comesUp(events)
	if why != "" {
		x.unsaid(why)
	}
	if until > down.At {
		x.do(down.At, program.Step{Op: program.StepHold, A: down.A, Micros: until - down.At})
		x.now = until
	} else {
		x.do(down.At, program.Step{Op: program.StepPress, A: down.A})
	}
}

// comesUp says when the finger of the first event comes up, or when something
// else is done before that, and then, why a rehearsal cannot say it. Where the
// events end before, it comes up then, which is right if that does nothing.
func (x *retelling) comesUp(events []step.Event) (at int64, why string) {
	down := events[0]
	b := &x.p.Buttons[down.A]
	if b.Down < 0 {
		return down.At, ""
	}
	name := "`" + b.Label + "`"
	for _, e := range events[1:] {
		switch {
		case e.Kind == step.Up && e.A == down.A:
			return e.At, ""
		case e.Kind != step.Expire:
			return e.At, "the finger stays on " + name + " while something else is done"
		}
	}
	end := events[len(events)-1].At
	fired := b.Hold >= 0 && end-down.At >= b.HoldAfter
	if b.Release >= 0 || !fired && b.Press >= 0 {
		why = "the finger stays on " + name
	}
	return end, why
}
