package signal

import (
	"cmp"
	"slices"

	"cuewright/macro/program"
)

// The search below is Tarjan's for strongly connected components (R. Tarjan,
// Depth-first search and linear graph algorithms, SIAM J. Comput. 1972), on
// the edges selected now. All nodes of one component have one picture, and a
// component is complete only after everything that it depends on, so its set
// can be written when it is.

// begin readies the search. For pictures, nodes already done in this look
// stay so; for circles, every node is searched anew.
func (g *Graph) begin(circles bool) {
	g.circles = circles
	g.newWalk()
	g.next = 0
	g.open = g.open[:0]
	g.near = g.near[:0]
}

func (g *Graph) visit(node int32) {
	g.mark[node] = g.walk
	g.order[node], g.low[node] = g.next, g.next
	g.next++
	g.open = append(g.open, node)

	from := len(g.near)
	g.near = g.depends(node, g.near)
	for i := from; i < len(g.near); i++ {
		up := g.near[i]
		switch {
		case g.complete(up):
		case g.mark[up] != g.walk:
			g.visit(up)
			if !g.complete(up) {
				g.low[node] = min(g.low[node], g.low[up])
			}
		default:
			g.low[node] = min(g.low[node], g.order[up])
		}
	}
	if g.low[node] == g.order[node] {
		g.close(node, from)
	}
	g.near = g.near[:from]
}

// closed is the low of a node whose component is complete.
const closed = -1

func (g *Graph) complete(node int32) bool {
	if g.circles {
		return g.mark[node] == g.walk && g.low[node] == closed
	}
	return g.done[node] == g.look
}

// depends are the nodes that a node's picture depends on.
func (g *Graph) depends(node int32, buf []int32) []int32 {
	if n := &g.p.Nodes[node]; g.circles && n.Kind == program.SourceNode {
		return append(buf, n.Up...)
	}
	return g.Upstream(node, buf)
}

// close completes the component of root: the open nodes from it on.
func (g *Graph) close(root int32, near int) {
	at := len(g.open) - 1
	for g.open[at] != root {
		at--
	}
	all := g.open[at:]
	g.open = g.open[:at]
	if g.circles {
		for _, n := range all {
			g.low[n] = closed
		}
		if len(all) > 1 || slices.Contains(g.near[near:], root) {
			loop := slices.Clone(all)
			slices.Sort(loop)
			g.loops = append(g.loops, loop)
		}
		return
	}
	g.paint(root, all)
}

// paint gives all nodes of a component their picture: what they add
// themselves and what comes from outside. Bytes of the root's set are used to
// gather it.
func (g *Graph) paint(root int32, all []int32) {
	picture := g.set(root)
	clear(picture)
	for _, n := range all {
		picture.add(g.own(n))
		from := len(g.near)
		g.near = g.Upstream(n, g.near)
		for _, up := range g.near[from:] {
			if g.done[up] == g.look {
				picture.addAll(g.set(up))
			}
		}
		g.near = g.near[:from]
	}
	for _, n := range all {
		copy(g.set(n), picture)
		g.done[n] = g.look
	}
}

// Loops are the feedback loops now: sets of nodes of which each is in the
// picture of each other one (or one that is in its own), every set sorted,
// the sets in the order of their first nodes. A multiview counts as showing
// everything that it can compose. Only a state with a loop makes it allocate.
func (g *Graph) Loops() [][]int32 {
	g.begin(true)
	g.loops = nil
	for n := range g.p.Nodes {
		if g.mark[n] != g.walk {
			g.visit(int32(n))
		}
	}
	slices.SortFunc(g.loops, func(a, b []int32) int { return cmp.Compare(a[0], b[0]) })
	return g.loops
}
