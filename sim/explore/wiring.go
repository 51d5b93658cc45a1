package explore

import (
	"slices"

	"cuewright/macro/program"
)

// wiring answers where pictures could get to, whatever is switched: what can
// make a difference to what a place shows. It is an over-approximation by the
// cables, for slices.
type wiring struct {
	p    *program.Program
	all  [][]int32 // by node: the nodes that its picture can be a part of in one step
	ways [][]int32 // the same for routes, which never go through a bank
	far  map[int32]bits
	near map[int32]bits
}

// bits is a set of small numbers.
type bits []uint64

func newBits(n int) bits        { return make(bits, (n+63)/64) }
func (b bits) has(i int32) bool { return i >= 0 && b[i>>6]>>(i&63)&1 != 0 }
func (b bits) add(i int32)      { b[i>>6] |= 1 << (i & 63) }
func (b bits) list() (l []int32) {
	for i := range int32(len(b) * 64) {
		if b.has(i) {
			l = append(l, i)
		}
	}
	return l
}

func (b bits) meets(c bits) bool {
	for i, w := range b {
		if w&c[i] != 0 {
			return true
		}
	}
	return false
}

func newWiring(p *program.Program) *wiring {
	w := &wiring{p: p, all: make([][]int32, len(p.Nodes)), ways: make([][]int32, len(p.Nodes)),
		far: map[int32]bits{}, near: map[int32]bits{}}
	for n := range p.Nodes {
		node := &p.Nodes[n]
		if node.Kind == program.SourceNode {
			continue // a multiview is a picture of its own
		}
		for _, up := range node.Up {
			if up < 0 {
				continue
			}
			w.all[up] = append(w.all[up], int32(n))
			if node.Kind == program.PassNode || node.Kind == program.SwitchNode {
				w.ways[up] = append(w.ways[up], int32(n))
			}
		}
	}
	return w
}

// from is the nodes that can show, in part, what a node shows; itself too.
func (w *wiring) from(node int32) bits { return spread(w.all, node, w.far) }

// routes is the nodes that a route can bring a node's picture to.
func (w *wiring) routes(node int32) bits { return spread(w.ways, node, w.near) }

func spread(down [][]int32, node int32, known map[int32]bits) bits {
	if b, ok := known[node]; ok {
		return b
	}
	b := newBits(len(down))
	b.add(node)
	for todo := []int32{node}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, n := range down[at] {
			if !b.has(n) {
				b.add(n)
				todo = append(todo, n)
			}
		}
	}
	known[node] = b
	return b
}

// shows calls need with every variable that can make a difference to whether
// the picture of one of some nodes is a part of what a node shows.
func (w *wiring) shows(at int32, origins []int32, need func(v int32)) (can bool) {
	for _, from := range origins {
		reach := w.from(from)
		for n := range w.p.Nodes {
			if reach.has(int32(n)) && w.from(int32(n)).has(at) {
				can = true
				w.node(int32(n), reach, need)
			}
		}
	}
	return can
}

// node calls need with the variables of a node that decide about pictures
// from the nodes reach.
func (w *wiring) node(n int32, reach bits, need func(v int32)) {
	x := &w.p.Nodes[n]
	switch x.Kind {
	case program.SwitchNode:
		need(w.p.Switches[x.Owner].Var)
	case program.PresetNode:
		need(w.p.Banks[x.Owner].Preset)
	case program.BankNode, program.CleanNode:
		b := &w.p.Banks[x.Owner]
		need(b.Faded)
		need(b.Transition)
		if slices.ContainsFunc(b.Picks, func(k program.Pick) bool { return reach.has(k.Node) }) {
			need(b.Program)
			need(b.Preset)
		}
		for _, k := range b.Keyers {
			if x.Kind == program.BankNode && reach.has(w.p.Keyers[k].Fill) {
				need(w.p.Keyers[k].On)
			}
		}
	}
}

// origins is the nodes where a source's picture is made: its own, and banks
// that fade to it.
func (w *wiring) origins(source int32) []int32 {
	nodes := []int32{w.p.Sources[source].Node}
	for i := range w.p.Banks {
		if b := &w.p.Banks[i]; b.Black == source {
			nodes = append(nodes, b.Node)
			if b.Clean >= 0 {
				nodes = append(nodes, b.Clean)
			}
		}
	}
	return nodes
}

// cond calls need with every variable that condition c depends on.
func (w *wiring) cond(c int32, need func(v int32)) {
	if c < 0 {
		return
	}
	switch n := &w.p.Conds[c]; n.Op {
	case program.Not:
		w.cond(n.L, need)
	case program.And, program.Or:
		w.cond(n.L, need)
		w.cond(n.R, need)
	case program.In:
		need(n.A)
	case program.Shows:
		w.shows(w.p.Destinations[n.A].Node, w.origins(n.B), need)
	case program.ShowsNode:
		w.shows(w.p.Destinations[n.A].Node, []int32{n.B}, need)
	case program.SourceOnAir:
		for i := range w.p.Destinations {
			d := &w.p.Destinations[i]
			if d.OnAir != program.NeverOnAir && w.shows(d.Node, w.origins(n.A), need) && d.OnAir >= 0 {
				need(w.p.Encoders[d.OnAir].State)
			}
		}
	case program.Running:
		if at := w.p.Tasks[n.A].At; at >= 0 {
			need(at)
		}
	}
}

// way is what a route action can set and what that depends on.
type way struct {
	switches []int32 // the first is the destination's own
	reads    []int32 // Vars
}

// way of an action that routes; it has no switches when there is no way at
// all, or nothing to set.
func (w *wiring) way(a *program.Action) way {
	to := int32(-1)
	if a.Verb == program.Route {
		to = w.p.Destinations[a.A].Node
	} else {
		to = w.p.Switches[w.p.Ties[a.A].Switch].Node
	}
	last := w.above(to, a.B)
	if last < 0 || last == a.B || w.p.Nodes[last].Kind != program.SwitchNode || !w.routes(a.B).has(to) {
		return way{}
	}
	own := w.p.Nodes[last].Owner
	x := way{switches: []int32{own}, reads: []int32{w.p.Switches[own].Var}}
	if !slices.ContainsFunc(w.p.Switches[own].Picks, func(k program.Pick) bool { return w.above(k.Node, a.B) == a.B }) {
		w.longer(&x, own, a.B)
	}
	if a.Verb == program.Route {
		x.reads = append(x.reads, w.p.Destinations[a.A].Protect)
	}
	return x
}

// longer adds the switches on the way to own, and what can hold them. A way
// of one crosspoint is the shortest and always free, so it needs neither.
func (w *wiring) longer(x *way, own, picture int32) {
	for s := range w.p.Switches {
		sw := &w.p.Switches[s]
		if int32(s) == own || !w.routes(picture).has(sw.Node) || !w.routes(sw.Node).has(w.p.Switches[own].Node) {
			continue
		}
		x.switches = append(x.switches, int32(s))
		reach := w.routes(sw.Node)
		for i := range w.p.Switches {
			if reach.has(w.p.Switches[i].Node) {
				x.reads = append(x.reads, w.p.Switches[i].Var)
			}
		}
		for i := range w.p.Banks {
			b := &w.p.Banks[i]
			if slices.ContainsFunc(b.Picks, func(k program.Pick) bool { return reach.has(k.Node) }) {
				x.reads = append(x.reads, b.Program, b.Preset)
			}
		}
	}
}

// above goes up cables alone from a node, to a picture or a switch.
func (w *wiring) above(node, picture int32) int32 {
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
