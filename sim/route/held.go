package route

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// What holds a switch: everything downstream that looks at it now. A root is
// a place that pictures are for: a destination, the input of a recorder or
// encoder, what a bank has on program or preset, a keyer's fill. The picture
// of a root comes up one chain of cables and standing crosspoints.

// chain calls f with each switch that the picture at a node comes through
// now, from the node up, until f says false; the switch cut and what is above
// it do not count. It gives the node where the picture is made, or -1 when it
// ended before.
func (f *Finder) chain(s *state.State, node, cut int32, visit func(sw int32) bool) int32 {
	for range f.p.Nodes {
		node = f.above(node, -1)
		sw := f.switchAt(node)
		if sw < 0 {
			return node
		}
		if sw == cut || !visit(sw) {
			return -1
		}
		node = f.shown(s, sw)
	}
	return -1 // a circle
}

// shown is the node that a switch shows, or -1.
func (f *Finder) shown(s *state.State, sw int32) int32 {
	picks := f.p.Switches[sw].Picks
	if len(picks) == 0 {
		return -1
	}
	return picks[f.l.Get(s, f.p.Switches[sw].Var)].Node
}

// hold marks every switch that is held, but for what only the switch own
// looks at: that is about to be re-pointed.
func (f *Finder) hold(s *state.State, own int32) {
	clear(f.held)
	mark := func(sw int32) bool {
		fresh := !f.held[sw]
		f.held[sw] = true
		return fresh
	}
	for _, d := range f.p.Destinations {
		f.chain(s, d.Node, own, mark)
	}
	f.others(s, func(node int32) { f.chain(s, node, own, mark) })
}

// others calls visit with each root that is no destination.
func (f *Finder) others(s *state.State, visit func(node int32)) {
	for i, in := range f.p.Inputs {
		if f.extra[i] {
			visit(in.Node)
		}
	}
	for b := range f.p.Banks {
		f.ofBank(s, int32(b), visit)
	}
}

// ofBank calls visit with the roots of a bank.
func (f *Finder) ofBank(s *state.State, bank int32, visit func(node int32)) {
	b := &f.p.Banks[bank]
	if len(b.Picks) > 0 {
		visit(b.Picks[f.l.Get(s, b.Program)].Node)
		visit(b.Picks[f.l.Get(s, b.Preset)].Node)
	}
	for _, k := range b.Keyers {
		visit(f.p.Keyers[k].Fill)
	}
}

// refuse says what stands in the way: going up from the destination's own
// switch through all that could be set, the first held switches that could
// bring the picture. They are a cut: nothing gets past them.
func (f *Finder) refuse(s *state.State, to, own, picture int32) *Refusal {
	r := &Refusal{}
	cut := f.frontier(s, own, picture, r)
	meets := func(node int32) (hit bool) {
		f.chain(s, node, own, func(sw int32) bool {
			hit = hit || slices.Contains(cut, sw)
			return !hit
		})
		return hit
	}
	for d := range f.p.Destinations {
		if meets(f.p.Destinations[d].Node) {
			r.Routes = append(r.Routes, int32(d))
		}
	}
	for i, in := range f.p.Inputs {
		if f.extra[i] && meets(in.Node) {
			r.Inputs = append(r.Inputs, int32(i))
		}
	}
	for b := range f.p.Banks {
		hit := false
		f.ofBank(s, int32(b), func(node int32) { hit = hit || meets(node) })
		if hit {
			r.Banks = append(r.Banks, int32(b))
		}
	}
	f.explain(s, to, own, picture, r)
	return r
}

// frontier gives the held switches in the way and lists their ties in r.
func (f *Finder) frontier(s *state.State, own, picture int32, r *Refusal) (cut []int32) {
	seen := make([]bool, len(f.p.Switches))
	seen[own] = true
	for todo := []int32{own}; len(todo) > 0; {
		sw := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, pick := range f.p.Switches[sw].Picks {
			if !f.canBring(picture, pick.Node) {
				continue
			}
			up, tie := f.tieAbove(pick.Node)
			if up < 0 {
				continue
			}
			if f.held[up] && up != own && tie >= 0 && !slices.Contains(r.Holders, tie) {
				r.Holders = append(r.Holders, tie)
			}
			if seen[up] {
				continue
			}
			seen[up] = true
			if f.held[up] {
				cut = append(cut, up)
			} else {
				todo = append(todo, up)
			}
		}
	}
	slices.Sort(r.Holders)
	return cut
}

func (f *Finder) canBring(picture, node int32) bool { return node >= 0 && f.reaches(picture, node) }

// tieAbove is the switch that a node's picture comes from by cable, and the
// tie line that is the cable; -1 for none.
func (f *Finder) tieAbove(node int32) (sw, tie int32) {
	tie = -1
	for range f.p.Nodes {
		n := &f.p.Nodes[node]
		if n.Kind != program.PassNode || len(n.Up) == 0 || n.Up[0] < 0 {
			break
		}
		if n.Tie >= 0 {
			tie = n.Tie
		}
		node = n.Up[0]
	}
	return f.switchAt(node), tie
}
