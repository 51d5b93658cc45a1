// Package signal derives from a state what every place of the rack shows:
// through banks and their keyers, re-entry, switches, converters and tie
// lines; and from that what is on air, where pictures go in circles, and
// whether a condition holds.
//
// Nothing is stored: a Graph is scratch for one goroutine. Look gives it a
// state, and every answer is about that state. Answers are worked out when
// they are first asked for. A picture that goes in a circle ends: a place in
// its own picture adds nothing to it.
package signal

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// Graph answers questions about one state at a time.
type Graph struct {
	// Ask, when set, is asked first whether a condition that has no parts holds:
	// by who reasons about states of which only a part is known.
	Ask func(c *program.Cond) (holds, known bool)

	p *program.Program
	l *state.Layout
	s *state.State

	words int      // of one Set
	sets  []uint64 // a Set for each node
	air   Set
	airAt uint32 // the look of air

	look  uint32   // counts Looks, so that old marks need no clearing
	done  []uint32 // by node: the look in which its set was worked out
	mark  []uint32 // by node: the walk that has been here
	walk  uint32
	order []int32 // by node: when the search came here
	low   []int32 // by node: the earliest that can be reached from here
	next  int32
	open  []int32 // nodes whose circle is not yet known to be complete
	near  []int32 // stack of neighbours

	circles bool      // the search is for Loops: multiviews depend on what they compose
	loops   [][]int32 // found by it
}

// New makes a Graph for a program and its layout.
func New(p *program.Program, l *state.Layout) *Graph {
	n := len(p.Nodes)
	words := (len(p.Sources) + 63) / 64
	return &Graph{p: p, l: l, words: words,
		sets: make([]uint64, n*words), air: make(Set, words),
		done: make([]uint32, n), mark: make([]uint32, n),
		order: make([]int32, n), low: make([]int32, n),
		open: make([]int32, 0, n), near: make([]int32, 0, 4*n)}
}

// Look turns the Graph to a state. The state must not change while it is
// looked at.
func (g *Graph) Look(s *state.State) {
	g.s = s
	g.look++
	if g.look == 0 { // came round: forget all marks
		clear(g.done)
		g.look, g.airAt = 1, 0
	}
}

// At is the sources that are part of the picture at a node: empty where there
// is no picture, and for node -1.
func (g *Graph) At(node int32) Set {
	if node < 0 {
		return nil
	}
	if g.done[node] != g.look {
		g.begin(false)
		g.visit(node)
	}
	return g.set(node)
}

func (g *Graph) set(node int32) Set {
	i := int(node) * g.words
	return Set(g.sets[i : i+g.words : i+g.words])
}

// Base is the source at the bottom of the picture at a node: program without
// keyers, while a transition runs what it goes away from, Black when faded.
// It is 0, no signal, where there is none or the picture goes in a circle.
func (g *Graph) Base(node int32) int32 {
	for range g.p.Nodes {
		if node < 0 {
			return 0
		}
		n := &g.p.Nodes[node]
		switch n.Kind {
		case program.SourceNode:
			return n.Owner
		case program.BankNode, program.CleanNode:
			b := &g.p.Banks[n.Owner]
			if g.l.Get(g.s, b.Faded) != 0 && g.l.Get(g.s, b.Transition) != program.FadingIn {
				return max(b.Black, 0)
			}
		}
		node = g.bottom(n)
	}
	return 0
}

// bottom is the one node that the bottom of n's picture comes from, or -1.
func (g *Graph) bottom(n *program.Node) int32 {
	switch n.Kind {
	case program.SwitchNode:
		s := &g.p.Switches[n.Owner]
		return g.pick(s.Picks, s.Var)
	case program.BankNode, program.CleanNode:
		b := &g.p.Banks[n.Owner]
		return g.pick(b.Picks, b.Program)
	case program.PresetNode:
		b := &g.p.Banks[n.Owner]
		return g.pick(b.Picks, b.Preset)
	}
	if n.Kind == program.SourceNode || len(n.Up) == 0 {
		return -1
	}
	return n.Up[0]
}

// pick is the node that a bus shows, -1 when it can show nothing at all.
func (g *Graph) pick(picks []program.Pick, v int32) int32 {
	if len(picks) == 0 {
		return -1
	}
	return picks[g.l.Get(g.s, v)].Node
}

// Through says whether the picture at a node comes, whole or in part, through
// a bank's output.
func (g *Graph) Through(node, bank int32) bool { return g.ThroughNode(node, g.p.Banks[bank].Node) }

