package route_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/state"

	"gonum.org/v1/gonum/graph/path"
	"gonum.org/v1/gonum/graph/simple"
	"pgregory.net/rapid"
)

// rig is a rack in a state, with what is needed to route in it.
type rig struct {
	p *program.Program
	l *state.Layout
	s *state.State
	g *signal.Graph
	f *route.Finder
}

func newRig(p *program.Program) *rig {
	l := state.NewLayout(p)
	r := &rig{p, l, l.Start(p), signal.New(p, l), route.New(p, l)}
	r.g.Look(r.s)
	return r
}

func (r *rig) set(v int32, value int) { r.l.Set(r.s, v, uint32(value)); r.g.Look(r.s) }

// point sets a switch to the first pick that is a node.
func (r *rig) point(sw, node int32) {
	r.set(r.p.Switches[sw].Var, slices.IndexFunc(r.p.Switches[sw].Picks, func(x program.Pick) bool { return x.Node == node }))
}

func (r *rig) follow(plan route.Plan) {
	for _, pt := range plan.Points {
		r.set(r.p.Switches[pt.Switch].Var, int(pt.Pick))
	}
}

// names are what a plan says, for people: "router.1=wide aux1=line1".
func (r *rig) names(plan route.Plan) string {
	text := ""
	for _, pt := range plan.Points {
		sw := r.p.Switches[pt.Switch]
		text += fmt.Sprintf("%s=%s ", sw.Name, r.p.Nodes[sw.Picks[pt.Pick].Node].Label)
	}
	return text
}

// hall is a router with two tie lines to a mixer: two auxes with a screen
// each, a bank, and a recorder on its own router output.
type hall struct {
	*rig
	wide, goal, slides, idle     int32 // nodes of pictures; idle is the mixer's own
	out1, out2, aux1, aux2, out3 int32 // switches
	line1, line2                 int32 // nodes
	left, right                  int32 // destinations
	main                         int32
}

func newHall(t testing.TB) *hall {
	m, h := simtest.New(), &hall{}
	h.wide, h.goal, h.slides, h.idle = m.Source("wide", "live"), m.Source("goal", "live"), m.Source("slides", "live"), m.Source("idle", "still")
	in := []int32{h.wide, h.goal, m.Pass("converter", h.slides)}
	h.out1, h.out2, h.out3 = m.Switch("router.1", in...), m.Switch("router.2", in...), m.Switch("router.3", in...)
	h.line1, h.line2 = m.Tie("line1", h.out1), m.Tie("line2", h.out2)
	h.aux1, h.aux2 = m.Switch("aux1", h.idle, h.line1, h.line2), m.Switch("aux2", h.idle, h.line1, h.line2)
	h.left, h.right = m.Destination("left", m.Out(h.aux1), program.AlwaysOnAir), m.Destination("right", m.Pass("right cable", m.Out(h.aux2)), program.AlwaysOnAir)
	h.main = m.Bank("main", h.idle, h.line1)
	m.Recorder("iso", m.Out(h.out3))
	h.rig = newRig(m.Done(t))
	return h
}

func (h *hall) find(destination, picture int32) (route.Plan, *route.Refusal) {
	return h.f.Find(h.s, h.g, h.p.Destinations[destination].Node, picture)
}

