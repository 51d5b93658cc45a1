package prove

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// reach puts the questions about what can never come about: pages, cues,
// steps, waits and salvos that no random walk has seen. To prove it of a step
// that only a fault needs, one fault is let happen.
func (x *proof) reach() {
	seen := walk(x.p)
	x.pages(seen)
	x.cues(seen)
	for t := range x.p.Tasks {
		if x.started(int32(t)) {
			x.steps(seen, int32(t))
		}
	}
	x.salvos(seen)
}

// never asks whether something never comes about, with so many faults or more,
// and, perhaps, in order. What comes about in order does so with fewer states to
// go through, so that is asked first.
func (x *proof) never(f Finding, w *wrong, how explore.Options) {
	x.questions = append(x.questions, &question{name: f.What, code: f.Code, answer: -1, fails: how.Faults > 0,
		never: func() Finding { return f },
		ask: func(a *asker) outcome {
			o := a.options(mostForReach)
			o.Faults, o.InOrder = max(o.Faults, how.Faults), true
			r := a.e.Property(w.property(nil), o)
			if o.InOrder = how.InOrder; r.Verdict == explore.Proved && !how.InOrder {
				r = a.e.Property(w.property(nil), o)
			}
			return outcome{Result: r, allowed: -1}
		}})
}

// mostForReach bounds these questions: not to know is no harm.
const mostForReach = 1_000_000

func (x *proof) finding(code string, at program.Place, what string, args ...any) Finding {
	return Finding{Code: code, At: at, Place: story.Place(x.p, at), What: fmt.Sprintf(what, args...), broken: -1}
}

// pages looks for pages that some step turns to, and no surface ever shows.
// Those that no step turns to are found when the show is checked.
func (x *proof) pages(seen *cover) {
	p := x.p
	for i, page := range p.Pages {
		if seen.shown[i] || !slices.ContainsFunc(p.Code, func(in program.Instr) bool {
			return in.Op == program.Turn && p.Surfaces[in.A].Pages[in.B] == int32(i)
		}) {
			continue
		}
		w := &wrong{lasting: true, state: func(v *explore.View) bool {
			return slices.ContainsFunc(p.Surfaces, func(f program.Surface) bool {
				at := slices.Index(f.Pages, int32(i))
				return at >= 0 && v.Get(f.Page) == uint32(at)
			})
		}}
		x.never(x.finding("button-out-of-reach", page.At, "no button of page `%s` can ever be pressed: nothing that turns to it ever comes about", page.Name), w, explore.Options{})
	}
}

func (x *proof) cues(seen *cover) {
	for i, cue := range x.p.Cues {
		if seen.fired[i] {
			continue
		}
		w := &wrong{tasks: []int32{cue.Task}, event: func(_ *explore.View, _ step.Event, effects []step.Effect, _ *explore.View) bool {
			return slices.ContainsFunc(effects, func(e step.Effect) bool { return e.Kind == step.Fired && e.A == int32(i) })
		}}
		x.never(x.finding("cue-out-of-reach", cue.At, "cue %s `%s` is never fired, unless somebody calls it by its number or skips to it", cue.Number, cue.Label), w, explore.Options{InOrder: true})
	}
}

// started says whether anything sets a task off, so that what it does is worth
// asking: what nothing runs is found when the show is checked.
func (x *proof) started(task int32) bool { return len(x.startersOf(x.watch.Script(task))) > 0 }

