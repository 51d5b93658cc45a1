package signal_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/state"

	"github.com/expr-lang/expr"
	"gonum.org/v1/gonum/graph/simple"
	"gonum.org/v1/gonum/graph/topo"
	"gonum.org/v1/gonum/graph/traverse"
	"pgregory.net/rapid"
)

// plain is what a state selects, written down again in the plainest way: an
// edge from each node to those whose pictures it shows.
type plain struct {
	p     *program.Program
	l     *state.Layout
	s     *state.State
	graph *simple.DirectedGraph
	self  map[int32]bool // nodes that show themselves: gonum's simple graphs have no such edge
}

func (r *plain) get(v int32) uint32 { return r.l.Get(r.s, v) }

func newPlain(p *program.Program, l *state.Layout, s *state.State, multiviews bool) *plain {
	r := &plain{p: p, l: l, s: s, graph: simple.NewDirectedGraph(), self: map[int32]bool{}}
	for n := range p.Nodes {
		r.graph.AddNode(simple.Node(n))
	}
	for n := range p.Nodes {
		for _, up := range r.selected(int32(n), multiviews) {
			if int(up) == n {
				r.self[up] = true
			} else {
				r.graph.SetEdge(r.graph.NewEdge(simple.Node(n), simple.Node(up)))
			}
		}
	}
	return r
}

func (r *plain) selected(n int32, multiviews bool) []int32 {
	node := r.p.Nodes[n]
	switch node.Kind {
	case program.SourceNode:
		if multiviews {
			return node.Up
		}
		return nil
	case program.PassNode:
		return node.Up
	case program.SwitchNode:
		return []int32{node.Up[r.get(r.p.Switches[node.Owner].Var)]}
	}
	b := r.p.Banks[node.Owner]
	if node.Kind == program.PresetNode {
		return []int32{b.Picks[r.get(b.Preset)].Node}
	}
	doing, faded := r.get(b.Transition), r.get(b.Faded) == 1
	if faded && doing != program.FadingIn {
		return nil
	}
	up := []int32{b.Picks[r.get(b.Program)].Node}
	if doing == program.Mixing || doing == program.Wiping {
		up = append(up, b.Picks[r.get(b.Preset)].Node)
	}
	for _, k := range b.Keyers {
		if node.Kind == program.BankNode && r.get(r.p.Keyers[k].On) == 1 {
			up = append(up, r.p.Keyers[k].Fill)
		}
	}
	return up
}

// blackens says whether a bank's black is in its picture.
func (r *plain) blackens(n program.Node) bool {
	if n.Kind != program.BankNode && n.Kind != program.CleanNode {
		return false
	}
	b := r.p.Banks[n.Owner]
	doing := r.get(b.Transition)
	return r.get(b.Faded) == 1 || doing == program.FadingOut || doing == program.FadingIn
}

// reachable are the nodes of a picture, by gonum.
func (r *plain) reachable(node int32) map[int32]bool {
	seen := map[int32]bool{}
	walk := traverse.BreadthFirst{}
	walk.Walk(r.graph, simple.Node(node), nil)
	for n := range r.p.Nodes {
		if walk.Visited(simple.Node(n)) {
			seen[int32(n)] = true
		}
	}
	seen[node] = true
	return seen
}

