package explore

import (
	stdbits "math/bits"
	"slices"

	"cuewright/macro/program"
)

// wiring answers where pictures could get to, whatever is switched: what can
// make a difference to what a place shows. It is an over-approximation by the
// cables, for slices.
type wiring struct {
	p    *program.Program
	can  []bits    // by variable of a bus: the values that it can ever have; nil when it is none
	all  [][]int32 // by node: the nodes that its picture can be a part of in one step
	back [][]int32 // the other way round
	ways [][]int32 // the same for routes, which never go through a bank
	far  map[int32]bits
	near map[int32]bits
	into map[int32]bits

	conds map[int32][]int32 // by condition: what it depends on
}

// bits is a set of small numbers.
type bits []uint64

func newBits(n int) bits        { return make(bits, (n+63)/64) }
func (b bits) has(i int32) bool { return i >= 0 && b[i>>6]>>(i&63)&1 != 0 }
func (b bits) add(i int32)      { b[i>>6] |= 1 << (i & 63) }
func (b bits) list() (l []int32) {
	for i, w := range b {
		for ; w != 0; w &= w - 1 {
			l = append(l, int32(i*64+stdbits.TrailingZeros64(w)))
		}
	}
	return l
}

func (b bits) addAll(c bits) {
	for i, w := range c {
		b[i] |= w
	}
}

func (b bits) and(c bits) bits {
	d := make(bits, len(b))
	for i, w := range c {
		d[i] = b[i] & w
	}
	return d
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

		back: make([][]int32, len(p.Nodes)), far: map[int32]bits{}, near: map[int32]bits{}, into: map[int32]bits{}, conds: map[int32][]int32{}}
	for n := range p.Nodes {
		node := &p.Nodes[n]
		if node.Kind != program.PassNode && node.Kind != program.SwitchNode {
			continue
		}
		for _, up := range node.Up {
			if up >= 0 {
				w.ways[up] = append(w.ways[up], int32(n))
			}
		}
	}
	w.values()
	for n := range p.Nodes {
		w.inputs(int32(n), func(up int32) {
			w.all[up] = append(w.all[up], int32(n))
			w.back[n] = append(w.back[n], up)
		})
	}
	return w
}

// values finds what each bus can ever show: what it shows at power-on, and
// what some action of the show sets it to, whether that is ever done or not.
func (w *wiring) values() {
	p := w.p
	w.can = make([]bits, len(p.Vars))
	for v := range p.Vars {
		switch x := &p.Vars[v]; x.Kind {
		case program.BankProgram, program.BankPreset, program.SwitchPick, program.KeyerOn:
			w.can[v] = newBits(int(x.Size))
			w.can[v].add(int32(x.Start))
		}
	}
	for i := range p.Actions {
		switch a := &p.Actions[i]; a.Verb {
		case program.CutTo:
			w.can[p.Banks[a.A].Program].add(a.B)
		case program.PresetTo:
			w.can[p.Banks[a.A].Preset].add(a.B)
		case program.KeyTo:
			w.can[p.Keyers[a.A].On].add(a.B)
		case program.Route, program.RouteTie:
			for _, s := range w.way(a).switches {
				for k, pick := range p.Switches[s].Picks {
					if pick.Node >= 0 && w.routes(a.B).has(pick.Node) {
						w.can[p.Switches[s].Var].add(int32(k))
					}
				}
			}
		}
	}
	for i := range p.Actions { // program and preset change over
		if a := &p.Actions[i]; a.Verb == program.Take || a.Verb == program.Mix || a.Verb == program.Wipe {
			b := &p.Banks[a.A]
			w.can[b.Program].addAll(w.can[b.Preset])
			w.can[b.Preset] = w.can[b.Program]
		}
	}
}

// inputs calls f with each node whose picture can be a part of a node's.
func (w *wiring) inputs(n int32, f func(up int32)) {
	x := &w.p.Nodes[n]
	picks := func(list []program.Pick, v int32) {
		for i, k := range list {
			if k.Node >= 0 && w.can[v].has(int32(i)) {
				f(k.Node)
			}
		}
	}
	switch x.Kind {
	case program.SourceNode: // a multiview is a picture of its own
	case program.PassNode:
		if len(x.Up) > 0 && x.Up[0] >= 0 {
			f(x.Up[0])
		}
	case program.SwitchNode:
		picks(w.p.Switches[x.Owner].Picks, w.p.Switches[x.Owner].Var)
	case program.PresetNode:
		picks(w.p.Banks[x.Owner].Picks, w.p.Banks[x.Owner].Preset)
	default:
		b := &w.p.Banks[x.Owner]
		picks(b.Picks, b.Program)
		picks(b.Picks, b.Preset)
		for _, k := range b.Keyers {
			if key := &w.p.Keyers[k]; x.Kind == program.BankNode && key.Fill >= 0 && w.can[key.On].has(1) {
				f(key.Fill)
			}
		}
	}
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
		if !reach.has(at) {
			continue
		}
		can = true
		for _, n := range reach.and(spread(w.back, at, w.into)).list() {
			w.node(n, reach, need)
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
		for i, k := range b.Picks {
			if reach.has(k.Node) && (w.can[b.Program].has(int32(i)) || w.can[b.Preset].has(int32(i))) {
				need(b.Program)
				need(b.Preset)
			}
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
		if b := &w.p.Banks[i]; b.Black == source && w.fades(int32(i)) {
			nodes = append(nodes, b.Node)
			if b.Clean >= 0 {
				nodes = append(nodes, b.Clean)
			}
		}
	}
	return nodes
}

// fades says whether a bank can ever be black, or on the way there.
func (w *wiring) fades(bank int32) bool {
	b := &w.p.Banks[bank]
	return w.p.Vars[b.Faded].Start != 0 || w.p.Vars[b.Transition].Start != 0 ||
		slices.ContainsFunc(w.p.Actions, func(a program.Action) bool { return a.Verb == program.Fade && a.A == bank })
}

// cond calls need with every variable that condition c depends on.
func (w *wiring) cond(c int32, need func(v int32)) {
	if c < 0 {
		return
	}
	list, known := w.conds[c]
	if !known {
		w.depends(c, func(v int32) { list = append(list, v) })
		list = unique(list)
		w.conds[c] = list
	}
	for _, v := range list {
		need(v)
	}
}

func (w *wiring) depends(c int32, need func(v int32)) {
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
