package scxml

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// regions writes a region for each script.
func (w *writer) regions() {
	for t := range w.p.Tasks {
		if w.mistake == ScriptsBackward {
			t = len(w.p.Tasks) - 1 - t
		}
		w.region(int32(t))
	}
}

// region is a script: a state for each place where it can rest, one for when it
// is going on, and one for when it is idle. What decides is the variable that
// says where it rests, since a condition may ask for it at any time; the states
// follow it.
func (w *writer) region(task int32) {
	k := &w.p.Tasks[task]
	id := fmt.Sprint("task", task)
	w.open("state", "id", id)
	w.open("transition", "event", "pass")
	w.turn(task)
	w.close("transition")
	if k.At >= 0 {
		w.empty("state", "id", id+"_idle")
		w.empty("state", "id", id+"_going")
		w.follows(task, going(task), id+"_going")
		w.follows(task, w.is(k.At, 0), id+"_idle")
		for n, at := range k.Rests {
			rest := fmt.Sprintf("%s_rest%d", id, n+1)
			w.open("state", "id", rest)
			if micros := w.p.Code[at].Micros; micros > 0 {
				w.open("onentry")
				w.arm(k.Timer, fmt.Sprint(micros))
				w.close("onentry")
				w.open("onexit")
				w.disarm(k.Timer)
				w.close("onexit")
			}
			w.close("state")
			w.follows(task, w.is(k.At, uint32(n+1)), rest)
		}
	}
	w.close("state")
}

// follows lets a region's state follow what its script has done.
func (w *writer) follows(task int32, when, target string) {
	w.open("transition", "type", "internal", "cond", formula.And(fresh(task), when), "target", target)
	w.let(fresh(task), formula.No)
	w.close("transition")
}

func going(task int32) string { return fmt.Sprintf("(%s != 0)", pc(task)) }

// running says that a script has started and has not ended.
func (w *writer) running(task int32) string {
	if at := w.p.Tasks[task].At; at >= 0 {
		return formula.Or(going(task), formula.Not(w.is(at, 0)))
	}
	return going(task)
}

// stands says where a script rests, or that it is idle: at 0.
func (w *writer) stands(task int32, at int) {
	k := &w.p.Tasks[task]
	w.set(k.At, at)
	if k.At >= 0 {
		w.let(fresh(task), formula.Yes)
	}
}

// start begins a script that is not running.
func (w *writer) start(task int32, entry int) {
	k := &w.p.Tasks[task]
	w.set(k.Failed, 0)
	w.stands(task, 1)
	w.let(pc(task), k.Entries[entry]+1)
	w.say(Started, task)
}

// launch starts a script, or does what it says about being run while it runs;
// otherwise is what the one who ran it does when it did not begin.
func (w *writer) launch(task int32, entry int, otherwise func()) {
	k := &w.p.Tasks[task]
	w.when(w.running(task), func() {
		switch {
		case k.Again == program.Restart:
			w.halt(task)
			w.start(task, entry)
		case k.Again == program.Queue && k.Queued >= 0:
			w.when(w.is(k.Queued, 0), func() { w.set(k.Queued, entry+1) })
			otherwise()
		default:
			otherwise()
		}
	}, func() { w.start(task, entry) })
}

// halt ends a script and its branches; nothing follows from it.
func (w *writer) halt(task int32) {
	w.let(pc(task), 0)
	w.stands(task, 0)
	w.say(Ended, task)
	w.set(w.p.Tasks[task].Queued, 0)
	for b := range w.p.Tasks {
		if x := &w.p.Tasks[b]; x.Kind == program.BranchTask && x.Owner == task {
			w.when(w.running(int32(b)), func() { w.halt(int32(b)) })
		}
	}
}

// finish is a script at its end: who waits for it goes on, cues follow, a queued
// run begins.
func (w *writer) finish(task int32) {
	k := &w.p.Tasks[task]
	w.let(pc(task), 0)
	w.stands(task, 0)
	w.say(Ended, task)
	for j := range w.p.Tasks {
		x := &w.p.Tasks[j]
		for n, at := range x.Rests {
			if in := &w.p.Code[at]; in.Op == program.Join && in.A == task {
				w.when(formula.And(formula.Not(going(int32(j))), w.is(x.At, uint32(n+1))), func() { w.goOn(int32(j), at+1) })
			}
		}
	}
	if k.Kind == program.CueTask {
		w.follow(k.Owner)
	}
	for entry := range k.Entries {
		if k.Queued >= 0 {
			w.when(w.is(k.Queued, uint32(entry+1)), func() {
				w.set(k.Queued, 0)
				w.start(task, entry)
			})
		}
	}
}

// goOn lets a script go on at an address when its turn comes.
func (w *writer) goOn(task, at int32) { w.let(pc(task), at+1) }

