package onair

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// Rival is two scripts that can drive one thing two ways: First has driven it,
// and is still running when Second does. Both are tasks that are no branches.
// A script that takes no time has no rival: who presses it means it.
type Rival struct {
	Code          string
	Thing         int32
	First, Second int32
}

// any is the value of a drive that is known only when it is done.
const anything int32 = -5

// pull is one place of a script where it drives a thing.
type pull struct {
	task, instr, value int32
}

// Rivals are the pairs of scripts that drive one thing to different values and
// of which neither runs the other: first the pairs of the first thing.
func (w *Watch) Rivals() []Rival {
	var list []Rival
	pulls := w.allPulls()
	for thing := range pulls {
		roots := make([]int32, 0, len(pulls[thing]))
		for root := range pulls[thing] {
			roots = append(roots, root)
		}
		slices.Sort(roots)
		for _, a := range roots {
			for _, b := range roots {
				if !w.related(a, b) && w.takesTime(a) && w.takesTime(b) && differ(pulls[thing][a], pulls[thing][b]) {
					list = append(list, Rival{w.rivalCode(int32(thing)), int32(thing), a, b})
				}
			}
		}
	}
	return list
}

// takesTime says whether a task can be found running between events: it waits
// for a time or a condition, or for a task that does.
func (t *tables) takesTime(task int32) bool {
	from, end := t.p.CodeOf(task)
	for at := from; at < end; at++ {
		switch in := &t.p.Code[at]; in.Op {
		case program.Sleep:
			if in.Micros > 0 {
				return true
			}
		case program.Until:
			if in.C == 0 || in.Micros > 0 {
				return true
			}
		case program.Join:
			if t.takesTime(in.A) {
				return true
			}
		}
	}
	return false
}

func differ(a, b []pull) bool {
	return slices.ContainsFunc(a, func(x pull) bool {
		return slices.ContainsFunc(b, func(y pull) bool { return x.value != y.value || x.value == anything })
	})
}

// allPulls are the pulls on each thing by script.
func (w *Watch) allPulls() []map[int32][]pull {
	if w.pulls != nil {
		return w.pulls
	}
	w.pulls = make([]map[int32][]pull, things(w.p))
	for t := range w.p.Tasks {
		for _, d := range w.actions(int32(t)) {
			w.pullsOf(&w.p.Actions[d.action], func(thing, value int32) {
				if w.pulls[thing] == nil {
					w.pulls[thing] = map[int32][]pull{}
				}
				root := w.root[t]
				w.pulls[thing][root] = append(w.pulls[thing][root], pull{int32(t), d.instr, value})
			})
		}
	}
	return w.pulls
}

// pullsOf tells the things that an action can drive, and to what. Which
// crosspoints a route sets is known only when it is done: all that lie between
// the picture and the place may be.
func (w *Watch) pullsOf(a *program.Action, tell func(thing, value int32)) {
	switch a.Verb {
	case program.Take, program.Mix, program.Wipe:
		tell(a.A, anything)
	case program.Route, program.RouteTie:
		for _, point := range w.points(a) {
			tell(int32(2*len(w.p.Banks))+point.Switch, point.Pick)
		}
	default:
		c := program.Command{Verb: a.Verb, A: a.A, B: a.B}
		if thing := w.thingOf(c); thing >= 0 {
			tell(thing, w.heading(c))
		}
	}
}

