package promela

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// mostWays is how many ways a route may have, so that a model stays readable
// for a C compiler.
const mostWays = 64

// route is a picture brought to a destination or a tie line: the shortest way
// that is free; of those the one that changes least; of those the first, seen
// from the destination.
func (w *writer) route(task int32, a *program.Action) {
	to, open := int32(-1), yes
	if a.Verb == program.RouteTie {
		to = w.p.Switches[w.p.Ties[a.A].Switch].Node
	} else {
		to, open = w.p.Destinations[a.A].Node, w.is(w.p.Destinations[a.A].Protect, 0)
	}
	ways, cabled := w.formula.Ways(to, a.B)
	if cabled {
		w.when(not(open), w.fails(task))
		return
	}
	if len(ways) == 0 {
		w.line("%s;", w.fails(task))
		return
	}
	if len(ways) > mostWays {
		w.err = fmt.Errorf("a route has %d ways; at most %d can be written", len(ways), mostWays)
		return
	}
	w.line("if :: %s -> least = 255; way = 255;", open)
	w.choose(ways)
	w.line("if")
	for i, x := range ways {
		w.line(":: way == %d -> skip;", i)
		for n, at := range slices.Backward(x.Points) {
			w.point(task, at, n == 0)
		}
	}
	w.line(":: else -> %s; fi; least = 0; way = 0; cost = 0;", w.fails(task))
	w.line(":: else -> %s; fi;", w.fails(task))
}

// choose finds the best of the ways, the shorter ones first.
func (w *writer) choose(ways []formula.Way) {
	for i, x := range ways {
		free, cost := x.Free, "0"
		for _, at := range x.Points {
			cost += " + " + flag(not(w.formula.Stands(at)))
		}
		if n := shorter(ways, len(x.Points)); n > 0 {
			free = and(free, fmt.Sprintf("(way >= %d)", n)) // a shorter one that is free stays
		}
		w.line("if :: %s -> cost = %s; if :: cost < least -> least = cost; way = %d; :: else -> skip; fi; :: else -> skip; fi;",
			free, cost, i)
	}
}

// shorter is how many ways have fewer crosspoints.
func shorter(ways []formula.Way, than int) int {
	return slices.IndexFunc(ways, func(x formula.Way) bool { return len(x.Points) == than })
}

// flag is a condition as a number.
func flag(cond string) string {
	switch cond {
	case yes:
		return "1"
	case no:
		return "0"
	}
	return "(" + cond + ")"
}

// point sets a crosspoint, unless it stands and is not the destination's own.
func (w *writer) point(task int32, x formula.Point, own bool) {
	sw := &w.p.Switches[x.Switch]
	if own {
		w.line("if")
	} else {
		w.line("if :: %s -> skip;", w.formula.Stands(x))
		w.line(":: else -> if")
		defer w.line("fi;")
	}
	w.line(":: %s -> %s; :: else -> %s; fi;", w.obeys(sw.Device), w.set(sw.Var, x.Pick), w.fails(task))
}
