package onair

import (
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/signal"
)

// way is the nodes whose picture can, by the cables and by what the show ever
// selects, come from a node or be a source. A walk that stays within it reads
// no variable that cannot matter.
type way struct {
	node   int32
	source int32  // or -1
	from   []bool // by node
}

// wayOf is the way from a node; with a source also from each bank that makes
// it itself when it fades.
func (w *Watch) wayOf(source, node int32) *way {
	key := [2]int32{source, node}
	if x, ok := w.ways[key]; ok {
		return x
	}
	p := w.p
	x := &way{node, source, make([]bool, len(p.Nodes))}
	x.from[node] = true
	for i := range p.Nodes {
		if n := &p.Nodes[i]; source >= 0 && (n.Kind == program.BankNode || n.Kind == program.CleanNode) && p.Banks[n.Owner].Black == source {
			x.from[i] = x.from[i] || w.everFades(n.Owner)
		}
	}
	for more := true; more; {
		more = false
		for i := range p.Nodes {
			if x.from[i] {
				continue
			}
			w.feeds(int32(i), false, func(up int32) {
				if x.from[up] {
					x.from[i], more = true, true
				}
			})
		}
	}
	if w.ways == nil {
		w.ways = map[[2]int32]*way{}
	}
	w.ways[key] = x
	return x
}

// has says whether a source is a part of the picture at a node.
func (w *Watch) has(g *signal.Graph, node, source int32) bool {
	if !w.asking {
		return g.At(node).Has(source)
	}
	return w.leads(g, node, w.wayOf(source, w.p.Sources[source].Node), make([]bool, len(w.p.Nodes)))
}

// through says whether the picture at a node comes through another.
func (w *Watch) through(g *signal.Graph, node, via int32) bool {
	if !w.asking {
		return g.ThroughNode(node, via)
	}
	return w.leads(g, node, w.wayOf(-1, via), make([]bool, len(w.p.Nodes)))
}

// leads walks upstream within a way, and says whether it comes to its start.
func (w *Watch) leads(g *signal.Graph, node int32, x *way, been []bool) bool {
	if node < 0 || !x.from[node] || been[node] {
		return false
	}
	if node == x.node {
		return true
	}
	been[node] = true
	if n := &w.p.Nodes[node]; n.Kind == program.BankNode || n.Kind == program.CleanNode {
		if b := &w.p.Banks[n.Owner]; x.source >= 0 && b.Black == x.source && w.blackens(g, b) {
			return true
		}
	}
	from := len(w.buf)
	defer func() { w.buf = w.buf[:from] }()
	w.buf = g.UpstreamIn(node, x.from, w.buf)
	for i, end := from, len(w.buf); i < end; i++ {
		if w.leads(g, w.buf[i], x, been) {
			return true
		}
	}
	return false
}

// blackens says whether a bank puts its own black into its picture.
func (w *Watch) blackens(g *signal.Graph, b *program.Bank) bool {
	get := w.is
	if g == w.gb {
		get = w.was
	}
	does := get(b.Transition)
	return does == program.FadingOut || does == program.FadingIn || get(b.Faded) != 0
}

// circles are the places where a picture could come back to itself, by the
// cables and by what the show ever selects: sets of nodes, each sorted, that
// all lead to each other.
func (w *Watch) circles() [][]int32 {
	if w.rings != nil {
		return w.rings
	}
	up := make([][]int32, len(w.p.Nodes))
	down := make([][]int32, len(w.p.Nodes))
	for n := range w.p.Nodes {
		w.feeds(int32(n), true, func(u int32) {
			up[n], down[u] = append(up[n], u), append(down[u], int32(n))
		})
	}
	w.rings = rings(up, down)
	return w.rings
}

// rings are the strongly connected parts of a graph that have an edge within,
// by the search that is Kosaraju's and Sharir's (M. Sharir, Computers and
// Mathematics with Applications, 1981): a search downstream from the node that
// was left last by one upstream finds just its part.
func rings(up, down [][]int32) [][]int32 {
	var left []int32
	been := make([]bool, len(up))
	for n := range up {
		left = follow(up, int32(n), been, left)
	}
	clear(been)
	all := [][]int32{}
	for _, n := range slices.Backward(left) {
		ring := follow(down, n, been, nil)
		if len(ring) > 1 || len(ring) == 1 && slices.Contains(up[n], n) {
			slices.Sort(ring)
			all = append(all, ring)
		}
	}
	slices.SortFunc(all, func(a, b []int32) int { return int(a[0] - b[0]) })
	return all
}

// follow appends to left all nodes that edges lead to and that nobody has been
// at, each when all that it leads to has been.
func follow(edges [][]int32, n int32, been []bool, left []int32) []int32 {
	if been[n] {
		return left
	}
	been[n] = true
	for _, to := range edges[n] {
		left = follow(edges, to, been, left)
	}
	return append(left, n)
}

// circle looks whether a picture has come back to itself within a circle of
// cables: a node that is in a loop now and was in none.
func (w *Watch) circle(of int32) {
	ring := w.circles()[of]
	is := w.inLoops(Side{w.la, w.after, w.ga}, ring)
	if !slices.Contains(is, true) {
		return
	}
	was := w.inLoops(Side{w.lb, w.before, w.gb}, ring)
	for i := range ring {
		if is[i] && !was[i] {
			if !w.answered() {
				w.loops(all)
			}
			return
		}
	}
}

// inLoops says which nodes of a circle are in their own picture now.
func (w *Watch) inLoops(now Side, ring []int32) []bool {
	in := make([]bool, len(w.p.Nodes))
	for _, n := range ring {
		in[n] = true
	}
	up := make(map[int32][]int32, len(ring))
	for _, n := range ring {
		if x := &w.p.Nodes[n]; x.Kind == program.SourceNode {
			up[n] = slices.DeleteFunc(slices.Clone(x.Up), func(u int32) bool { return u < 0 || !in[u] })
		} else {
			up[n] = now.Graph.UpstreamIn(n, in, nil)
		}
	}
	out := make([]bool, len(ring))
	for i, n := range ring {
		been := map[int32]bool{}
		todo := slices.Clone(up[n])
		for len(todo) > 0 && !out[i] {
			at := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			if out[i] = at == n; !been[at] {
				been[at] = true
				todo = append(todo, up[at]...)
			}
		}
	}
	return out
}

// CircleName names a circle by the banks, switches and pictures in it.
func (w *Watch) CircleName(of int32) string {
	return strings.ReplaceAll(strings.Join(w.namesIn(w.circles()[of]), ", "), "`", "")
}