// RivalVars are the variables that decide about a pair: whether the first one
// runs, and whether the thing is driven.
func (w *Watch) RivalVars(r Rival) []int32 {
	p := w.p
	vars := []int32{p.Tasks[r.First].At, p.Tasks[r.Second].At}
	n := int32(len(p.Banks))
	machine := r.Thing - w.buses()
	decks, recorders := int32(len(p.Decks)), int32(len(p.Recorders))
	switch {
	case r.Thing < 2*n:
		b := &p.Banks[r.Thing%n]
		return append(vars, b.Program, b.Preset, b.Transition, p.Devices[b.Device].Health)
	case machine < 0:
		sw := &p.Switches[r.Thing-2*n]
		vars = append(vars, sw.Var, p.Devices[sw.Device].Health)
		for i := range p.Actions {
			a := &p.Actions[i]
			if (a.Verb == program.Route || a.Verb == program.RouteTie) && slices.Contains(w.routed(a), r.Thing-2*n) {
				vars = append(vars, w.routeVars(a)...)
			}
		}
		return vars
	case machine < decks:
		d := &p.Decks[machine]
		return append(vars, d.State, d.Clip, p.Devices[d.Device].Health)
	case machine < decks+recorders:
		return append(vars, p.Devices[p.Recorders[machine-decks].Device].Health)
	}
	return append(vars, p.Devices[p.Encoders[machine-decks-recorders].Device].Health)
}

// RivalTasks are the tasks whose effects decide about a pair.
func (w *Watch) RivalTasks(r Rival) []int32 {
	var tasks []int32
	for t, root := range w.root {
		if root == r.First || root == r.Second {
			tasks = append(tasks, int32(t))
		}
	}
	return tasks
}

// Collides says whether an event makes the two collide. It has no history, and
// so may say yes where the watch, which has seen what First did, says no:
// when First has not come by the place where it drives the thing.
func (w *Watch) Collides(r Rival, before, after Side, e step.Event, effects []step.Effect) bool {
	drives := func(e *step.Effect, root int32) bool {
		return e.Kind == step.Sent && e.Task >= 0 && w.root[e.Task] == root && w.thingOf(e.Command) == r.Thing
	}
	if !slices.ContainsFunc(effects, func(e step.Effect) bool { return drives(&e, r.Second) }) {
		return false
	}
	w.turn(before, after, e, effects)
	if !w.runs(r.First) || !w.runs(r.Second) {
		return false
	}
	spoken, last := false, int32(0) // whether First has driven it in this event, and to what
	stands := true                  // nobody has driven it in this event
	for i := range effects {
		switch e := &effects[i]; {
		case e.Kind == step.Ended && e.A == r.First:
			spoken, stands = false, false
		case drives(e, r.Second):
			value := w.heading(e.Command)
			if spoken && last != value || stands && w.hasDriven(r, value) {
				return true
			}
			spoken, stands = false, false
		case drives(e, r.First):
			spoken, stands, last = true, false, w.heading(e.Command)
		}
	}
	return false
}

// hasDriven says whether First, where it rests before the event, can have
// driven the thing to where it stands, when that is not value.
func (w *Watch) hasDriven(r Rival, value int32) bool {
	k := &w.p.Tasks[r.First]
	rest := w.was(k.At)
	if rest == 0 {
		return false
	}
	for _, x := range w.allPulls()[r.Thing][r.First] {
		if x.task == r.First && x.instr >= k.Rests[rest-1] {
			continue
		}
		switch at := r.Thing - int32(2*len(w.p.Banks)); {
		case x.value == value && x.value != anything:
		case at < 0 || r.Thing >= w.buses(): // others move these too, as a transition does when it ends
			return true
		default:
			if stands := int32(w.was(w.p.Switches[at].Var)); stands != value && (x.value == stands || x.value == anything) {
				return true
			}
		}
	}
	return false
}

// Puller is the task that drives the thing for Second in an event, or -1.
func (w *Watch) Puller(r Rival, effects []step.Effect) int32 {
	for i := range effects {
		if e := &effects[i]; e.Kind == step.Sent && e.Task >= 0 && w.root[e.Task] == r.Second && w.thingOf(e.Command) == r.Thing {
			return e.Task
		}
	}
	return -1
}

// ThingName names the thing of a Rival in words with backticks.
func (w *Watch) ThingName(thing int32) string { return w.thingName(thing) }

// Calls says whether a script is another one or runs it, itself or by others.
func (w *Watch) Calls(task, other int32) bool {
	return task == other || w.calls[task][other>>6]>>(other&63)&1 != 0
}