// steps looks for pieces of a task that never run, and for waits that never
// end. A piece is what runs without a fork in it; one whose running leaves no
// trace of its own is not looked at.
func (x *proof) steps(seen *cover, t int32) {
	from, end := x.watch.Code(t)
	k := &x.p.Tasks[t]
	for _, piece := range x.pieces(from, end) {
		traces := piece[:0:0]
		ran := false
		for _, at := range piece {
			if x.leavesTrace(at) {
				traces = append(traces, at)
			}
			ran = ran || seen.ran[at]
		}
		if ran || len(traces) == 0 {
			continue
		}
		w := &wrong{tasks: []int32{t}, vars: rests(k)}
		w.state = func(v *explore.View) bool {
			return k.At >= 0 && v.Get(k.At) > 0 && slices.Contains(traces, k.Rests[v.Get(k.At)-1])
		}
		w.event = func(_ *explore.View, _ step.Event, effects []step.Effect, after *explore.View) bool {
			return w.state(after) || slices.ContainsFunc(effects, func(e step.Effect) bool { return slices.Contains(traces, e.Instr) })
		}
		at := x.p.Code[traces[0]].At
		if in := &x.p.Code[traces[0]]; at.Line == 0 && in.Op == program.Do {
			at = x.p.Actions[in.A].At
		}
		x.never(x.finding("step-never-runs", at, "this step of `%s` never runs, even when one device fails", k.Name), w, explore.Options{Faults: 1})
	}
	for _, at := range k.Rests {
		if in := &x.p.Code[at]; in.Op == program.Until && in.Micros == 0 && in.C == 0 && !seen.left[at] {
			x.endless(seen, t, at)
		}
	}
}

func rests(k *program.Task) []int32 {
	if k.At < 0 {
		return nil
	}
	return []int32{k.At}
}

// endless asks whether a wait without a limit, once it is begun, never ends.
// One that is never begun is a step that never runs.
func (x *proof) endless(seen *cover, t, at int32) {
	if !seen.ran[at] {
		return
	}
	k := &x.p.Tasks[t]
	rest := uint32(slices.Index(k.Rests, at) + 1)
	w := &wrong{tasks: []int32{t}, vars: rests(k), event: func(before *explore.View, _ step.Event, effects []step.Effect, after *explore.View) bool {
		return before.Get(k.At) == rest && after.Get(k.At) != rest && !starts(effects, t)
	}}
	x.never(x.finding("wait-without-end", x.p.Code[at].At, "this wait of `%s` never ends: what it waits for never comes about", k.Name), w, explore.Options{Faults: 1})
}

// pieces are the instructions of a task by where it forks: all of one run when
// one of them does, but for those after the task has ended.
func (x *proof) pieces(from, end int32) [][]int32 {
	lands := make([]bool, end-from+1)
	for at := from; at < end; at++ {
		switch in := &x.p.Code[at]; in.Op {
		case program.Unless, program.Until, program.Run, program.Jump:
			lands[in.B-from] = true
		}
	}
	var all [][]int32
	fork := true
	for at := from; at < end; at++ {
		if fork || lands[at-from] {
			all = append(all, nil)
		}
		all[len(all)-1] = append(all[len(all)-1], at)
		in := &x.p.Code[at]
		fork = in.Op == program.Unless || in.Op == program.Jump || in.Op == program.Abandon || in.Op == program.End
	}
	return all
}

// leavesTrace says whether an instruction that runs is always seen to.
func (x *proof) leavesTrace(at int32) bool {
	switch in := &x.p.Code[at]; in.Op {
	case program.Do:
		return x.p.Actions[in.A].Verb != program.Protect
	case program.Fire, program.Alert, program.Note:
		return true
	case program.Abandon:
		return in.A >= 0
	case program.Sleep:
		return in.Micros > 0
	}
	return false
}

// salvos looks for salvos that are fired and never change anything.
func (x *proof) salvos(seen *cover) {
	p := x.p
	for i, salvo := range p.Salvos {
		if seen.changed[i] {
			continue
		}
		fires := func(in program.Instr) bool { return in.Op == program.Fire && in.A == int32(i) }
		if !slices.ContainsFunc(p.Code, fires) {
			continue
		}
		var tasks []int32
		for t := range p.Tasks {
			if from, end := x.watch.Code(int32(t)); slices.ContainsFunc(p.Code[from:end], fires) {
				tasks = append(tasks, int32(t))
			}
		}
		w := &wrong{tasks: tasks, event: func(before *explore.View, _ step.Event, effects []step.Effect, after *explore.View) bool {
			return slices.ContainsFunc(effects, func(e step.Effect) bool {
				return e.Instr >= 0 && fires(p.Code[e.Instr]) && moves(p, &e, func(v int32) bool { return before.Get(v) != after.Get(v) })
			})
		}}
		x.never(x.finding("salvo-without-effect", salvo.At, "salvo `%s` never changes anything: all that it sets stands so already", salvo.Name), w, explore.Options{})
	}
}