func TestFind(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(*hall)
		to   string
		from string
		want string
	}{
		{"the first free line", nil, "left", "goal", "router.1=goal aux1=line1 end "},
		{"through a converter", nil, "left", "slides", "router.1=converter aux1=line1 end "},
		{"no line is needed", nil, "left", "idle", "aux1=idle "},
		{"a line that carries it is shared", func(h *hall) { h.point(h.out2, h.goal); h.point(h.aux2, h.line2) }, "left", "goal", "router.2=goal aux1=line2 end "},
		{"a held line is left alone", func(h *hall) { h.point(h.aux2, h.line1) }, "left", "goal", "router.2=goal aux1=line2 end "},
		{"held by program", func(h *hall) { h.set(h.p.Banks[h.main].Program, 1) }, "left", "goal", "router.2=goal aux1=line2 end "},
		{"held by preset", func(h *hall) { h.set(h.p.Banks[h.main].Preset, 1) }, "left", "goal", "router.2=goal aux1=line2 end "},
		{"its own line is its own to change", func(h *hall) { h.point(h.aux1, h.line1); h.point(h.aux2, h.line2) }, "left", "goal", "router.1=goal aux1=line1 end "},
		{"what stands is said too", func(h *hall) { h.point(h.out1, h.goal); h.point(h.aux1, h.line1) }, "left", "goal", "router.1=goal aux1=line1 end "},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHall(t)
			if c.set != nil {
				c.set(h)
			}
			to := map[string]int32{"left": h.left, "right": h.right}[c.to]
			from := map[string]int32{"goal": h.goal, "slides": h.slides, "idle": h.idle}[c.from]
			plan, no := h.find(to, from)
			if no != nil || h.names(plan) != c.want {
				t.Errorf("got %q (%+v), want %q", h.names(plan), no, c.want)
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	h := newHall(t)
	h.set(h.p.Banks[h.main].Program, 1) // line1 carries wide
	h.point(h.out2, h.goal)
	h.point(h.aux2, h.line2)
	_, no := h.find(h.left, h.slides)
	if no == nil || no.NoPath || !slices.Equal(no.Holders, []int32{0, 1}) || !slices.Equal(no.Routes, []int32{h.right}) || !slices.Equal(no.Banks, []int32{h.main}) {
		t.Fatalf("refused as %+v", no)
	}
	if !slices.Equal(no.Core, []int32{h.left, h.right}) || no.Moves != nil {
		t.Errorf("the bank keeps one line, so the two screens cannot share the other: %+v", no)
	}
	if _, no := h.find(h.left, h.p.Banks[h.main].Node); no == nil || !no.NoPath {
		t.Errorf("the bank is cabled to no aux: %+v", no)
	}
	if plan, no := h.find(h.right, h.goal); no != nil || len(plan.Points) != 2 || !slices.Equal(plan.Ties, []int32{1}) {
		t.Errorf("what stands stays: %+v %+v", plan, no)
	}
}

func TestTie(t *testing.T) {
	h := newHall(t)
	h.point(h.aux2, h.line1) // right holds it
	plan, no := h.f.Tie(h.s, h.g, 0, h.slides)
	if no != nil || h.names(plan) != "router.1=converter " {
		t.Errorf("a tie line is pointed whoever holds it: %q %+v", h.names(plan), no)
	}
	if _, no := h.f.Tie(h.s, h.g, 0, h.idle); no == nil || !no.NoPath {
		t.Errorf("the mixer's own still cannot get to the router: %+v", no)
	}
}

func TestCabledDirectly(t *testing.T) {
	m := simtest.New()
	cam := m.Source("cam", "live")
	d := m.Destination("screen", m.Pass("cable", cam), program.AlwaysOnAir)
	open := m.Destination("dark", m.Pass("nothing plugged in", -1), program.AlwaysOnAir)
	r := newRig(m.Done(t))
	if plan, no := r.f.Find(r.s, r.g, r.p.Destinations[d].Node, cam); no != nil || len(plan.Points) != 0 {
		t.Errorf("a cable needs no crosspoint: %+v %+v", plan, no)
	}
	for _, at := range []int32{d, open} {
		if _, no := r.f.Find(r.s, r.g, r.p.Destinations[at].Node, 1); no == nil || !no.NoPath {
			t.Errorf("black cannot get to %d: %+v", at, no)
		}
	}
}

// Two lines, and one line that both go into: "late" alone is enough to keep
// "asked" out, though "one" and "two" are too, together. None of these two
// can be left out; yet the set with "late" is smaller.
func TestTheSmallestSetIsNotJustOneThatIsTight(t *testing.T) {
	m := simtest.New()
	x, y, z := m.Source("x", "live"), m.Source("y", "live"), m.Source("z", "live")
	a, b := m.Switch("a", x, y, z), m.Switch("b", x, y, z)
	lineA, lineB := m.Tie("line a", a), m.Tie("line b", b)
	both := m.Switch("both", lineA, lineB)
	line := m.Tie("line", both)
	screen := func(name string, of ...int32) int32 {
		return m.Destination(name, m.Out(m.Switch("for "+name, of...)), program.AlwaysOnAir)
	}
	asked := screen("asked", 1, line)
	screen("one", lineA)
	screen("two", lineB)
	late := screen("late", line)
	r := newRig(m.Done(t))
	r.point(a, y)
	r.point(b, z)
	_, no := r.f.Find(r.s, r.g, r.p.Destinations[asked].Node, x)
	if no == nil || !slices.Equal(no.Core, []int32{asked, late}) || !slices.Equal(no.Holders, []int32{2}) {
		t.Errorf("%+v", no)
	}
}

func TestCrosspointsOfOneRoute(t *testing.T) {
	h := newHall(t)
	h.p.Actions = []program.Action{{Verb: program.Route, A: h.left, B: h.goal, Device: -1}, {Verb: program.RouteTie, A: 1, B: h.slides, Device: -1}}
	want := []program.Command{
		{Verb: program.Crosspoint, A: h.out1, B: 1},
		{Verb: program.Crosspoint, A: h.out2, B: 1}, {Verb: program.Crosspoint, A: h.out2, B: 2},
		{Verb: program.Crosspoint, A: h.aux1, B: 1}, {Verb: program.Crosspoint, A: h.aux1, B: 2},
	}
	slices.SortFunc(want, func(a, b program.Command) int { return cmp.Or(cmp.Compare(a.A, b.A), cmp.Compare(a.B, b.B)) })
	if got := h.f.Crosspoints(); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// root is a place that holds what it shows, written down plainly.
func roots(r *rig) (all []int32) {
	for _, d := range r.p.Destinations {
		all = append(all, d.Node)
	}
	for _, in := range r.p.Inputs {
		all = append(all, in.Node)
	}
	for _, b := range r.p.Banks {
		all = append(all, b.Picks[r.l.Get(r.s, b.Program)].Node, b.Picks[r.l.Get(r.s, b.Preset)].Node)
	}
	for _, k := range r.p.Keyers {
		all = append(all, k.Fill)
	}
	return all
}

// chain are the switches that a node's picture comes through now, from the
// node up.
func chain(r *rig, node int32) (all []int32) {
	for range r.p.Nodes {
		switch n := r.p.Nodes[node]; {
		case n.Kind == program.SwitchNode:
			all = append(all, n.Owner)
			node = n.Up[r.l.Get(r.s, r.p.Switches[n.Owner].Var)]
		case n.Kind == program.PassNode && len(n.Up) > 0:
			node = n.Up[0]
		default:
			return all
		}
	}
	return all
}

// heldFor are the switches that something else than own depends on.
func heldFor(r *rig, own int32) map[int32]bool {
	held := map[int32]bool{}
	for _, n := range roots(r) {
		for _, sw := range chain(r, n) {
			if sw == own {
				break
			}
			held[sw] = true
		}
	}
	return held
}

// way is one way of the reference: every one is listed.
type way struct {
	points  []route.Point // from the destination up
	changes int
}

func everyWay(r *rig, node, picture int32, so way, seen map[int32]bool, visit func(way)) {
	n := r.p.Nodes[node]
	switch {
	case node == picture:
		visit(so)
	case n.Kind == program.PassNode && len(n.Up) > 0:
		everyWay(r, n.Up[0], picture, so, seen, visit)
	case n.Kind == program.SwitchNode && !seen[n.Owner]:
		seen[n.Owner] = true
		for i, up := range n.Up {
			next := way{append(slices.Clone(so.points), route.Point{Switch: n.Owner, Pick: int32(i)}), so.changes}
			if int(r.l.Get(r.s, r.p.Switches[n.Owner].Var)) != i {
				next.changes++
			}
			everyWay(r, up, picture, next, seen, visit)
		}
		delete(seen, n.Owner)
	}
}

// best is the way that route promises, found by listing all of them.
func best(r *rig, to, picture int32) (best *way, any bool) {
	own := int32(-1)
	if up := chain(r, to); len(up) > 0 {
		own = up[0]
	}
	held := heldFor(r, own)
	everyWay(r, to, picture, way{}, map[int32]bool{}, func(w way) {
		any = true
		for _, pt := range w.points {
			if pt.Switch != own && held[pt.Switch] && int32(r.l.Get(r.s, r.p.Switches[pt.Switch].Var)) != pt.Pick {
				return
			}
		}
		if best == nil || cmp.Or(cmp.Compare(len(w.points), len(best.points)), cmp.Compare(w.changes, best.changes)) < 0 {
			best = &w
		}
	})
	return best, any
}

// drawn is a random rack in a random state, and a route to ask for.
func drawn(t *rapid.T) (r *rig, to, picture int32) {
	r = newRig(simtest.Rack(t).Done(t))
	r.s = simtest.State(t, r.p, r.l)
	r.g.Look(r.s)
	var pictures []int32
	for n, x := range r.p.Nodes {
		if x.Kind != program.PassNode && x.Kind != program.SwitchNode {
			pictures = append(pictures, int32(n))
		}
	}
	return r, rapid.SampledFrom(r.p.Destinations).Draw(t, "to").Node, rapid.SampledFrom(pictures).Draw(t, "picture")
}

// On any rack in any state, the way is the best of all ways there are; a
// refusal means there is none; and following it brings the picture there and
// changes nothing that does not come through the destination's own switch.
func TestAgainstEveryWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, to, picture := drawn(t)
		want, any := best(r, to, picture)
		plan, no := r.f.Find(r.s, r.g, to, picture)
		if (no == nil) != (want != nil) {
			t.Fatalf("refused %+v, and the best way is %+v", no, want)
		}
		if no != nil {
			if no.NoPath == any || r.f.NoPath(to, picture) == any {
				t.Fatalf("no path is %v, and there is one: %v", no.NoPath, any)
			}
			return
		}
		got := slices.Clone(plan.Points)
		slices.Reverse(got)
		if !slices.Equal(got, want.points) {
			t.Fatalf("went %v, the best is %v", got, want.points)
		}
		undisturbed(t, r, to, picture, plan)
	})
}

