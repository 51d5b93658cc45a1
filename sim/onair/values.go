package onair

import (
	"slices"

	"cuewright/macro/program"
)

// Proofs walk less far when they know what no button, cue or script ever
// brings about. What follows is known of the program alone: an action counts
// whether it can be reached or not. Devices are taken to change nothing by
// themselves, so only what is asked one by one may use it, never Look.

// values are, by variable of a bus or keyer, which values it can ever have:
// that of power-on, and what some action sets. Others are nil: any value.
func (w *Watch) values() [][]bool {
	if w.can != nil {
		return w.can
	}
	p := w.p
	w.can = make([][]bool, len(p.Vars))
	for v := range p.Vars {
		switch x := &p.Vars[v]; x.Kind {
		case program.BankProgram, program.BankPreset, program.SwitchPick, program.KeyerOn:
			w.can[v] = make([]bool, x.Size)
			w.can[v][x.Start] = true
		}
	}
	for i := range p.Actions {
		switch a := &p.Actions[i]; a.Verb {
		case program.CutTo:
			w.can[p.Banks[a.A].Program][a.B] = true
		case program.PresetTo:
			w.can[p.Banks[a.A].Preset][a.B] = true
		case program.KeyTo:
			w.can[p.Keyers[a.A].On][a.B] = true
		case program.Route, program.RouteTie:
			for _, s := range w.routed(a) {
				carries := w.carrying(a.B)
				for k, pick := range p.Switches[s].Picks {
					if pick.Node >= 0 && carries[pick.Node] {
						w.can[p.Switches[s].Var][k] = true
					}
				}
			}
		}
	}
	for i := range p.Actions { // program and preset change over
		if a := &p.Actions[i]; a.Verb == program.Take || a.Verb == program.Mix || a.Verb == program.Wipe {
			b := &p.Banks[a.A]
			for k := range w.can[b.Preset] {
				either := w.can[b.Preset][k] || w.can[b.Program][k]
				w.can[b.Preset][k], w.can[b.Program][k] = either, either
			}
		}
	}
	return w.can
}

// Values are the values that a variable can ever have, by what the show does
// anywhere; nil is any.
func (w *Watch) Values(v int32) []bool { return w.values()[v] }

// carrying is the nodes that a route can bring a picture to.
func (w *Watch) carrying(picture int32) []bool {
	if x, ok := w.carried[picture]; ok {
		return x
	}
	at := make([]bool, len(w.p.Nodes))
	at[picture] = true
	for more := true; more; {
		more = false
		for n := range w.p.Nodes {
			x := &w.p.Nodes[n]
			if at[n] || x.Kind != program.PassNode && x.Kind != program.SwitchNode {
				continue
			}
			if slices.ContainsFunc(x.Up, func(up int32) bool { return up >= 0 && at[up] }) {
				at[n], more = true, true
			}
		}
	}
	if w.carried == nil {
		w.carried = map[int32][]bool{}
	}
	w.carried[picture] = at
	return at
}

// ownOf is the switch that a route is for: the destination's or tie line's
// own, or -1.
func (w *Watch) ownOf(a *program.Action) int32 {
	if a.Verb == program.RouteTie {
		return w.p.Ties[a.A].Switch
	}
	return w.own[a.A]
}

// direct says whether a route needs no more than its own switch: that is the
// shortest way, and nobody can stand in it.
func (w *Watch) direct(a *program.Action) bool {
	own := w.ownOf(a)
	return own >= 0 && slices.ContainsFunc(w.p.Switches[own].Picks, func(k program.Pick) bool { return w.cabled(k.Node, a.B) })
}

// cabled says whether cables alone lead up from a node to another.
func (w *Watch) cabled(node, to int32) bool {
	for range w.p.Nodes {
		if node == to || node < 0 {
			return node == to
		}
		n := &w.p.Nodes[node]
		if n.Kind != program.PassNode || len(n.Up) == 0 {
			return false
		}
		node = n.Up[0]
	}
	return false
}

// routed are the switches that a route can set: its own, and when that alone
// will not do all between the picture and it.
func (w *Watch) routed(a *program.Action) []int32 {
	own := w.ownOf(a)
	if own < 0 || w.pathless(a) {
		return nil
	}
	list := []int32{own}
	if w.direct(a) {
		return list
	}
	at := w.carrying(a.B)
	for s := range w.p.Switches {
		if node := w.p.Switches[s].Node; int32(s) != own && at[node] && w.carrying(node)[w.p.Switches[own].Node] {
			list = append(list, int32(s))
		}
	}
	return list
}

// pathless says whether no way leads from a route's picture to its place,
// whatever is free.
func (w *Watch) pathless(a *program.Action) bool {
	to := int32(-1)
	if a.Verb == program.RouteTie {
		to = w.p.Switches[w.p.Ties[a.A].Switch].Node
	} else {
		to = w.p.Destinations[a.A].Node
	}
	return to < 0 || a.B < 0 || !w.carrying(a.B)[to]
}

// feeds calls tell with each node that can be in a node's picture, by cables
// and by what the show ever selects; with composed, also with what a multiview
// is made of.
func (w *Watch) feeds(node int32, composed bool, tell func(up int32)) {
	can := w.values()
	n := &w.p.Nodes[node]
	picks := func(list []program.Pick, v int32) {
		for k, pick := range list {
			if pick.Node >= 0 && can[v][k] {
				tell(pick.Node)
			}
		}
	}
	switch n.Kind {
	case program.SourceNode:
		for _, up := range n.Up {
			if composed && up >= 0 {
				tell(up)
			}
		}
	case program.PassNode:
		if len(n.Up) > 0 && n.Up[0] >= 0 {
			tell(n.Up[0])
		}
	case program.SwitchNode:
		picks(w.p.Switches[n.Owner].Picks, w.p.Switches[n.Owner].Var)
	case program.PresetNode:
		picks(w.p.Banks[n.Owner].Picks, w.p.Banks[n.Owner].Preset)
	default:
		b := &w.p.Banks[n.Owner]
		picks(b.Picks, b.Program)
		if w.everMixes(n.Owner) {
			picks(b.Picks, b.Preset)
		}
		for _, k := range b.Keyers {
			if key := &w.p.Keyers[k]; n.Kind == program.BankNode && key.Fill >= 0 && can[key.On][1] {
				tell(key.Fill)
			}
		}
	}
}

// everMixes says whether a bank can ever have two pictures on air.
func (w *Watch) everMixes(bank int32) bool {
	return w.p.Vars[w.p.Banks[bank].Transition].Start != 0 || w.acts(func(a *program.Action) bool {
		return a.A == bank && (a.Verb == program.Mix || a.Verb == program.Wipe)
	})
}

// everFades says whether a bank can ever be black, or on the way there.
func (w *Watch) everFades(bank int32) bool {
	b := &w.p.Banks[bank]
	return w.p.Vars[b.Faded].Start != 0 || w.p.Vars[b.Transition].Start != 0 || w.acts(func(a *program.Action) bool {
		return a.A == bank && a.Verb == program.Fade
	})
}

// acts says whether the show has an action of a kind.
func (t *tables) acts(is func(*program.Action) bool) bool {
	for i := range t.p.Actions {
		if is(&t.p.Actions[i]) {
			return true
		}
	}
	return false
}
