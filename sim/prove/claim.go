package prove

import (
	"slices"
	"sync"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/step"
)

// claim is something that no event makes wrong: touches says of an event that
// has just happened, reading nothing, whether it could have; holds looks.
type claim struct {
	touches func(effects []step.Effect) bool
	holds   func(was, is onair.Side, e step.Event, effects []step.Effect) bool
}

// proves says which of the claims hold in each of some events, from any state.
func (x *local) proves(claims []claim, events []step.Event, goOn func() bool) []bool {
	held := make([]bool, len(claims))
	for i := range held {
		held[i] = true
	}
	past := x.plain.Watched(before{x})
	was := onair.Side{Layout: past, State: x.was, Graph: signal.New(x.p, past)}
	is := onair.Side{Layout: x.m.L, State: x.now, Graph: x.m.Graph}
	was.Graph.Ask = x.asked
	for _, e := range events {
		about := make([]bool, len(claims)) // the event may have to do with it
		if !goOn() || !x.each(e, func(effects []step.Effect) bool {
			for i, c := range claims {
				about[i] = about[i] || held[i] && c.touches(effects)
			}
			return true
		}) {
			clear(held) // what it may do is not known
			return held
		}
		for i, c := range claims {
			held[i] = held[i] && (!about[i] || x.each(e, func(effects []step.Effect) bool {
				was.Graph.Look(x.was)
				is.Graph.Look(x.now)
				return c.holds(was, is, e, effects)
			}))
		}
	}
	return held
}

// check is the claim that a check finds nothing.
func (x *local) check(c onair.Check) claim {
	return claim{
		touches: func(effects []step.Effect) bool { return x.touches(c, effects) },
		holds: func(was, is onair.Side, e step.Event, effects []step.Effect) bool {
			return !x.watch.Asks(c, was, is, e, effects)
		}}
}

// rival is the claim that two scripts which do not both run never come to do
// so, and do not collide in passing. At power-on neither runs.
func (x *local) rival(r onair.Rival) claim {
	first, second := x.p.Tasks[r.First].At, x.p.Tasks[r.Second].At
	both := func(s onair.Side) bool {
		return s.Layout.Get(s.State, first) != 0 && s.Layout.Get(s.State, second) != 0
	}
	return claim{
		touches: func(effects []step.Effect) bool {
			return x.changed[first] == x.run || x.changed[second] == x.run || x.watch.Puller(r, effects) >= 0
		},
		holds: func(was, is onair.Side, e step.Event, effects []step.Effect) bool {
			return both(was) || !both(is) && !x.watch.Collides(r, was, is, e, effects)
		}}
}

// rule is the claim that an event does not break a rule that was not broken.
// With one that power-on does not break, it never is.
func (x *local) rule(r *program.Rule) claim {
	var vars []int32
	sees := x.leaves(r.Cond, &vars)
	sees = x.leaves(r.While, &vars) || sees
	broken := func(s onair.Side) bool {
		if r.Kind == program.Never {
			return s.Graph.Holds(r.Cond)
		}
		return (r.While < 0 || s.Graph.Holds(r.While)) && !s.Graph.Holds(r.Cond)
	}
	return claim{
		touches: func([]step.Effect) bool {
			return sees && x.version > 0 || slices.ContainsFunc(vars, func(v int32) bool { return x.changed[v] == x.run })
		},
		holds: func(was, is onair.Side, _ step.Event, _ []step.Effect) bool { return !broken(is) || broken(was) }}
}

// leaves gathers the variables of a condition, and says whether it is about
// pictures too.
func (x *local) leaves(cond int32, vars *[]int32) (sees bool) {
	if cond < 0 {
		return false
	}
	switch c := &x.p.Conds[cond]; c.Op {
	case program.Not:
		return x.leaves(c.L, vars)
	case program.And, program.Or:
		l, r := x.leaves(c.L, vars), x.leaves(c.R, vars)
		return l || r
	case program.In:
		*vars = append(*vars, c.A)
	case program.Running:
		if at := x.p.Tasks[c.A].At; at >= 0 {
			*vars = append(*vars, at)
		}
	case program.Shows, program.ShowsNode, program.SourceOnAir:
		return true
	}
	return false
}

// touches says whether an event that has just happened can be one that a check
// finds something in. It reads nothing.
func (x *local) touches(c onair.Check, effects []step.Effect) bool {
	has := func(of int32, verbs ...program.Verb) bool {
		return slices.ContainsFunc(effects, func(e step.Effect) bool {
			return e.Kind == step.Sent && e.Command.A == of && slices.Contains(verbs, e.Command.Verb)
		})
	}
	switch c.Code {
	case "camera-moved-on-air":
		return has(c.Of, program.Recall)
	case "deck-touched-on-air":
		return has(c.Of, program.Load, program.StopDeck)
	case "transition-over-transition":
		return has(c.Of, program.Mix, program.Wipe, program.Fade)
	case "source-changed-on-air":
		return x.changed[x.p.Switches[c.Of].Var] == x.run
	}
	return slices.ContainsFunc(x.p.Switches, func(s program.Switch) bool { return x.changed[s.Var] == x.run })
}

// byEvent are the codes of checks that are tried on each event by itself.
var byEvent = []string{"camera-moved-on-air", "deck-touched-on-air", "source-changed-on-air", "protected-changed",
	"recorder-source-changed", "transition-over-transition"}

// eachEvent tries every question that it can on each event by itself. What it
// proves needs no search.
func (x *proof) eachEvent() {
	if x.o.Faults > 0 || x.o.NoSlice {
		return
	}
	var tried []*question
	for _, q := range x.questions {
		if q.claim != nil {
			tried = append(tried, q)
		}
	}
	if len(tried) == 0 {
		return
	}
	held := make([][]bool, x.o.Workers)
	var all sync.WaitGroup
	for k := range held {
		all.Go(func() { held[k] = x.worker(tried, k) })
	}
	all.Wait()
	for i, q := range tried {
		q.local = !slices.ContainsFunc(held, func(h []bool) bool { return !h[i] })
	}
}

// worker tries every so manieth event.
func (x *proof) worker(tried []*question, k int) []bool {
	l := newLocal(x.p, onair.NewWatch(x.p, x.layout))
	var claims []claim
	for _, q := range tried {
		claims = append(claims, q.claim(l))
	}
	var mine []step.Event
	for i, e := range l.events() {
		if i%x.o.Workers == k {
			mine = append(mine, e)
		}
	}
	return l.proves(claims, mine, func() bool { return x.goOn("each event by itself", explore.Progress{}) })
}

const byEachEvent = "by each event alone, from any state"
