package promela

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
)

// mostWays is how many ways a route may have, so that a model stays readable
// for a C compiler.
const mostWays = 64

// point is a crosspoint: a switch and its pick.
type point struct{ sw, pick int32 }

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
	last := w.above(to, a.B)
	if last == a.B {
		w.when(not(open), w.fails(task))
		return
	}
	ways := w.ways(last, a.B, nil)
	slices.SortStableFunc(ways, func(x, y []point) int { return len(x) - len(y) })
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
	for i, points := range ways {
		w.line(":: way == %d -> skip;", i)
		for _, x := range slices.Backward(points) {
			w.point(task, x, x == points[0])
		}
	}
	w.line(":: else -> %s; fi; least = 0; way = 0; cost = 0;", w.fails(task))
	w.line(":: else -> %s; fi;", w.fails(task))
}

// choose finds the best of the ways, the shorter ones first.
func (w *writer) choose(ways [][]point) {
	for i, points := range ways {
		own := points[0]
		free := []string{}
		cost := "0"
		for _, x := range points {
			stands := w.is(w.p.Switches[x.sw].Var, uint32(x.pick))
			if x.sw != own.sw {
				free = append(free, or(stands, not(w.held(x.sw, own.sw))))
			}
			cost += " + " + flag(not(stands))
		}
		if n := shorter(ways, len(points)); n > 0 {
			free = append(free, fmt.Sprintf("(way >= %d)", n)) // a shorter one that is free stays
		}
		w.line("if :: %s -> cost = %s; if :: cost < least -> least = cost; way = %d; :: else -> skip; fi; :: else -> skip; fi;",
			and(free...), cost, i)
	}
}

// shorter is how many ways have fewer crosspoints.
func shorter(ways [][]point, than int) int {
	return slices.IndexFunc(ways, func(x []point) bool { return len(x) == than })
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
func (w *writer) point(task int32, x point, own bool) {
	sw := &w.p.Switches[x.sw]
	if own {
		w.line("if")
	} else {
		w.line("if :: %s -> skip;", w.is(sw.Var, uint32(x.pick)))
		w.line(":: else -> if")
		defer w.line("fi;")
	}
	w.line(":: %s -> %s; :: else -> %s; fi;", w.obeys(sw.Device), w.set(sw.Var, x.pick), w.fails(task))
}

// above goes up from a node by cables alone.
func (w *writer) above(node, picture int32) int32 {
	for range w.p.Nodes {
		if node < 0 || node == picture || w.p.Nodes[node].Kind != program.PassNode {
			return node
		}
		if len(w.p.Nodes[node].Up) == 0 {
			return -1
		}
		node = w.p.Nodes[node].Up[0]
	}
	return -1
}

// ways lists every way up from a node to a picture that goes through no switch
// twice, crosspoints from the destination up, in the order of the plan.
func (w *writer) ways(node, picture int32, been []point) [][]point {
	if node = w.above(node, picture); node == picture {
		return [][]point{slices.Clone(been)}
	}
	sw := w.switchAt(node)
	if sw < 0 || slices.ContainsFunc(been, func(x point) bool { return x.sw == sw }) {
		return nil
	}
	var all [][]point
	for i, pick := range w.p.Switches[sw].Picks {
		all = append(all, w.ways(pick.Node, picture, append(been, point{sw, int32(i)}))...)
	}
	return all
}

func (w *writer) switchAt(node int32) int32 {
	if node < 0 || w.p.Nodes[node].Kind != program.SwitchNode {
		return -1
	}
	return w.p.Nodes[node].Owner
}

// held says that something looks at a switch now, other than through the
// switch own: a destination, a recorder or encoder, a bank, a keyer.
func (w *writer) held(sw, own int32) string {
	var all []string
	look := func(node int32, when string) {
		all = append(all, and(when, w.looks(node, sw, []int32{own})))
	}
	for _, d := range w.p.Destinations {
		look(d.Node, yes)
	}
	for _, in := range w.p.Inputs {
		look(in.Node, yes)
	}
	for b := range w.p.Banks {
		x := &w.p.Banks[b]
		for i, pick := range x.Picks {
			look(pick.Node, or(w.is(x.Program, uint32(i)), w.is(x.Preset, uint32(i))))
		}
		for _, k := range x.Keyers {
			look(w.p.Keyers[k].Fill, yes)
		}
	}
	return or(all...)
}

// looks says that the picture at a node comes through a switch now, and not
// through one of those that it has been to.
func (w *writer) looks(node, sw int32, been []int32) string {
	at := w.switchAt(w.above(node, -1))
	switch {
	case at < 0 || slices.Contains(been, at):
		return no
	case at == sw:
		return yes
	}
	var all []string
	for i, pick := range w.p.Switches[at].Picks {
		all = append(all, and(w.is(w.p.Switches[at].Var, uint32(i)), w.looks(pick.Node, sw, append(been, at))))
	}
	return or(all...)
}
