package formula

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
func (w *Writer) from(node int32) []way {
	n := &w.P.Nodes[node]
	switch n.Kind {
	case program.PassNode:
		if len(n.Up) > 0 && n.Up[0] >= 0 {
			return []way{{n.Up[0], Yes}}
		}
	case program.SwitchNode:
		s := &w.P.Switches[n.Owner]
		return w.picked(s.Picks, func(i uint32) string { return w.Is(s.Var, i) })
	case program.PresetNode:
		b := &w.P.Banks[n.Owner]
		return w.picked(b.Picks, func(i uint32) string { return w.Is(b.Preset, i) })
	case program.BankNode, program.CleanNode:
		return w.fromBank(n)
	}
	return nil
}

func (w *Writer) picked(picks []program.Pick, when func(i uint32) string) []way {
	var all []way
	for i, pick := range picks {
		if pick.Node < 0 {
			continue
		}
		if at := slices.IndexFunc(all, func(x way) bool { return x.node == pick.Node }); at >= 0 {
			all[at].when = Or(all[at].when, when(uint32(i)))
			continue
		}
		all = append(all, way{pick.Node, when(uint32(i))})
	}
	return all
}

// black says that a bank shows nothing but its black.
func (w *Writer) black(b *program.Bank) string {
	return And(w.Is(b.Faded, 1), Not(w.Is(b.Transition, program.FadingIn)))
}

// Mixing says that a bank runs a mix or a wipe.
func (w *Writer) Mixing(b *program.Bank) string {
	return Or(w.Is(b.Transition, program.Mixing), w.Is(b.Transition, program.Wiping))
}

// fromBank: program; preset too while mixing; what keyers lay over it.
func (w *Writer) fromBank(n *program.Node) []way {
	b := &w.P.Banks[n.Owner]
	all := w.picked(b.Picks, func(i uint32) string {
		return Or(w.Is(b.Program, i), And(w.Mixing(b), w.Is(b.Preset, i)))
	})
	if n.Kind == program.BankNode {
		for _, k := range b.Keyers {
			if fill := w.P.Keyers[k].Fill; fill >= 0 {
				all = append(all, way{fill, w.Is(w.P.Keyers[k].On, 1)})
			}
		}
	}
	for i := range all {
		all[i].when = And(Not(w.black(b)), all[i].when)
	}
	return all
}

// comes says that a picture that is at some node, as `at` says, is part of the
// picture at another. A way that meets itself adds nothing.
func (w *Writer) comes(node int32, at func(node int32) string) string {
	return w.comesBy(node, at, make([]bool, len(w.P.Nodes)))
}

func (w *Writer) comesBy(node int32, at func(node int32) string, been []bool) string {
	if node < 0 || been[node] {
		return No
	}
	all := []string{at(node)}
	been[node] = true
	for _, x := range w.from(node) {
		all = append(all, And(x.when, w.comesBy(x.node, at, been)))
	}
	been[node] = false
	return Or(all...)
}

// shows says that a source is part of a destination's picture.
func (w *Writer) shows(destination, source int32) string {
	return w.comes(w.P.Destinations[destination].Node, func(node int32) string { return w.makes(node, source) })
}

// makes says that a node adds a source to a picture by itself.
func (w *Writer) makes(node, source int32) string {
	if w.P.Sources[source].Picture == "nothing" {
		return No
	}
	switch n := &w.P.Nodes[node]; n.Kind {
	case program.SourceNode:
		return Truth(n.Owner == source)
	case program.BankNode, program.CleanNode:
		if b := &w.P.Banks[n.Owner]; b.Black == source {
			return Or(w.Is(b.Faded, 1), w.Is(b.Transition, program.FadingOut), w.Is(b.Transition, program.FadingIn))
		}
	}
	return No
}

func (w *Writer) onAir(source int32) string {
	var all []string
	for d := range w.P.Destinations {
		on := Yes
		switch when := w.P.Destinations[d].OnAir; when {
		case program.NeverOnAir:
			on = No
		case program.AlwaysOnAir:
		default:
			on = w.Is(w.P.Encoders[when].State, program.MachineRunning)
		}
		all = append(all, And(on, w.shows(int32(d), source)))
	}
	return Or(all...)
}
