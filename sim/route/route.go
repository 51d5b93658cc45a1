// Package route finds the way of a picture to a destination: which
// crosspoints of which switches, over which tie lines.
//
// A way is the shortest that is free: fewest crosspoints; of those the one
// that re-points the fewest; of those the first in the order of the plan,
// seen from the destination. A switch that something else depends on is held
// and is never re-pointed, but a way may go along what it carries already.
// Whether a crosspoint may be set does not depend on the rest of the way, so
// one breadth-first search decides: a refusal means that there is no way, not
// that none was tried.
//
// A way goes through converters, panels, splitters and switches, never
// through a bank.
package route

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/state"
)

// Point is one crosspoint: Switches[Switch] shows its Picks[Pick].
type Point struct{ Switch, Pick int32 }

// Plan is a way: its crosspoints from the picture to the destination, those
// that stand already too, and the tie lines it goes over, in that order. A
// picture that is cabled there has a way without crosspoints.
type Plan struct {
	Points []Point
	Ties   []int32
}

// Refusal says why there is no way. Every list is sorted.
type Refusal struct {
	NoPath  bool    // no way through the rack, whatever is free; then nothing else is set
	Holders []int32 // Ties that stand in the way, because they are held
	Routes  []int32 // Destinations that hold them
	Banks   []int32 // Banks that hold them by program, preset or a keyer's fill
	Inputs  []int32 // Inputs of recorders and encoders, no destinations, that hold them
	Core    []int32 // see Core
	Moves   []int32 // see Moves
}

// Finder finds ways in one program. It is scratch for one goroutine.
type Finder struct {
	// Choose, when set, says which of its Ways a route takes, or that none is
	// free: by who does not know what is held.
	Choose func(to, picture int32) (Plan, *Refusal)

	p *program.Program
	l *state.Layout

	down  [][]edge   // by node: where its picture can go in one step
	reach [][]uint64 // by picture node: the nodes it can get to; nil until asked
	extra []bool     // by input: it is no destination's node
	kin   []int32    // by switch: switches of one number do the same job

	cost  []int32 // by node: crosspoints and changes from the picture, see weigh
	level []int32 // nodes of the crosspoint count that is being searched
	after []int32 // those of the next
	held  []bool  // by switch
	fixed []int32 // by switch: the pick it must keep, or free
	steps int     // left for reasons
}

// edge is one step down from a node: a cable (sw is -1) or a crosspoint.
type edge struct{ node, sw, pick int32 }

// New makes a Finder.
func New(p *program.Program, l *state.Layout) *Finder {
	f := &Finder{p: p, l: l,
		down: make([][]edge, len(p.Nodes)), reach: make([][]uint64, len(p.Nodes)),
		cost: make([]int32, len(p.Nodes)), held: make([]bool, len(p.Switches)),
		fixed: make([]int32, len(p.Switches)), extra: make([]bool, len(p.Inputs))}
	for n := range p.Nodes {
		if node := &p.Nodes[n]; node.Kind == program.PassNode && len(node.Up) > 0 && node.Up[0] >= 0 {
			f.link(node.Up[0], edge{int32(n), -1, 0})
		}
	}
	for s := range p.Switches {
		for i, pick := range p.Switches[s].Picks {
			if pick.Node >= 0 {
				f.link(pick.Node, edge{p.Switches[s].Node, int32(s), int32(i)})
			}
		}
	}
	for i, in := range p.Inputs {
		f.extra[i] = !slices.ContainsFunc(p.Destinations, func(d program.Destination) bool { return d.Node == in.Node })
	}
	f.kin = f.families()
	return f
}

func (f *Finder) link(from int32, e edge) { f.down[from] = append(f.down[from], e) }

// NoPath says whether a picture can never get to a node, whatever is free.
func (f *Finder) NoPath(to, picture int32) bool {
	return to < 0 || picture < 0 || !f.reaches(picture, to)
}

// reaches says whether a picture can get to a node through the rack.
func (f *Finder) reaches(picture, node int32) bool {
	if node < 0 {
		return false
	}
	seen := f.reach[picture]
	if seen == nil {
		seen = make([]uint64, (len(f.p.Nodes)+63)/64)
		seen[picture>>6] |= 1 << (picture & 63)
		for todo := []int32{picture}; len(todo) > 0; {
			at := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, e := range f.down[at] {
				if seen[e.node>>6]>>(e.node&63)&1 == 0 {
					seen[e.node>>6] |= 1 << (e.node & 63)
					todo = append(todo, e.node)
				}
			}
		}
		f.reach[picture] = seen
	}
	return seen[node>>6]>>(node&63)&1 != 0
}

// above goes up from a node along cables alone: to a switch's output, or to
// where a picture is made. It is -1 where nothing is plugged in. A picture
// that it meets on the way stops it.
func (f *Finder) above(node, picture int32) int32 {
	for range f.p.Nodes {
		if node < 0 || node == picture {
			return node
		}
		n := &f.p.Nodes[node]
		if n.Kind != program.PassNode {
			return node
		}
		if len(n.Up) == 0 {
			return -1
		}
		node = n.Up[0]
	}
	return -1 // cables in a circle
}