// ThroughNode says whether the picture at a node comes, whole or in part,
// through the node via, which may be itself.
func (g *Graph) ThroughNode(node, via int32) bool {
	if node < 0 || via < 0 {
		return false
	}
	g.newWalk()
	g.near = append(g.near[:0], node)
	g.mark[node] = g.walk
	for len(g.near) > 0 {
		at := g.near[len(g.near)-1]
		g.near = g.near[:len(g.near)-1]
		if at == via {
			return true
		}
		from := len(g.near)
		g.near = g.Upstream(at, g.near)
		keep := from
		for _, up := range g.near[from:] {
			if g.mark[up] != g.walk {
				g.mark[up] = g.walk
				g.near[keep] = up
				keep++
			}
		}
		g.near = g.near[:keep]
	}
	return false
}

func (g *Graph) newWalk() {
	g.walk++
	if g.walk == 0 {
		clear(g.mark)
		g.walk = 1
	}
}

// OnAir is the sources on air: all that any destination on air shows.
func (g *Graph) OnAir() Set {
	if g.airAt != g.look {
		clear(g.air)
		for d := range g.p.Destinations {
			if g.OnAirDestination(int32(d)) {
				g.air.addAll(g.At(g.p.Destinations[d].Node))
			}
		}
		g.airAt = g.look
	}
	return g.air
}

// OnAirDestination says whether destination d is on air now.
func (g *Graph) OnAirDestination(d int32) bool {
	switch when := g.p.Destinations[d].OnAir; when {
	case program.NeverOnAir:
		return false
	case program.AlwaysOnAir:
		return true
	default:
		return g.l.Get(g.s, g.p.Encoders[when].State) == program.MachineRunning
	}
}

// Upstream appends to buf the nodes selected now that feed a node: none for a
// source, what a switch has picked, and for a bank its program, its preset
// too while mixing, and the fills of keyers that are on. A bank that is faded
// to black is fed by nothing: its black is its own.
func (g *Graph) Upstream(node int32, buf []int32) []int32 { return g.UpstreamIn(node, nil, buf) }

// UpstreamIn is Upstream, but only of nodes that `in` has: what can lead to no
// other is not looked at. Without an `in`, all do.
func (g *Graph) UpstreamIn(node int32, in []bool, buf []int32) []int32 {
	n := &g.p.Nodes[node]
	if n.Kind == program.BankNode || n.Kind == program.CleanNode {
		return g.upstreamOfBank(n, in, buf)
	}
	if n.Kind == program.SwitchNode || n.Kind == program.PresetNode {
		if !anyIn(n.Up, in) {
			return buf
		}
	}
	if up := g.bottom(n); up >= 0 && has(in, up) {
		buf = append(buf, up)
	}
	return buf
}

func has(in []bool, node int32) bool { return in == nil || in[node] }

func anyIn(nodes []int32, in []bool) bool {
	return in == nil || slices.ContainsFunc(nodes, func(n int32) bool { return in[n] })
}

func (g *Graph) upstreamOfBank(n *program.Node, in []bool, buf []int32) []int32 {
	b := &g.p.Banks[n.Owner]
	if !anyIn(n.Up, in) {
		return buf
	}
	doing := g.l.Get(g.s, b.Transition)
	if g.l.Get(g.s, b.Faded) != 0 && doing != program.FadingIn {
		return buf
	}
	if up := g.pick(b.Picks, b.Program); up >= 0 && has(in, up) {
		buf = append(buf, up)
	}
	if doing == program.Mixing || doing == program.Wiping {
		if up := g.pick(b.Picks, b.Preset); up >= 0 && has(in, up) {
			buf = append(buf, up)
		}
	}
	if n.Kind == program.CleanNode {
		return buf
	}
	for _, k := range b.Keyers {
		if fill := g.p.Keyers[k].Fill; fill >= 0 && has(in, fill) && g.l.Get(g.s, g.p.Keyers[k].On) != 0 {
			buf = append(buf, fill)
		}
	}
	return buf
}

// own is the source that a node adds itself, or -1.
func (g *Graph) own(node int32) int32 {
	n := &g.p.Nodes[node]
	switch n.Kind {
	case program.SourceNode:
		if g.p.Sources[n.Owner].Picture == "nothing" {
			return -1
		}
		return n.Owner
	case program.BankNode, program.CleanNode:
		b := &g.p.Banks[n.Owner]
		doing := g.l.Get(g.s, b.Transition)
		if g.l.Get(g.s, b.Faded) != 0 || doing == program.FadingOut || doing == program.FadingIn {
			return b.Black
		}
	}
	return -1
}

// Origin is where the picture at a node is made: the source or the bank's
// output that cables and standing crosspoints lead up to. It is -1 when they
// lead nowhere.
func (g *Graph) Origin(node int32) int32 {
	for range g.p.Nodes {
		if node < 0 {
			return -1
		}
		n := &g.p.Nodes[node]
		if n.Kind != program.PassNode && n.Kind != program.SwitchNode {
			return node
		}
		node = g.bottom(n)
	}
	return -1
}