// turn is a script's turn: it wakes when what it waits for holds, and goes on
// until it rests or ends. Code only goes forward, so its blocks in the order of
// their addresses do that; a run that was queued begins once more at the top.
func (w *writer) turn(task int32) {
	k := &w.p.Tasks[task]
	for n, at := range k.Rests {
		if in := &w.p.Code[at]; in.Op == program.Until {
			w.when(formula.And(formula.Not(going(task)), w.is(k.At, uint32(n+1)), w.formula.Cond(in.A)), func() { w.goOn(task, at+1) })
		}
	}
	w.when(going(task), func() {
		w.let("moved", formula.Yes)
		if k.Queued >= 0 {
			w.open("foreach", "array", "twice", "item", "round")
			defer w.close("foreach")
		}
		w.blocks(task)
	})
}

// blocks writes a script's code, from each address where it can go on to where
// it rests, branches or ends.
func (w *writer) blocks(task int32) {
	from, to := w.p.CodeOf(task)
	heads := w.heads(task, from, to)
	for at := from; at < to; {
		first := at
		w.when(fmt.Sprintf("%s == %d", pc(task), first+1), func() {
			open := true
			for ; open && at < to && (at == first || !heads[at]); at++ {
				open = w.instr(task, at)
			}
			if open {
				w.goOn(task, at)
			}
		})
		for at < to && !heads[at] {
			at++ // nothing goes there
		}
	}
}

// heads says of each address of a script whether it can go on there.
func (w *writer) heads(task, from, to int32) map[int32]bool {
	heads := map[int32]bool{}
	for _, at := range w.p.Tasks[task].Entries {
		heads[at] = true
	}
	for at := from; at < to; at++ {
		switch in := &w.p.Code[at]; in.Op {
		case program.Until, program.Unless, program.Jump, program.Run:
			if in.B <= at {
				w.err = fmt.Errorf("the code of %s goes back from %d to %d", w.p.Tasks[task].Name, at, in.B)
			}
			heads[in.B], heads[at+1] = true, true
		case program.Join, program.Sleep, program.End, program.Abandon:
			heads[at+1] = true
		}
	}
	return heads
}

// instr writes one instruction. It says whether the next one simply follows.
func (w *writer) instr(task, at int32) (open bool) {
	in, k := &w.p.Code[at], &w.p.Tasks[task]
	next := func() { w.goOn(task, at+1) }
	away := func() { w.goOn(task, in.B) }
	rest := func() {
		w.let(pc(task), 0)
		w.stands(task, slices.Index(k.Rests, at)+1)
	}
	switch in.Op {
	case program.End:
		w.finish(task)
	case program.Abandon:
		if in.A >= 0 {
			w.say(Alert, in.A)
		}
		w.set(k.Failed, 1)
		w.finish(task)
	case program.Sleep:
		if in.Micros <= 0 {
			next()
		} else {
			rest()
		}
	case program.Until:
		if in.C == 1 && in.Micros <= 0 {
			rest = func() { w.late(task, in) }
		}
		w.when(w.formula.Cond(in.A), next, rest)
	case program.Join:
		w.when(w.running(in.A), rest, next)
	case program.Unless:
		w.when(w.formula.Cond(in.A), next, away)
	case program.Jump:
		away()
	case program.Run:
		next()
		w.launch(in.A, int(in.C), away)
	default:
		w.plain(task, in)
		return true
	}
	return false
}

// plain writes an instruction after which the next one follows.
func (w *writer) plain(task int32, in *program.Instr) {
	switch in.Op {
	case program.Do:
		w.act(task, in.A)
	case program.Fire:
		for _, a := range w.p.Salvos[in.A].Actions {
			w.act(task, a)
		}
	case program.Alert:
		w.say(Alert, in.A)
	case program.Note:
		w.say(Note, in.A)
	case program.Fail:
		w.set(w.p.Tasks[task].Failed, 1)
	case program.GoCue:
		w.goCue(in.A)
	case program.Turn:
		w.set(w.p.Surfaces[in.A].Page, in.B)
	}
}

// late is a condition that did not come true in its time.
func (w *writer) late(task int32, in *program.Instr) {
	if in.C == 1 {
		w.set(w.p.Tasks[task].Failed, 1)
	}
	w.goOn(task, in.B)
}

// timeUp is the end of a wait, or of the time of a wait until.
func (w *writer) timeUp(task int32) {
	k := &w.p.Tasks[task]
	for n, at := range k.Rests {
		if in := &w.p.Code[at]; in.Micros > 0 {
			w.when(w.is(k.At, uint32(n+1)), func() {
				if in.Op == program.Until {
					w.late(task, in)
				} else {
					w.goOn(task, at+1)
				}
			})
		}
	}
}
