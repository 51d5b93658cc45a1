package explore

import (
	"cuewright/macro/program"
	"cuewright/sim/step"
)

// Steps gives the steps of a rehearsal that does what a story says. It says
// false when no rehearsal can: something is done while a finger is down, or
// the story ends while one is whose coming up would do something.
func Steps(p *program.Program, story []step.Event) ([]program.Step, bool) {
	x := script{p: p}
	for i, e := range story {
		switch e.Kind {
		case step.Go:
			x.do(e.At, program.Step{Op: program.StepGo, A: e.A})
		case step.Moment:
			x.do(e.At, program.Step{Op: program.StepMoment, A: e.A})
		case step.Fault:
			x.do(e.At, program.Step{Op: program.StepFault, A: e.A, B: e.B})
		case step.Down:
			until, ok := x.comesUp(story[i:])
			if !ok {
				return nil, false
			}
			if until > e.At {
				x.do(e.At, program.Step{Op: program.StepHold, A: e.A, Micros: until - e.At})
				x.now = until
			} else {
				x.do(e.At, program.Step{Op: program.StepPress, A: e.A})
			}
		}
	}
	if n := len(story); n > 0 {
		x.after(story[n-1].At)
	}
	return x.steps, true
}

// script is a rehearsal being written.
type script struct {
	p     *program.Program
	steps []program.Step
	now   int64
}

func (x *script) after(at int64) {
	if at > x.now {
		x.steps = append(x.steps, program.Step{Op: program.StepAfter, Micros: at - x.now})
		x.now = at
	}
}

func (x *script) do(at int64, s program.Step) {
	x.after(at)
	x.steps = append(x.steps, s)
}

// comesUp says when the finger of a story's first event comes up, when
// nothing is done until then. A story that ends before has it come up then, if
// that does nothing.
func (x *script) comesUp(story []step.Event) (at int64, ok bool) {
	down := story[0]
	b := &x.p.Buttons[down.A]
	if b.Down < 0 {
		return down.At, true
	}
	for _, e := range story[1:] {
		switch {
		case e.Kind == step.Up && e.A == down.A:
			return e.At, true
		case e.Kind != step.Expire:
			return 0, false
		}
	}
	end := story[len(story)-1].At
	fired := b.Hold >= 0 && end-down.At >= b.HoldAfter
	return end, b.Release < 0 && (fired || b.Press < 0)
}
