package prove

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/onair"
	"cuewright/sim/step"
)

// Flashes need times, and seven quick fingers can always flash a picture. What
// is decided is narrower, and is said so: whether one script, set off once,
// can by itself change pictures more often than WCAG 2.2 SC 2.3.1 allows. The
// bound is the watch's (sim/onair): the seventh change within one second.
const (
	tooManyChanges = 7
	within         = 1_000_000 // microseconds
	oneScript      = "one script by itself"
)

// pace is the shortest times in which a piece of a script can make so many
// changes: pace[c] for c or more, never for none that can. It errs to the
// short side: what waits for a condition may not wait, and branches may do
// all at once.
type pace [tooManyChanges + 1]int64

const never int64 = 1 << 60

func nothing() pace {
	var p pace
	for c := 1; c < len(p); c++ {
		p[c] = never
	}
	return p
}

func impossible() pace {
	p := nothing()
	p[0] = never
	return p
}

// then is one piece after another.
func (p pace) then(q pace) pace {
	out := impossible()
	for a := range p {
		for b := range q {
			c := min(a+b, tooManyChanges)
			out[c] = min(out[c], p[a]+q[b])
		}
	}
	return out
}

// or is one piece or another.
func (p pace) or(q pace) pace {
	for c := range p {
		p[c] = min(p[c], q[c])
	}
	return p
}

// pacer finds the paces of all scripts of a program: a task stands after all
// that it runs, so one pass in the order of the table will do.
type pacer struct {
	p       *program.Program
	through []pace  // by task: from its beginning to its end
	inside  []pace  // by task: from anywhere in it, or in what it runs, to its end
	until   []pace  // the same, to the last change and not to its end
	longest []int64 // by task: the longest transition in it and in what it runs
}

func newPacer(p *program.Program) *pacer {
	n := len(p.Tasks)
	x := &pacer{p, make([]pace, n), make([]pace, n), make([]pace, n), make([]int64, n)}
	for t := range p.Tasks {
		x.task(int32(t))
	}
	return x
}

// flashes says whether a script can make too many changes in one second. A
// transition changes the picture at its end at the latest, so the changes can
// lie closer than what starts them by as long as the longest one takes.
func (x *pacer) flashes(task int32) bool {
	return x.until[task][tooManyChanges]-x.longest[task] <= within
}

func (x *pacer) task(t int32) {
	from, end := x.p.CodeOf(t)
	counts := x.counts(from, end)
	rest := make([]pace, end-from+1) // by address: to the end
	last := make([]pace, end-from+1) // to the last change
	rest[end-from], last[end-from] = nothing(), nothing()
	x.inside[t], x.until[t] = impossible(), impossible()
	for at := end - 1; at >= from; at-- {
		i := at - from
		own, next := x.instruction(t, at, counts[i])
		rest[i], last[i] = impossible(), nothing()
		for _, n := range next {
			rest[i] = rest[i].or(own.then(rest[n-from]))
			last[i] = last[i].or(own.then(last[n-from]))
		}
		if in := &x.p.Code[at]; in.Op == program.Run { // begun within what it runs
			x.inside[t] = x.inside[t].or(x.inside[in.A].then(rest[i+1]))
			x.until[t] = x.until[t].or(x.until[in.A]).or(x.inside[in.A].then(last[i+1]))
		}
		x.inside[t], x.until[t] = x.inside[t].or(rest[i]), x.until[t].or(last[i])
	}
	x.through[t] = impossible()
	for _, e := range x.p.Tasks[t].Entries {
		x.through[t] = x.through[t].or(rest[e-from])
	}
}

// instruction is what an instruction does to the pace, and what can be next.
func (x *pacer) instruction(t, at int32, counts bool) (own pace, next []int32) {
	in := &x.p.Code[at]
	own, next = nothing(), []int32{at + 1}
	if counts {
		own[1] = 0
	}
	switch in.Op {
	case program.End, program.Abandon:
		_, end := x.p.CodeOf(t)
		next = []int32{end}
	case program.Sleep:
		own[0] = in.Micros
	case program.Until, program.Unless:
		next = append(next, in.B)
	case program.Jump:
		next = []int32{in.B}
	case program.Run:
		next = append(next, in.B)
		x.longest[t] = max(x.longest[t], x.longest[in.A])
		if join := &x.p.Code[at+1]; join.Op == program.Join && join.A == in.A {
			own = own.or(x.through[in.A])
			break
		}
		for c := range own { // beside what follows: all that it does may be at once
			if x.through[in.A][c] < never {
				own[c] = 0
			}
		}
	}
	if in.Op == program.Do {
		if a := &x.p.Actions[in.A]; a.Verb == program.Mix || a.Verb == program.Wipe || a.Verb == program.Fade {
			x.longest[t] = max(x.longest[t], a.Micros)
		}
	}
	return own, next
}