func undisturbed(t *rapid.T, r *rig, to, picture int32, plan route.Plan) {
	own := int32(-1)
	if up := chain(r, to); len(up) > 0 {
		own = up[0]
	}
	type shown struct{ node, origin int32 }
	var before []shown
	for _, n := range roots(r) {
		if !slices.Contains(chain(r, n), own) {
			before = append(before, shown{n, r.g.Origin(n)})
		}
	}
	r.follow(plan)
	if got := r.g.Origin(to); got != picture {
		t.Fatalf("after the route the destination shows %d, not %d", got, picture)
	}
	for _, b := range before {
		if got := r.g.Origin(b.node); got != b.origin {
			t.Fatalf("node %d was disturbed: from %d to %d", b.node, b.origin, got)
		}
	}
}

// Where nothing is held, a way is as short as gonum's shortest path.
func TestLengthsAgainstDijkstra(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, to, picture := drawn(t)
		r.p.Banks, r.p.Keyers, r.p.Inputs = nil, nil, nil // nothing that holds
		r.p.Destinations = []program.Destination{{Node: to}}
		plan, no := route.New(r.p, r.l).Find(r.s, r.g, to, picture)

		graph := simple.NewWeightedDirectedGraph(0, -1)
		for n := range r.p.Nodes {
			graph.AddNode(simple.Node(n))
		}
		for n, x := range r.p.Nodes {
			cost := map[program.NodeKind]float64{program.PassNode: 0, program.SwitchNode: 1}
			if w, carries := cost[x.Kind]; carries {
				for _, up := range x.Up {
					if int(up) != n {
						graph.SetWeightedEdge(graph.NewWeightedEdge(simple.Node(up), simple.Node(n), w))
					}
				}
			}
		}
		shortest := path.DijkstraFrom(simple.Node(picture), graph)
		want := shortest.WeightTo(int64(to))
		if no == nil && float64(len(plan.Points)) != want || no != nil && (!no.NoPath || !math.IsInf(want, 1)) {
			t.Fatalf("%d crosspoints (%+v), the shortest path has %v", len(plan.Points), no, want)
		}
	})
}