// switchAt is the switch whose output a node is, or -1.
func (f *Finder) switchAt(node int32) int32 {
	if node < 0 || f.p.Nodes[node].Kind != program.SwitchNode {
		return -1
	}
	return f.p.Nodes[node].Owner
}

// Find finds the way of the picture at one node to another: a destination's.
// The last switch before it is its own and may always be re-pointed. The
// Graph is not used now; it is there because who holds what is a question
// about the same state. A refusal is nil when there is a way.
func (f *Finder) Find(s *state.State, _ *signal.Graph, to, picture int32) (Plan, *Refusal) {
	if f.NoPath(to, picture) {
		return Plan{}, &Refusal{NoPath: true}
	}
	last := f.above(to, picture)
	if last == picture {
		return Plan{}, nil
	}
	if f.Choose != nil {
		return f.Choose(to, picture)
	}
	own := f.switchAt(last)
	f.hold(s, own)
	if !f.search(s, own, picture) {
		return Plan{}, f.refuse(s, to, own, picture)
	}
	return f.trace(s, last, own, picture), nil
}

// Tie finds the way of a picture onto a tie line: to the switch that feeds
// it, which is re-pointed whoever holds the line.
func (f *Finder) Tie(s *state.State, g *signal.Graph, tie, picture int32) (Plan, *Refusal) {
	return f.Find(s, g, f.tieEnd(tie), picture)
}

// tieEnd is the node at which a tie line is fed.
func (f *Finder) tieEnd(tie int32) int32 { return f.p.Switches[f.p.Ties[tie].Switch].Node }

// A cost is crosspoints<<16 + changes. Both stay below 1<<15: a way goes
// through a switch once, and no rack has so many. far is no cost yet.
const (
	oneMore int32 = 1 << 16
	far     int32 = -1
)

// weigh is the cost of a crosspoint in this state, and whether it may be set.
func (f *Finder) weigh(s *state.State, own, sw, pick int32) (int32, bool) {
	if int32(f.l.Get(s, f.p.Switches[sw].Var)) == pick {
		return oneMore, true
	}
	return oneMore + 1, sw == own || !f.held[sw]
}

// search spreads out from a picture, one crosspoint more at a time, until it
// comes to the switch own. A node's cost is final when its level is begun.
func (f *Finder) search(s *state.State, own, picture int32) bool {
	for i := range f.cost {
		f.cost[i] = far
	}
	goal := f.p.Switches[own].Node
	f.cost[picture] = 0
	f.level = append(f.level[:0], picture)
	for len(f.level) > 0 && f.cost[goal] < 0 {
		f.after = f.after[:0]
		for i := 0; i < len(f.level); i++ { // grows by what is cabled on
			f.spread(s, own, f.level[i])
		}
		f.level, f.after = f.after, f.level
	}
	return f.cost[goal] >= 0
}

func (f *Finder) spread(s *state.State, own, at int32) {
	here := f.cost[at]
	for _, e := range f.down[at] {
		if e.sw < 0 {
			if f.cost[e.node] < 0 {
				f.cost[e.node] = here
				f.level = append(f.level, e.node)
			}
			continue
		}
		w, free := f.weigh(s, own, e.sw, e.pick)
		if !free {
			continue
		}
		switch was := f.cost[e.node]; {
		case was < 0:
			f.after = append(f.after, e.node)
			f.cost[e.node] = here + w
		case here+w < was:
			f.cost[e.node] = here + w
		}
	}
}

// trace reads the way out of the costs, from the destination up: at each
// switch the first pick that the cost can have come from.
func (f *Finder) trace(s *state.State, last, own, picture int32) Plan {
	var way Plan
	for at := last; at != picture; {
		sw := f.switchAt(at)
		pick := f.cameFrom(s, own, sw)
		way.Points = append(way.Points, Point{sw, pick})
		at = f.p.Switches[sw].Picks[pick].Node
		for at != picture && f.p.Nodes[at].Kind == program.PassNode {
			if tie := f.p.Nodes[at].Tie; tie >= 0 {
				way.Ties = append(way.Ties, tie)
			}
			at = f.p.Nodes[at].Up[0]
		}
	}
	slices.Reverse(way.Points)
	slices.Reverse(way.Ties)
	return way
}

func (f *Finder) cameFrom(s *state.State, own, sw int32) int32 {
	cost := f.cost[f.p.Switches[sw].Node]
	for i, pick := range f.p.Switches[sw].Picks {
		if pick.Node < 0 || f.cost[pick.Node] < 0 {
			continue
		}
		if w, free := f.weigh(s, own, sw, int32(i)); free && f.cost[pick.Node]+w == cost {
			return int32(i)
		}
	}
	return -1 // cannot be: search gave the cost
}