// counts says which instructions are a change of their own: of those that
// follow each other without a rest only the first is, since what happens in
// one event is one change.
func (x *pacer) counts(from, end int32) []bool {
	out := make([]bool, end-from)
	landing := make([]bool, end-from+1)
	for at := from; at < end; at++ {
		if in := &x.p.Code[at]; in.Op == program.Until || in.Op == program.Unless || in.Op == program.Jump || in.Op == program.Run {
			landing[in.B-from] = true
		}
	}
	fresh := true
	for at := from; at < end; at++ {
		in := &x.p.Code[at]
		fresh = fresh || landing[at-from]
		switch in.Op {
		case program.Sleep, program.Until, program.Join, program.Run:
			fresh = true
		case program.Do, program.Fire:
			if x.changes(in) {
				out[at-from], fresh = fresh, false
			}
		}
	}
	return out
}

// changes says whether an instruction can change a picture at its bottom.
func (x *pacer) changes(in *program.Instr) bool {
	visible := func(a int32) bool {
		switch x.p.Actions[a].Verb {
		case program.CutTo, program.Take, program.Mix, program.Wipe, program.Fade, program.Route, program.RouteTie:
			return true
		}
		return false
	}
	if in.Op == program.Fire {
		return slices.ContainsFunc(x.p.Salvos[in.A].Actions, visible)
	}
	return visible(in.A)
}

// flashes puts the question about flashes, when a script could make any.
func (x *proof) flashes() {
	if !x.asksFor("flashing") {
		return
	}
	pace := newPacer(x.p)
	var fast []int32
	for t := range x.p.Tasks {
		k := x.p.Tasks[t].Kind
		if k != program.BranchTask && pace.flashes(int32(t)) && !slices.ContainsFunc(fast, func(f int32) bool { return x.watch.Calls(int32(t), f) }) {
			fast = append(fast, int32(t))
		}
	}
	answer := x.answerTo("flashing", oneScript)
	if len(fast) == 0 {
		x.answers[answer].Verdict = Proved
		x.answers[answer].Note = "several scripts, or quick fingers, together are not looked at"
		return
	}
	for _, t := range fast {
		x.questions = append(x.questions, &question{name: "flashing: " + x.p.Tasks[t].Name, code: "flashing", about: oneScript, answer: answer,
			ask: func(a *asker) outcome { return a.flash(t) }})
	}
}

// flash looks for a story in which a script flashes: it is set off while a
// place on air shows a bank, and then nothing is pressed. Not to find one
// decides nothing.
func (a *asker) flash(t int32) outcome {
	p := a.x.p
	last, best := outcome{allowed: -1}, (*outcome)(nil)
	for d, to := range p.Destinations {
		if to.OnAir == program.NeverOnAir {
			continue
		}
		w := &wrong{tasks: []int32{t}, event: func(_ *explore.View, _ step.Event, effects []step.Effect, after *explore.View) bool {
			return starts(effects, t) && after.Graph.OnAirDestination(int32(d)) && a.fromBank(after, to.Node)
		}}
		last.Result = a.e.Property(w.property(nil), a.options(0))
		if found := last; found.Verdict == explore.Refuted && a.confirmFlash(&found) && (best == nil || found.Presses < best.Presses) {
			best = &found
		}
	}
	if best != nil {
		return *best
	}
	last.tale, last.HasStory = nil, false
	last.Verdict, last.Bound = explore.Unfinished, explore.NoBound
	last.note = fmt.Sprintf("`%s` may change pictures %d times within a second, and no story was found that shows it", p.Tasks[t].Name, tooManyChanges)
	return last
}

func (a *asker) fromBank(v *explore.View, node int32) bool {
	at := v.Graph.Origin(node)
	return at >= 0 && a.x.p.Nodes[at].Kind != program.SourceNode
}

// mostOn is how many things may happen by themselves until it flashes.
const mostOn = 100

// confirmFlash plays a story, and then what runs on by itself, until the watch
// sees flashes.
func (a *asker) confirmFlash(out *outcome) bool {
	events := slices.Clone(out.Story)
	p := a.player()
	for i := range len(events) + mostOn {
		if i == len(events) {
			timer, due := p.s.Next()
			if timer < 0 {
				return false
			}
			events = append(events, step.Event{Kind: step.Expire, A: timer, At: due})
		}
		if p.until(events[i]); !p.can(events[i]) {
			return false
		}
		p.apply(events[i], true)
		if n := slices.IndexFunc(p.found, func(f onair.Finding) bool { return f.Code == "flashing" }); n >= 0 {
			f := p.found[n]
			p.tale.state = p.s
			out.tale, out.Story, out.finding, out.Presses = &p.tale, events, &f, presses(events)
			out.allowed = onair.Allowed(a.x.p, f, a.x.o.Today)
			return true
		}
	}
	return false
}

// presses counts what somebody does in a story.
func presses(events []step.Event) int {
	n := 0
	for _, e := range events {
		if e.Kind == step.Down || e.Kind == step.Go || e.Kind == step.Stand || e.Kind == step.Moment || e.Kind == step.Fault {
			n++
		}
	}
	return n
}
