package promela

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
)

// running says that a task has started and has not ended.
func (w *writer) running(task int32) string {
	going := fmt.Sprintf("(%s != 0)", pc(task))
	if at := w.p.Tasks[task].At; at >= 0 {
		return or(going, not(w.is(at, 0)))
	}
	return going
}

// start begins a task that is not running.
func (w *writer) start(task int32, entry int) {
	k := &w.p.Tasks[task]
	w.line("%s; %s; %s = %d;", w.set(k.Failed, 0), w.set(k.At, 1), pc(task), k.Entries[entry]+1)
}

// launch starts a task, or does what it says about being run while it runs.
func (w *writer) launch(task int32, entry int) { w.launchElse(task, entry, "skip") }

// launchElse is launch with what the one who ran it does when it did not begin.
func (w *writer) launchElse(task int32, entry int, otherwise string) {
	k := &w.p.Tasks[task]
	w.line("if :: %s ->", w.running(task))
	switch {
	case k.Again == program.Restart:
		w.halt(task)
		w.start(task, entry)
	case k.Again == program.Queue && k.Queued >= 0:
		w.when(w.is(k.Queued, 0), w.set(k.Queued, entry+1))
		w.line("%s;", otherwise)
	default:
		w.line("%s;", otherwise)
	}
	w.line(":: else -> skip;")
	w.start(task, entry)
	w.line("fi;")
}

// halt ends a task and its branches; nothing follows from it.
func (w *writer) halt(task int32) {
	k := &w.p.Tasks[task]
	w.line("%s = 0; %s; %s;", pc(task), w.set(k.At, 0), w.set(k.Queued, 0))
	w.disarm(k.Timer)
	for b := range w.p.Tasks {
		if x := &w.p.Tasks[b]; x.Kind == program.BranchTask && x.Owner == task {
			w.line("if :: %s ->", w.running(int32(b)))
			w.halt(int32(b))
			w.line(":: else -> skip; fi;")
		}
	}
}

// finish is a task at its end: who waits for it goes on, cues follow, a queued
// run begins.
func (w *writer) finish(task int32) {
	k := &w.p.Tasks[task]
	w.line("%s = 0; %s;", pc(task), w.set(k.At, 0))
	for j := range w.p.Tasks {
		x := &w.p.Tasks[j]
		for n, at := range x.Rests {
			if in := &w.p.Code[at]; in.Op == program.Join && in.A == task {
				w.when(and(fmt.Sprintf("(%s == 0)", pc(int32(j))), w.is(x.At, uint32(n+1))), fmt.Sprintf("%s = %d", pc(int32(j)), at+2))
			}
		}
	}
	if k.Kind == program.CueTask {
		w.follow(k.Owner)
	}
	if k.Queued < 0 {
		return
	}
	w.line("if")
	for entry := range k.Entries {
		w.line(":: %s -> %s;", w.is(k.Queued, uint32(entry+1)), w.set(k.Queued, 0))
		w.start(task, entry)
	}
	w.line(":: else -> skip; fi;")
}

// follow lets the cues wait, or fires them, that follow one that has ended.
func (w *writer) follow(ended int32) {
	for c := range w.p.Cues {
		switch x := &w.p.Cues[c]; {
		case x.Follow != ended:
		default:
			w.line("if :: %s ->", w.is(x.FollowVar, program.WillFollow))
			if x.After > 0 {
				w.line("%s;", w.set(x.FollowVar, program.WaitsToFollow))
				w.arm(x.Timer, x.After)
			} else {
				w.line("%s;", w.set(x.FollowVar, program.NoFollow))
				w.fire(int32(c), "skip")
			}
			w.line(":: else -> skip; fi;")
		}
	}
}

// taskTimer is a wait that is over, or the end of the time of a wait until.
func (w *writer) taskTimer(timer, task int32) {
	k := &w.p.Tasks[task]
	var when []string
	for n, at := range k.Rests {
		if w.p.Code[at].Micros > 0 {
			when = append(when, w.is(k.At, uint32(n+1)))
		}
	}
	w.onTimer(timer, or(when...), func() {
		w.line("if")
		for n, at := range k.Rests {
			in := &w.p.Code[at]
			if in.Micros <= 0 {
				continue
			}
			w.line(":: %s -> skip;", w.is(k.At, uint32(n+1)))
			if in.Op == program.Until {
				w.late(task, in)
			} else {
				w.line("%s = %d;", pc(task), at+2)
			}
		}
		w.line("fi;")
	})
}

// late is a condition that did not come true in its time.
func (w *writer) late(task int32, in *program.Instr) {
	if in.C == 1 {
		w.line("%s;", w.set(w.p.Tasks[task].Failed, 1))
	}
	w.line("%s = %d;", pc(task), in.B+1)
}

