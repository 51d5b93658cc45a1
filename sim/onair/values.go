package onair

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/route"
)

// Proofs walk less far when they know what no button, cue or script ever
// brings about. What follows is known of the program alone: an action counts
// whether it can be reached or not. Devices are taken to change nothing by
// themselves, so only what is asked one by one may use it, never Look.

// values are, by variable of a bus, a keyer or a place, which values it can ever have:
// that of power-on, and what some action sets. Others are nil: any value.
func (w *Watch) values() [][]bool {
	if w.can != nil {
		return w.can
	}
	p := w.p
	w.can = make([][]bool, len(p.Vars))
	for v := range p.Vars {
		switch x := &p.Vars[v]; x.Kind {
		case program.BankProgram, program.BankPreset, program.BankTransition, program.BankFaded, program.SwitchPick, program.KeyerOn, program.DestinationProtected:
			w.can[v] = make([]bool, x.Size)
			w.can[v][x.Start] = true
			w.can[v][0] = w.can[v][0] || x.Kind == program.BankTransition // every one ends
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
		case program.Mix:
			w.can[p.Banks[a.A].Transition][program.Mixing] = true
		case program.Wipe:
			w.can[p.Banks[a.A].Transition][program.Wiping] = true
		case program.Fade:
			w.can[p.Banks[a.A].Faded][a.B] = true
			w.can[p.Banks[a.A].Transition][[2]uint32{program.FadingIn, program.FadingOut}[a.B]] = true
		case program.Protect:
			w.can[p.Destinations[a.A].Protect][a.B] = true
		case program.Route, program.RouteTie:
			for _, point := range w.points(a) {
				w.can[p.Switches[point.Switch].Var][point.Pick] = true
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
	return w.directPicks(a) > 0
}

// directPicks is at how many picks of its own switch a route is direct.
func (w *Watch) directPicks(a *program.Action) int {
	n := 0
	if own := w.ownOf(a); own >= 0 {
		for _, k := range w.p.Switches[own].Picks {
			if w.cabled(k.Node, a.B) {
				n++
			}
		}
	}
	return n
}

// goalNode is the node that a route brings its picture to.
func (w *Watch) goalNode(a *program.Action) int32 {
	if a.Verb == program.RouteTie {
		return w.p.Switches[w.p.Ties[a.A].Switch].Node
	}
	return w.p.Destinations[a.A].Node
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

// mostWays is how many ways of one route are told apart; with more, every
// crosspoint that could bring the picture on counts.
const mostWays = 64

// points are the crosspoints that a route can set.
func (w *Watch) points(a *program.Action) []route.Point {
	if w.routes == nil {
		w.routes = route.New(w.p, w.l)
	}
	var list []route.Point
	ways, all := w.routes.Ways(w.goalNode(a), a.B, mostWays)
	for _, way := range ways {
		list = append(list, way.Points...)
	}
	if all {
		return list
	}
	carries := w.carrying(a.B)
	for s := range w.p.Switches {
		if !w.carrying(w.p.Switches[s].Node)[w.goalNode(a)] {
			continue
		}
		for k, pick := range w.p.Switches[s].Picks {
			if pick.Node >= 0 && carries[pick.Node] {
				list = append(list, route.Point{Switch: int32(s), Pick: int32(k)})
			}
		}
	}
	return list
}

// routed are the switches that a route can set.
func (w *Watch) routed(a *program.Action) []int32 {
	var list []int32
	for _, point := range w.points(a) {
		if !slices.Contains(list, point.Switch) {
			list = append(list, point.Switch)
		}
	}
	return list
}

// free says whether a route has a way that nobody can ever stand in: what its
// switches bring on nothing else ever depends on.
func (w *Watch) free(a *program.Action) bool {
	if w.routes == nil {
		w.routes = route.New(w.p, w.l)
	}
	ways, _ := w.routes.Ways(w.goalNode(a), a.B, mostWays)
	own := w.ownOf(a)
	return slices.ContainsFunc(ways, func(way route.Plan) bool {
		return !slices.ContainsFunc(way.Points, func(p route.Point) bool { return p.Switch != own && w.everHeld(p.Switch, own) })
	})
}

// everHeld says whether anything that holds can ever depend on a switch, but
// by way of a route's own one, which is set anew.
func (w *Watch) everHeld(sw, own int32) bool {
	p := w.p
	in := make([]bool, len(p.Nodes))
	in[p.Switches[sw].Node] = true
	for more := true; more; {
		more = false
		for n := range p.Nodes {
			if in[n] || own >= 0 && p.Switches[own].Node == int32(n) {
				continue
			}
			w.feeds(int32(n), false, func(up int32) {
				if in[up] {
					in[n], more = true, true
				}
			})
		}
	}
	for _, d := range p.Destinations {
		if in[d.Node] {
			return true
		}
	}
	for _, i := range p.Inputs {
		if in[i.Node] {
			return true
		}
	}
	for _, b := range p.Banks {
		for k, pick := range b.Picks {
			if pick.Node >= 0 && in[pick.Node] && (w.values()[b.Program][k] || w.values()[b.Preset][k]) {
				return true
			}
		}
	}
	return slices.ContainsFunc(p.Keyers, func(k program.Keyer) bool { return k.Fill >= 0 && in[k.Fill] })
}

// pathless says whether no way leads from a route's picture to its place,
// whatever is free.
func (w *Watch) pathless(a *program.Action) bool {
	to := w.goalNode(a)
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
