package onair

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Check is one thing that the watch looks for, at one place of the rack: what
// a proof asks one by one, so that each answer needs little of the state.
type Check struct {
	Code string
	// Of is what the code is about: Cameras for camera-moved-on-air, Decks for
	// deck-…, Switches for source-changed-on-air, Sources for picture-refused,
	// Recorders for recorder-source-changed, Encoders for live-without-recording,
	// Banks for transition-over-transition, Destinations for protected-changed,
	// Devices for device-did-not-act. For no-path and tie-lines-exhausted it is
	// Destinations and, behind these, Ties; for feedback-loop a number of Circle.
	Of int32
	At int32 // Destinations, where it is seen; -1 when the code is about no one place
}

// Side is one side of an event: a state, the layout to read it by, and a graph
// that has been turned to it.
type Side struct {
	Layout *state.Layout
	State  *state.State
	Graph  *signal.Graph
}

// scope narrows a check down; -1 is no matter which.
type scope struct {
	of, at int32
	why    step.Reason // of routes: NoReason is any
}

var all = scope{of: -1, at: -1}

func (s scope) about(i int32) bool              { return s.of < 0 || s.of == i }
func (s scope) sees(d int) bool                 { return s.at < 0 || s.at == int32(d) }
func (s scope) because(reason step.Reason) bool { return s.why == step.NoReason || s.why == reason }

// answered notes that something is wrong, and says whether that is all that
// was asked: then nothing is read to say it in words.
func (w *Watch) answered() bool {
	w.wrong = true
	return w.asking
}

// Asks says whether a check finds anything in an event. The answer needs no
// history, and reads no more of the two states than it depends on.
func (w *Watch) Asks(c Check, before, after Side, e step.Event, effects []step.Effect) bool {
	w.turn(before, after, e, effects)
	w.asking, w.wrong = true, false
	w.check(c)
	w.asking = false
	return w.wrong
}

// Finds gives what a check finds in an event, as Look does, but knows only
// what this event did: what a timer brought to its end was nobody's doing.
func (w *Watch) Finds(c Check, before, after Side, e step.Event, effects []step.Effect) []Finding {
	w.turn(before, after, e, effects)
	w.forget()
	w.check(c)
	return w.found
}

func (w *Watch) check(c Check) {
	on := scope{of: c.Of, at: c.At}
	switch c.Code {
	case "transition-over-transition":
		w.transitions(on)
	case "no-path":
		on.why = step.NoPath
		w.blocked(on)
	case "tie-lines-exhausted":
		on.why = step.TiesTaken
		w.blocked(on)
	case "device-did-not-act":
		w.failures(on)
	case "camera-moved-on-air":
		w.cameras(on)
	case "deck-touched-on-air":
		w.touched(on)
	case "deck-ran-out-on-air":
		w.ranOut(on)
	case "source-changed-on-air":
		w.crosspoints(on)
	case "feedback-loop":
		w.circle(c.Of)
	case "picture-refused":
		w.refused(on)
	case "recorder-source-changed":
		w.recordings(on)
	case "protected-changed":
		w.protected(on)
	case "live-without-recording":
		w.unrecorded(on)
	}
}

// Stands says whether what a check looks for is so in a state, and whether it
// looks for a state at all and not for an event. It reads all that an event
// would have to change for the check to find something, but for what stands in
// Needs.
func (w *Watch) Stands(c Check, now Side) (wrong, lasting bool) {
	w.turn(now, now, step.Event{}, nil)
	w.asking = true
	defer func() { w.asking = false }()
	switch c.Code {
	case "feedback-loop":
		return slices.Contains(w.inLoops(now, w.circles()[c.Of]), true), true
	case "picture-refused":
		return w.has(now.Graph, w.p.Destinations[c.At].Node, c.Of), true
	case "live-without-recording":
		return w.liveAlone(&w.p.Encoders[c.Of], w.is), true
	case "recorder-source-changed":
		if r := &w.p.Recorders[c.Of]; w.is(r.State) == program.MachineRunning {
			for _, in := range w.p.Inputs {
				if in.Recorder == c.Of {
					now.Graph.Origin(in.Node)
				}
			}
		}
	case "protected-changed":
		if d := &w.p.Destinations[c.Of]; w.is(d.Protect) == 1 {
			now.Graph.Origin(d.Node)
		}
	}
	return false, false
}

