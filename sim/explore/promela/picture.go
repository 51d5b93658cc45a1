package promela

import (
	"slices"

	"cuewright/macro/program"
)

// way is a place that a picture can come from, and when it does.
type way struct {
	node int32
	when string
}

// from lists where a node's picture comes from.
func (w *writer) from(node int32) []way {
	n := &w.p.Nodes[node]
	switch n.Kind {
	case program.PassNode:
		if len(n.Up) > 0 && n.Up[0] >= 0 {
			return []way{{n.Up[0], yes}}
		}
	case program.SwitchNode:
		s := &w.p.Switches[n.Owner]
		return w.picked(s.Picks, func(i uint32) string { return w.is(s.Var, i) })
	case program.PresetNode:
		b := &w.p.Banks[n.Owner]
		return w.picked(b.Picks, func(i uint32) string { return w.is(b.Preset, i) })
	case program.BankNode, program.CleanNode:
		return w.fromBank(n)
	}
	return nil
}

func (w *writer) picked(picks []program.Pick, when func(i uint32) string) []way {
	var all []way
	for i, pick := range picks {
		if pick.Node < 0 {
			continue
		}
		if at := slices.IndexFunc(all, func(x way) bool { return x.node == pick.Node }); at >= 0 {
			all[at].when = or(all[at].when, when(uint32(i)))
			continue
		}
		all = append(all, way{pick.Node, when(uint32(i))})
	}
	return all
}

// black says that a bank shows nothing but its black.
func (w *writer) black(b *program.Bank) string {
	return and(w.is(b.Faded, 1), not(w.is(b.Transition, program.FadingIn)))
}

func (w *writer) mixing(b *program.Bank) string {
	return or(w.is(b.Transition, program.Mixing), w.is(b.Transition, program.Wiping))
}

// fromBank: program; preset too while mixing; what keyers lay over it.
func (w *writer) fromBank(n *program.Node) []way {
	b := &w.p.Banks[n.Owner]
	all := w.picked(b.Picks, func(i uint32) string {
		return or(w.is(b.Program, i), and(w.mixing(b), w.is(b.Preset, i)))
	})
	if n.Kind == program.BankNode {
		for _, k := range b.Keyers {
			if fill := w.p.Keyers[k].Fill; fill >= 0 {
				all = append(all, way{fill, w.is(w.p.Keyers[k].On, 1)})
			}
		}
	}
	for i := range all {
		all[i].when = and(not(w.black(b)), all[i].when)
	}
	return all
}

// comes says that a picture that is at some node, as `at` says, is part of the
// picture at another. A way that meets itself adds nothing.
func (w *writer) comes(node int32, at func(node int32) string) string {
	return w.comesBy(node, at, make([]bool, len(w.p.Nodes)))
}

func (w *writer) comesBy(node int32, at func(node int32) string, been []bool) string {
	if node < 0 || been[node] {
		return no
	}
	all := []string{at(node)}
	been[node] = true
	for _, x := range w.from(node) {
		all = append(all, and(x.when, w.comesBy(x.node, at, been)))
	}
	been[node] = false
	return or(all...)
}

// shows says that a source is part of a destination's picture.
func (w *writer) shows(destination, source int32) string {
	return w.comes(w.p.Destinations[destination].Node, func(node int32) string { return w.makes(node, source) })
}

// makes says that a node adds a source to a picture by itself.
func (w *writer) makes(node, source int32) string {
	if w.p.Sources[source].Picture == "nothing" {
		return no
	}
	switch n := &w.p.Nodes[node]; n.Kind {
	case program.SourceNode:
		return truth(n.Owner == source)
	case program.BankNode, program.CleanNode:
		if b := &w.p.Banks[n.Owner]; b.Black == source {
			return or(w.is(b.Faded, 1), w.is(b.Transition, program.FadingOut), w.is(b.Transition, program.FadingIn))
		}
	}
	return no
}

func (w *writer) onAir(source int32) string {
	var all []string
	for d := range w.p.Destinations {
		on := yes
		switch when := w.p.Destinations[d].OnAir; when {
		case program.NeverOnAir:
			on = no
		case program.AlwaysOnAir:
		default:
			on = w.is(w.p.Encoders[when].State, program.MachineRunning)
		}
		all = append(all, and(on, w.shows(int32(d), source)))
	}
	return or(all...)
}

// cond writes a condition; -1 never holds.
func (w *writer) cond(c int32) string {
	if c < 0 {
		return no
	}
	x := &w.p.Conds[c]
	switch x.Op {
	case program.Const:
		return truth(x.A != 0)
	case program.Not:
		return not(w.cond(x.L))
	case program.And:
		return and(w.cond(x.L), w.cond(x.R))
	case program.Or:
		return or(w.cond(x.L), w.cond(x.R))
	case program.In:
		return w.among(x.A, w.p.Sets[x.B])
	case program.Shows:
		return w.shows(x.A, x.B)
	case program.SourceOnAir:
		return w.onAir(x.A)
	case program.Running:
		if at := w.p.Tasks[x.A].At; at >= 0 {
			return not(w.is(at, 0))
		}
	case program.ShowsNode:
		return w.comes(w.p.Destinations[x.A].Node, func(node int32) string { return truth(node == x.B) })
	}
	return no
}