// settle lets every task that can go on do so, in the order of the table, until
// none can. What stands around each task is given.
func (w *writer) settle(open, shut string) {
	w.line("moved = 1; do :: moved -> moved = 0;")
	for t := range w.p.Tasks {
		w.line("%s", open)
		w.wake(int32(t))
		w.line("if :: %s -> moved = 1; do", pc(int32(t)))
		w.blocks(int32(t))
		w.line(":: else -> break; od; :: else -> skip; fi;")
		w.line("%s", shut)
	}
	w.line(":: else -> break; od;")
}

// wake lets a task go on that rests until a condition holds, if it does.
func (w *writer) wake(task int32) {
	k := &w.p.Tasks[task]
	for n, at := range k.Rests {
		if in := &w.p.Code[at]; in.Op == program.Until {
			w.line("if :: %s -> %s = %d;", and(fmt.Sprintf("(%s == 0)", pc(task)), w.is(k.At, uint32(n+1)), w.cond(in.A)), pc(task), at+2)
			w.disarm(k.Timer)
			w.line(":: else -> skip; fi;")
		}
	}
}

// blocks writes a task's code, from each address where it can go on to where it
// rests, branches or ends.
func (w *writer) blocks(task int32) {
	from, to := w.p.CodeOf(task)
	heads := w.heads(task, from, to)
	for at := from; at < to; {
		w.line(":: %s == %d -> skip;", pc(task), at+1)
		open := true
		for first := at; open && at < to && (at == first || !heads[at-from]); at++ {
			open = w.instr(task, at)
		}
		if open {
			w.line("%s = %d;", pc(task), at+1)
		}
		for at < to && !heads[at-from] {
			at++ // nothing goes there
		}
	}
}

// heads says of each address of a task whether it can go on there.
func (w *writer) heads(task, from, to int32) []bool {
	heads := make([]bool, to-from+1)
	head := func(at int32) {
		if at >= from && at <= to {
			heads[at-from] = true
		}
	}
	for _, at := range w.p.Tasks[task].Entries {
		head(at)
	}
	for at := from; at < to; at++ {
		switch in := &w.p.Code[at]; in.Op {
		case program.Until, program.Unless, program.Jump, program.Run:
			head(in.B)
			head(at + 1)
		case program.Join, program.Sleep, program.End, program.Abandon:
			head(at + 1)
		}
	}
	return heads
}

// instr writes one instruction. It says whether the next one simply follows.
func (w *writer) instr(task, at int32) (open bool) {
	in, k := &w.p.Code[at], &w.p.Tasks[task]
	next := fmt.Sprintf("%s = %d", pc(task), at+2)
	switch in.Op {
	case program.End:
		w.finish(task)
	case program.Abandon:
		w.line("%s;", w.set(k.Failed, 1))
		w.finish(task)
	case program.Sleep:
		if in.Micros > 0 {
			w.pause(task, at)
		} else {
			w.line("%s;", next)
		}
	case program.Until:
		w.line("if :: %s -> %s; :: else ->", w.cond(in.A), next)
		if in.C == 1 && in.Micros <= 0 {
			w.late(task, in)
		} else {
			w.pause(task, at)
		}
		w.line("fi;")
	case program.Join:
		w.line("if :: %s ->", w.running(in.A))
		w.pause(task, at)
		w.line(":: else -> %s; fi;", next)
	case program.Unless:
		w.line("if :: %s -> %s; :: else -> %s = %d; fi;", w.cond(in.A), next, pc(task), in.B+1)
	case program.Jump:
		w.line("%s = %d;", pc(task), in.B+1)
	case program.Run:
		w.line("%s;", next)
		w.launchElse(in.A, int(in.C), fmt.Sprintf("%s = %d", pc(task), in.B+1))
	default:
		w.plain(task, in)
		return true
	}
	return false
}

// pause lets a task rest at an instruction.
func (w *writer) pause(task, at int32) {
	k := &w.p.Tasks[task]
	w.line("%s = 0; %s;", pc(task), w.set(k.At, slices.Index(k.Rests, at)+1))
	if in := &w.p.Code[at]; in.Micros > 0 {
		w.arm(k.Timer, in.Micros)
	}
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
	case program.Fail:
		w.line("%s;", w.fails(task))
	case program.GoCue:
		w.goCue(in.A)
	case program.Turn:
		w.line("%s;", w.set(w.p.Surfaces[in.A].Page, in.B))
	}
}

// fails marks a task as failed.
func (w *writer) fails(task int32) string { return w.set(w.p.Tasks[task].Failed, 1) }