// Every crosspoint that a route of the program sends, in any state, is one of
// those that are rendered ahead.
func TestCrosspointsAreKnownAhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, _, picture := drawn(t)
		d := int32(rapid.IntRange(0, len(r.p.Destinations)-1).Draw(t, "destination"))
		r.p.Actions = append(r.p.Actions, program.Action{Verb: program.Route, A: d, B: picture, Device: -1})
		if len(r.p.Ties) > 0 {
			r.p.Actions = append(r.p.Actions, program.Action{Verb: program.RouteTie, A: 0, B: picture, Device: -1})
		}
		ahead := r.f.Crosspoints()
		if !slices.IsSortedFunc(ahead, func(a, b program.Command) int { return cmp.Or(cmp.Compare(a.A, b.A), cmp.Compare(a.B, b.B)) }) {
			t.Fatal("not in order")
		}
		known := func(plan route.Plan) {
			for _, pt := range plan.Points {
				if !slices.Contains(ahead, program.Command{Verb: program.Crosspoint, A: pt.Switch, B: pt.Pick}) {
					t.Fatalf("%v is not known ahead", pt)
				}
			}
		}
		plan, _ := r.f.Find(r.s, r.g, r.p.Destinations[d].Node, picture)
		known(plan)
		if len(r.p.Ties) > 0 {
			plan, _ = r.f.Tie(r.s, r.g, 0, picture)
			known(plan)
		}
	})
}
