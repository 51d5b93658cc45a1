package formula

import (
	"slices"

	"cuewright/macro/program"
)

// Point is a crosspoint: a switch, and its pick.
type Point struct{ Switch, Pick int32 }

// Way is a way to bring a picture somewhere: its crosspoints from the
// destination up, and when no tie line on it is held by something else.
type Way struct {
	Points []Point
	Free   string
}

// Ways lists every way to bring a node's picture to another, the shorter ones
// first, else in the order of the plan. Cabled says that it comes by cables
// alone: there is nothing to switch.
func (w *Writer) Ways(to, picture int32) (all []Way, cabled bool) {
	last := w.above(to, picture)
	if last == picture {
		return nil, true
	}
	for _, points := range w.ways(last, picture, nil) {
		var free []string
		for _, x := range points[1:] {
			free = append(free, Or(w.Stands(x), Not(w.held(x.Switch, points[0].Switch))))
		}
		all = append(all, Way{points, And(free...)})
	}
	slices.SortStableFunc(all, func(x, y Way) int { return len(x.Points) - len(y.Points) })
	return all, false
}

// Stands says that a crosspoint is set.
func (w *Writer) Stands(x Point) string { return w.Is(w.P.Switches[x.Switch].Var, uint32(x.Pick)) }

// above goes up from a node by cables alone.
func (w *Writer) above(node, picture int32) int32 {
	for range w.P.Nodes {
		if node < 0 || node == picture || w.P.Nodes[node].Kind != program.PassNode {
			return node
		}
		if len(w.P.Nodes[node].Up) == 0 {
			return -1
		}
		node = w.P.Nodes[node].Up[0]
	}
	return -1
}

// ways lists every way up from a node to a picture that goes through no switch
// twice, crosspoints from the destination up, in the order of the plan.
func (w *Writer) ways(node, picture int32, been []Point) [][]Point {
	if node = w.above(node, picture); node == picture {
		return [][]Point{slices.Clone(been)}
	}
	sw := w.switchAt(node)
	if sw < 0 || slices.ContainsFunc(been, func(x Point) bool { return x.Switch == sw }) {
		return nil
	}
	var all [][]Point
	for i, pick := range w.P.Switches[sw].Picks {
		all = append(all, w.ways(pick.Node, picture, append(been, Point{sw, int32(i)}))...)
	}
	return all
}

func (w *Writer) switchAt(node int32) int32 {
	if node < 0 || w.P.Nodes[node].Kind != program.SwitchNode {
		return -1
	}
	return w.P.Nodes[node].Owner
}

// held says that something looks at a switch now, other than through the
// switch own: a destination, a recorder or encoder, a bank, a keyer.
func (w *Writer) held(sw, own int32) string {
	var all []string
	look := func(node int32, when string) {
		all = append(all, And(when, w.looks(node, sw, []int32{own})))
	}
	for _, d := range w.P.Destinations {
		look(d.Node, Yes)
	}
	for _, in := range w.P.Inputs {
		look(in.Node, Yes)
	}
	for b := range w.P.Banks {
		x := &w.P.Banks[b]
		for i, pick := range x.Picks {
			look(pick.Node, Or(w.Is(x.Program, uint32(i)), w.Is(x.Preset, uint32(i))))
		}
		for _, k := range x.Keyers {
			look(w.P.Keyers[k].Fill, Yes)
		}
	}
	return Or(all...)
}

// looks says that the picture at a node comes through a switch now, and not
// through one of those that it has been to.
func (w *Writer) looks(node, sw int32, been []int32) string {
	at := w.switchAt(w.above(node, -1))
	switch {
	case at < 0 || slices.Contains(been, at):
		return No
	case at == sw:
		return Yes
	}
	var all []string
	for i, pick := range w.P.Switches[at].Picks {
		all = append(all, And(w.Is(w.P.Switches[at].Var, uint32(i)), w.looks(pick.Node, sw, append(been, at))))
	}
	return Or(all...)
}