// pictures are the sources of a picture, in order.
func (r *plain) pictures(node int32) []int32 {
	var all []int32
	for n := range r.reachable(node) {
		switch x := r.p.Nodes[n]; {
		case x.Kind == program.SourceNode && x.Owner != 0:
			all = append(all, x.Owner)
		case r.blackens(x):
			all = append(all, r.p.Banks[x.Owner].Black)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func (r *plain) onAir() []int32 {
	var all []int32
	for _, d := range r.p.Destinations {
		if d.OnAir == program.AlwaysOnAir || d.OnAir >= 0 && r.get(r.p.Encoders[d.OnAir].State) == program.MachineRunning {
			all = append(all, r.pictures(d.Node)...)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func list(s signal.Set) (all []int32) {
	s.Each(func(i int32) bool { all = append(all, i); return true })
	return all
}

// On any rack in any state, what a place shows, what is on air and what comes
// through where is plain reachability, and the feedback loops are the
// strongly connected components that gonum finds.
func TestAgainstPlainReachability(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := simtest.Rack(t).Done(t)
		l := state.NewLayout(p)
		g := signal.New(p, l)
		for range 3 { // one Graph, several looks
			s := simtest.State(t, p, l)
			g.Look(s)
			r := newPlain(p, l, s, false)
			for _, n := range rapid.Permutation(nodes(p)).Draw(t, "asked in this order") {
				if got, want := list(g.At(n)), r.pictures(n); !slices.Equal(got, want) {
					t.Fatalf("node %d shows %v, want %v", n, got, want)
				}
				if base := g.Base(n); base != 0 && !g.At(n).Has(base) {
					t.Fatalf("the bottom of node %d is %d, which it does not show", n, base)
				}
			}
			if got, want := list(g.OnAir()), r.onAir(); !slices.Equal(got, want) {
				t.Fatalf("on air %v, want %v", got, want)
			}
			n, b := rapid.SampledFrom(nodes(p)).Draw(t, "node"), int32(rapid.IntRange(0, len(p.Banks)-1).Draw(t, "bank"))
			if got, want := g.Through(n, b), r.reachable(n)[p.Banks[b].Node]; got != want {
				t.Fatalf("node %d through bank %d: %v", n, b, got)
			}
			if got, want := g.Loops(), loops(newPlain(p, l, s, true)); !slices.EqualFunc(got, want, slices.Equal) {
				t.Fatalf("loops %v, want %v", got, want)
			}
		}
	})
}

func nodes(p *program.Program) []int32 {
	all := make([]int32, len(p.Nodes))
	for i := range all {
		all[i] = int32(i)
	}
	return all
}

func loops(r *plain) (all [][]int32) {
	for _, component := range topo.TarjanSCC(r.graph) {
		var loop []int32
		for _, n := range component {
			loop = append(loop, int32(n.ID()))
		}
		slices.Sort(loop)
		if len(loop) > 1 || r.self[loop[0]] {
			all = append(all, loop)
		}
	}
	slices.SortFunc(all, slices.Compare)
	return all
}

// Banks that lay each other's pictures over their own make any directed
// graph: keyer j of bank i is the arc from i to j. Of all graphs with n
// labelled nodes so many have no circle (OEIS A003024), and so many are one
// strongly connected component (OEIS A003030).
func TestLoopsOfEveryDigraph(t *testing.T) {
	for n, want := range map[int][2]int{1: {1, 0}, 2: {3, 1}, 3: {25, 18}, 4: {543, 1606}, 5: {29281, 565080}} {
		if n == 5 && testing.Short() {
			continue
		}
		m := simtest.New()
		for i := range n {
			m.Bank(fmt.Sprint("bank", i), 1)
		}
		var arcs []int32
		for i := range int32(n) {
			for j := range int32(n) {
				if i != j {
					arcs = append(arcs, m.Keyer(fmt.Sprint(i, "to", j), i, m.BankOut(j)))
				}
			}
		}
		p := m.Done(t)
		l := state.NewLayout(p)
		g, s := signal.New(p, l), l.Start(p)
		without, whole := 0, 0
		for bits := range 1 << len(arcs) {
			for i, k := range arcs {
				l.Set(s, p.Keyers[k].On, uint32(bits>>i&1))
			}
			g.Look(s)
			found := g.Loops()
			if len(found) == 0 {
				without++
			} else if len(found[0]) == n {
				whole++
			}
		}
		if got := [2]int{without, whole}; got != want {
			t.Errorf("%d nodes: %v without a circle and strongly connected, want %v", n, got, want)
		}
	}
}

// What a director sees on one bank, step by step.
func TestBank(t *testing.T) {
	m := simtest.New()
	wide, goal, card := m.Source("wide", "live"), m.Source("goal", "live"), m.Source("card", "still")
	main := m.Bank("main", wide, goal)
	logo := m.Keyer("logo", main, card)
	p := m.Done(t)
	l := state.NewLayout(p)
	b := p.Banks[main]
	for _, c := range []struct {
		name                          string
		doing, faded, keyed           uint32
		output, clean, preset, bottom string
	}{
		{"standing", program.NoTransition, 0, 0, "wide", "wide", "goal", "wide"},
		{"keyed", program.NoTransition, 0, 1, "wide card", "wide", "goal", "wide"},
		{"mixing", program.Mixing, 0, 0, "wide goal", "wide goal", "goal", "wide"},
		{"wiping, keyed", program.Wiping, 0, 1, "wide goal card", "wide goal", "goal", "wide"},
		{"on the way to black", program.FadingOut, 0, 0, "black wide", "black wide", "goal", "wide"},
		{"black", program.NoTransition, 1, 1, "black", "black", "goal", "black"},
		{"mixing under black", program.Mixing, 1, 0, "black", "black", "goal", "black"},
		{"on the way from black", program.FadingIn, 1, 1, "black wide card", "black wide", "goal", "wide"},
	} {
		s := l.Start(p)
		l.Set(s, b.Preset, 1)
		l.Set(s, b.Transition, c.doing)
		l.Set(s, b.Faded, c.faded)
		l.Set(s, p.Keyers[logo].On, c.keyed)
		g := signal.New(p, l)
		g.Look(s)
		name := func(node int32) string {
			var all []string
			g.At(node).Each(func(i int32) bool { all = append(all, p.Sources[i].Name); return true })
			return strings.Join(all, " ")
		}
		got := []string{name(b.Node), name(b.Clean), name(b.PresetNode), p.Sources[g.Base(b.Node)].Name}
		if want := []string{c.output, c.clean, c.preset, c.bottom}; !slices.Equal(got, want) {
			t.Errorf("%s: %q, want %q", c.name, got, want)
		}
	}
}

func TestNoPictureAtAll(t *testing.T) {
	m := simtest.New()
	open := m.Pass("open end", -1)
	a := m.Switch("a")
	b := m.Switch("b", m.Out(a))
	m.SwitchTakes(a, m.Out(b))
	p := m.Done(t)
	l := state.NewLayout(p)
	g := signal.New(p, l)
	g.Look(l.Start(p))
	for name, node := range map[string]int32{"none": -1, "open end": open, "no signal": 0, "a circle": m.Out(a)} {
		if g.At(node).Len() != 0 || g.Base(node) != 0 {
			t.Errorf("%s shows %v, bottom %d", name, list(g.At(node)), g.Base(node))
		}
	}
	if got := g.Loops(); len(got) != 1 || !slices.Equal(got[0], []int32{m.Out(a), m.Out(b)}) {
		t.Errorf("loops %v", got)
	}
}

// A random condition, as the compiled form and as the words of a condition
// language with its own machine.
type condition struct {
	m *simtest.Maker
	t *rapid.T
}

func (c *condition) add(n program.Cond) int32 {
	c.m.P.Conds = append(c.m.P.Conds, n)
	return int32(len(c.m.P.Conds) - 1)
}

func (c *condition) draw(depth int) (int32, string) {
	p := &c.m.P
	kind := rapid.IntRange(0, 7).Draw(c.t, "kind")
	if depth == 0 {
		kind = 3 + kind%5
	}
	below := func(what string, n int) int32 { return int32(rapid.IntRange(0, n-1).Draw(c.t, what)) }
	switch kind {
	case 0:
		l, x := c.draw(depth - 1)
		return c.add(program.Cond{Op: program.Not, L: l}), "not (" + x + ")"
	case 1, 2:
		l, x := c.draw(depth - 1)
		r, y := c.draw(depth - 1)
		if kind == 1 {
			return c.add(program.Cond{Op: program.And, L: l, R: r}), "(" + x + " and " + y + ")"
		}
		return c.add(program.Cond{Op: program.Or, L: l, R: r}), "(" + x + " or " + y + ")"
	case 3:
		return c.in(below("variable", len(p.Vars)))
	case 4:
		d, s := below("destination", len(p.Destinations)), 1+below("source", len(p.Sources)-1)
		return c.add(program.Cond{Op: program.Shows, A: d, B: s}), fmt.Sprintf("shows(%d, %d)", d, s)
	case 5:
		s := 1 + below("source", len(p.Sources)-1)
		return c.add(program.Cond{Op: program.SourceOnAir, A: s}), fmt.Sprintf("on_air(%d)", s)
	case 6:
		d, n := below("destination", len(p.Destinations)), below("node", len(p.Nodes))
		return c.add(program.Cond{Op: program.ShowsNode, A: d, B: n}), fmt.Sprintf("through(%d, %d)", d, n)
	}
	b := below("truth", 2)
	return c.add(program.Cond{Op: program.Const, A: b}), fmt.Sprint(b == 1)
}

func (c *condition) in(v int32) (int32, string) {
	size := max(c.m.P.Vars[v].Size, 1)
	set, words := make([]uint32, (size+31)/32), []string{}
	for x := range size {
		if rapid.Bool().Draw(c.t, "in") {
			set[x/32] |= 1 << (x % 32)
			words = append(words, fmt.Sprint(x))
		}
	}
	c.m.P.Sets = append(c.m.P.Sets, set)
	return c.add(program.Cond{Op: program.In, A: v, B: int32(len(c.m.P.Sets) - 1)}), fmt.Sprintf("(value(%d) in [%s])", v, strings.Join(words, ", "))
}

// A compiled condition holds when expr's machine says so of the same words,
// with shows and on_air worked out by plain reachability.
func TestConditionsAgainstExpr(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := simtest.Rack(t)
		m.Done(t) // sizes of variables, for sets
		top, words := (&condition{m, t}).draw(4)
		p := m.Done(t)
		l := state.NewLayout(p)
		s := simtest.State(t, p, l)
		r := newPlain(p, l, s, false)
		env := map[string]any{
			"value":   func(v int) int { return int(l.Get(s, int32(v))) },
			"shows":   func(d, x int) bool { return slices.Contains(r.pictures(p.Destinations[d].Node), int32(x)) },
			"on_air":  func(x int) bool { return slices.Contains(r.onAir(), int32(x)) },
			"through": func(d, n int) bool { return r.reachable(p.Destinations[d].Node)[int32(n)] },
		}
		want, err := expr.Eval(words, env)
		if err != nil {
			t.Fatal(err)
		}
		g := signal.New(p, l)
		g.Look(s)
		if got := g.Holds(top); got != want {
			t.Fatalf("%s is %v, want %v", words, got, want)
		}
	})
}

func TestNoConditionDoesNotHold(t *testing.T) {
	p := simtest.New().Done(t)
	l := state.NewLayout(p)
	g := signal.New(p, l)
	g.Look(l.Start(p))
	if g.Holds(-1) {
		t.Error("no condition holds")
	}
}

func TestSet(t *testing.T) {
	a, b := signal.Set{1 << 3, 1}, signal.Set{1 << 3}
	if !a.Has(3) || !a.Has(64) || a.Has(-1) || a.Has(4) || a.Has(500) {
		t.Error("Has")
	}
	if a.Len() != 2 || !slices.Equal(list(a), []int32{3, 64}) {
		t.Error("Len, Each")
	}
	if a.Equal(b) || b.Equal(a) || !b.Equal(signal.Set{1 << 3, 0}) || b.Equal(signal.Set{1 << 4}) {
		t.Error("Equal")
	}
	if !a.Intersects(b) || b.Intersects(signal.Set{1, 1}) {
		t.Error("Intersects")
	}
	n := 0
	a.Each(func(int32) bool { n++; return false })
	if n != 1 {
		t.Error("Each goes on when told to stop")
	}
}

// busy is a rack of a size that is really wheeled in: 24 cameras, 4 banks in
// a row, a router of 40 by 40.
func busy(tb testing.TB) *program.Program {
	m := simtest.New()
	var cams []int32
	for i := range 24 {
		cams = append(cams, m.Source(fmt.Sprint("cam", i), "live"))
	}
	ins := slices.Clone(cams)
	for i := range 4 {
		b := m.Bank(fmt.Sprint("bank", i), ins...)
		m.Keyer(fmt.Sprint("key", i), b, cams[i])
		ins = append(ins, m.BankOut(b))
	}
	for i := range 40 {
		m.Destination(fmt.Sprint("screen", i), m.Out(m.Switch(fmt.Sprint("router.", i), ins...)), program.AlwaysOnAir)
	}
	return m.Done(tb)
}

func TestALookDoesNotAllocate(t *testing.T) {
	p := busy(t)
	l := state.NewLayout(p)
	g, s := signal.New(p, l), l.Start(p)
	buf := make([]int32, 0, 8)
	if n := testing.AllocsPerRun(100, func() {
		g.Look(s)
		_ = g.OnAir()
		_, _, _, buf = g.Loops(), g.Base(p.Destinations[3].Node), g.Through(p.Destinations[3].Node, 0), g.Upstream(p.Banks[0].Node, buf[:0])
	}); n != 0 {
		t.Errorf("%v allocations a look", n)
	}
}

func BenchmarkLookOnAir(b *testing.B) {
	p := busy(b)
	l := state.NewLayout(p)
	g, s := signal.New(p, l), l.Start(p)
	b.ReportAllocs()
	for b.Loop() {
		g.Look(s)
		_ = g.OnAir()
	}
}

func BenchmarkLoops(b *testing.B) {
	p := busy(b)
	l := state.NewLayout(p)
	g, s := signal.New(p, l), l.Start(p)
	b.ReportAllocs()
	for b.Loop() {
		g.Look(s)
		_ = g.Loops()
	}
}