// Needs is what an event must change, or do, for a check to find something:
// one of these variables, or an effect of one of these tasks; and the variables
// that decide whether such an effect comes. Neither is given where Stands
// reads it.
func (w *Watch) Needs(c Check) (vars, tasks []int32) {
	p := w.p
	health := func(device int32) []int32 { return []int32{p.Devices[device].Health} }
	switch c.Code {
	case "deck-ran-out-on-air":
		return []int32{p.Decks[c.Of].State}, nil
	case "camera-moved-on-air":
		vars = health(p.Cameras[c.Of].Device)
	case "deck-touched-on-air":
		vars = health(p.Decks[c.Of].Device)
	case "transition-over-transition":
		vars = health(p.Banks[c.Of].Device)
	case "no-path", "tie-lines-exhausted":
		for i := range p.Actions {
			if a := &p.Actions[i]; w.does(c)(a) {
				vars = append(vars, w.routeVars(a)...)
			}
		}
	case "source-changed-on-air": // and who routed the destination there
		return []int32{p.Switches[c.Of].Var}, w.who(func(a *program.Action) bool {
			return a.Verb == program.Route && (a.A == c.At || w.own[a.A] == w.own[c.At] && w.own[a.A] >= 0)
		})
	}
	return vars, w.who(w.does(c))
}

// routeVars are the variables that decide whether and how a route is done.
func (w *Watch) routeVars(a *program.Action) []int32 {
	var vars []int32
	for _, s := range w.routed(a) {
		vars = append(vars, w.p.Switches[s].Var, w.p.Devices[w.p.Switches[s].Device].Health)
	}
	if a.Verb == program.Route {
		vars = append(vars, w.p.Destinations[a.A].Protect)
	}
	return vars
}

// does says which actions a check is about.
func (w *Watch) does(c Check) func(*program.Action) bool {
	return func(a *program.Action) bool {
		switch c.Code {
		case "transition-over-transition":
			return a.A == c.Of && (a.Verb == program.Mix || a.Verb == program.Wipe || a.Verb == program.Fade || a.Verb == program.CutTo || a.Verb == program.Take)
		case "no-path", "tie-lines-exhausted":
			return (a.Verb == program.Route || a.Verb == program.RouteTie) && w.goal(program.Command{Verb: a.Verb, A: a.A}) == c.Of
		case "device-did-not-act":
			return a.Device == c.Of || a.Verb == program.Route || a.Verb == program.RouteTie
		case "camera-moved-on-air":
			return a.Verb == program.Recall && a.A == c.Of
		case "deck-touched-on-air":
			return (a.Verb == program.Load || a.Verb == program.StopDeck) && a.A == c.Of
		}
		return false
	}
}

// who is the tasks that do an action of a kind, in order.
func (t *tables) who(does func(*program.Action) bool) []int32 {
	var tasks []int32
	for i := range t.p.Tasks {
		if slices.ContainsFunc(t.actions(int32(i)), func(d deed) bool { return does(&t.p.Actions[d.action]) }) {
			tasks = append(tasks, int32(i))
		}
	}
	return tasks
}

// Who is the tasks that do an action of a kind, in order.
func (w *Watch) Who(does func(*program.Action) bool) []int32 { return w.who(does) }

// deed is an action that an instruction does.
type deed struct{ instr, action int32 }

// actions are what a task does, in the order of its code.
func (t *tables) actions(task int32) []deed {
	var all []deed
	from, end := t.p.CodeOf(task)
	for at := from; at < end; at++ {
		switch in := &t.p.Code[at]; in.Op {
		case program.Do:
			all = append(all, deed{at, in.A})
		case program.Fire:
			for _, a := range t.p.Salvos[in.A].Actions {
				all = append(all, deed{at, a})
			}
		}
	}
	return all
}

// Code is where a task's instructions begin and end, in Program.Code.
func (w *Watch) Code(task int32) (from, end int32) { return w.p.CodeOf(task) }

// Script is the script that a branch belongs to, else the task itself.
func (w *Watch) Script(task int32) int32 { return w.root[task] }
