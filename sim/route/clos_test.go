package route_test

import (
	"fmt"
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"

	"gonum.org/v1/gonum/graph/network"
	"gonum.org/v1/gonum/graph/simple"
	"pgregory.net/rapid"
)

// clos is a three-stage rack (C. Clos, A study of non-blocking switching
// networks, 1953): r ingress frames of n inlets, m middle frames, r egress
// frames of n outlets, one tie line from each frame to each of the next stage.
type clos struct {
	*rig
	n, m, r int
	source  [][]int32 // by ingress and inlet: node
	up      [][]int32 // by ingress and middle: switch
	across  [][]int32 // by middle and egress: switch
	down    [][]int32 // by egress and outlet: switch
	upEnd   [][]int32
	downEnd [][]int32
	idle    int32
}

func newClos(tb testing.TB, n, m, r int) *clos {
	k, c := simtest.New(), &clos{n: n, m: m, r: r}
	c.idle = k.Source("idle", "still")
	grid := func(rows, columns int, make func(i, j int) int32) [][]int32 {
		all := [][]int32{}
		for i := range rows {
			var row []int32
			for j := range columns {
				row = append(row, make(i, j))
			}
			all = append(all, row)
		}
		return all
	}
	column := func(all [][]int32, j int) (of []int32) {
		for _, row := range all {
			of = append(of, row[j])
		}
		return of
	}
	c.source = grid(r, n, func(i, j int) int32 { return k.Source(fmt.Sprintf("in%d.%d", i, j), "live") })
	c.up = grid(r, m, func(i, j int) int32 { return k.Switch(fmt.Sprintf("up%d.%d", i, j), c.source[i]...) })
	c.upEnd = grid(r, m, func(i, j int) int32 { return k.Tie(fmt.Sprintf("rise%d.%d", i, j), c.up[i][j]) })
	c.across = grid(m, r, func(i, j int) int32 { return k.Switch(fmt.Sprintf("middle%d.%d", i, j), column(c.upEnd, i)...) })
	c.downEnd = grid(m, r, func(i, j int) int32 { return k.Tie(fmt.Sprintf("fall%d.%d", i, j), c.across[i][j]) })
	c.down = grid(r, n, func(i, j int) int32 {
		sw := k.Switch(fmt.Sprintf("out%d.%d", i, j), append([]int32{c.idle}, column(c.downEnd, i)...)...)
		k.Destination(fmt.Sprintf("screen%d.%d", i, j), k.Out(sw), program.AlwaysOnAir)
		return sw
	})
	c.rig = newRig(k.Done(tb))
	return c
}

// states calls visit with every state of the links: for each middle frame,
// which ingress is joined to which egress (-1 for none), no frame with more
// than n connections.
func (c *clos) states(visit func(joined [][]int)) {
	joined := make([][]int, c.m)
	for k := range joined {
		joined[k] = slices.Repeat([]int{-1}, c.r)
	}
	out, in := make([]int, c.r), make([]int, c.r)
	var fill func(at int)
	fill = func(at int) {
		if at == c.m*c.r {
			visit(joined)
			return
		}
		k, i := at/c.r, at%c.r
		joined[k][i] = -1
		fill(at + 1)
		for j := range c.r {
			if out[i] < c.n && in[j] < c.n && !slices.Contains(joined[k], j) {
				joined[k][i] = j
				out[i]++
				in[j]++
				fill(at + 1)
				out[i]--
				in[j]--
				joined[k][i] = -1
			}
		}
	}
	fill(0)
}

// set puts the rack in a state; inlets and outlets are used from the first.
func (c *clos) set(joined [][]int) (usedIn, usedOut []int) {
	usedIn, usedOut = make([]int, c.r), make([]int, c.r)
	for j := range c.r {
		for o := range c.n {
			c.l.Set(c.s, c.p.Switches[c.down[j][o]].Var, 0) // idle
		}
	}
	for k, row := range joined {
		for i, j := range row {
			if j < 0 {
				continue
			}
			c.l.Set(c.s, c.p.Switches[c.up[i][k]].Var, uint32(usedIn[i]))
			c.l.Set(c.s, c.p.Switches[c.across[k][j]].Var, uint32(i))
			c.l.Set(c.s, c.p.Switches[c.down[j][usedOut[j]]].Var, uint32(1+k))
			usedIn[i]++
			usedOut[j]++
		}
	}
	c.g.Look(c.s)
	return usedIn, usedOut
}

// The counts were made by listing all states of the links with a program of
// its own, and agree with the theorems: never blocked iff m >= 2n-1 (Clos
// 1953), always possible by moving iff m >= n (Slepian, Duguid; both in Dally
// and Towles, Principles and Practices of Interconnection Networks, ch. 6).
func TestClos(t *testing.T) {
	for _, c := range []struct{ n, m, r, states, blocked, moves, impossible int }{
		{2, 1, 2, 7, 20, 0, 20},
		{2, 2, 2, 49, 8, 1, 0},
		{2, 3, 2, 187, 0, 0, 0},
		{2, 2, 3, 1156, 648, 2, 0},
		{3, 3, 2, 343, 96, 1, 0},
		{3, 4, 2, 1685, 24, 1, 0},
		{3, 5, 2, 6211, 0, 0, 0},
		{2, 3, 3, 10873, 0, 0, 0},
		{3, 3, 3, 39304, 40824, 2, 0},
		{2, 2, 4, 43681, 48672, 3, 0},
	} {
		if c.states > 2000 && testing.Short() {
			continue
		}
		rack := newClos(t, c.n, c.m, c.r)
		states, blocked, moves, impossible := 0, 0, 0, 0
		rack.states(func(joined [][]int) {
			states++
			usedIn, usedOut := rack.set(joined)
			for i := range c.r {
				for j := range c.r {
					if usedIn[i] == c.n || usedOut[j] == c.n {
						continue
					}
					_, no := rack.f.Find(rack.s, rack.g, rack.p.Switches[rack.down[j][usedOut[j]]].Node, rack.source[i][usedIn[i]])
					if no == nil {
						continue
					}
					blocked++
					if moves = max(moves, len(no.Moves)); len(no.Core) > 0 {
						impossible++
					} else if len(no.Moves) == 0 {
						t.Fatalf("neither moves nor a smallest set: %+v", no)
					}
				}
			}
		})
		if states != c.states || blocked != c.blocked || moves != c.moves || impossible != c.impossible {
			t.Errorf("n %d, m %d, r %d: %d states, %d blocked, %d moves, %d impossible; want %+v", c.n, c.m, c.r, states, blocked, moves, impossible, c)
		}
	}
}

// Between two frames, as many different pictures fit as gonum's maximum flow
// says; the next one is refused, and all of them together are the smallest
// set that does not fit.
func TestExhaustionIsMaximumFlow(t *testing.T) {
	for lines := 1; lines <= 6; lines++ {
		m := simtest.New()
		var cams, ends, screens []int32
		for i := range lines + 2 {
			cams = append(cams, m.Source(fmt.Sprint("cam", i), "live"))
		}
		for i := range lines {
			ends = append(ends, m.Tie(fmt.Sprint("line", i), m.Switch(fmt.Sprint("router.", i), cams...)))
		}
		for i := range lines + 2 {
			sw := m.Switch(fmt.Sprint("aux", i), append([]int32{1}, ends...)...)
			screens = append(screens, m.Destination(fmt.Sprint("screen", i), m.Out(sw), program.AlwaysOnAir))
		}
		r := newRig(m.Done(t))

		routed := 0
		for i, d := range screens {
			plan, no := r.f.Find(r.s, r.g, r.p.Destinations[d].Node, cams[i])
			if no != nil {
				if want := append(slices.Clone(screens[:routed]), d); !slices.Equal(no.Core, want) || len(no.Holders) != lines {
					t.Errorf("%d lines: the smallest set is %v (%v in the way), want %v", lines, no.Core, no.Holders, want)
				}
				break
			}
			r.follow(plan)
			routed++
		}
		if want := flow(r.p); routed != want {
			t.Errorf("%d lines: %d pictures fit, the maximum flow is %d", lines, routed, want)
		}
	}
}

// flow is the maximum flow from all live sources to all destinations, each
// switch good for one picture: it is split into an entry and an exit.
func flow(p *program.Program) int {
	graph := simple.NewWeightedDirectedGraph(0, 0)
	exit := func(n int32) int64 { return int64(2*n + 1) }
	join := func(a, b int64, w float64) {
		graph.SetWeightedEdge(graph.NewWeightedEdge(simple.Node(a), simple.Node(b), w))
	}
	all := int64(2 * len(p.Nodes)) // gonum wants numbers without gaps
	for n, x := range p.Nodes {
		join(int64(2*n), exit(int32(n)), 1)
		for _, up := range x.Up {
			join(exit(up), int64(2*n), 1)
		}
	}
	for _, s := range p.Sources {
		if s.Picture == "live" {
			join(all, int64(2*s.Node), 1)
		}
	}
	for _, d := range p.Destinations {
		join(exit(d.Node), all+1, 1)
	}
	return int(network.MaxFlowDinic(graph, simple.Node(all), simple.Node(all+1), 1e-9))
}

// tight is a rack with few tie lines in two stages, where routes get in each
// other's way: small enough to try every setting of its switches.
func tight(t *rapid.T) *rig {
	m := simtest.New()
	var cams []int32
	for i := range rapid.IntRange(2, 4).Draw(t, "cameras") {
		cams = append(cams, m.Source(fmt.Sprint("cam", i), "live"))
	}
	some := func(of []int32, least int, what string) []int32 {
		return rapid.SliceOfNDistinct(rapid.SampledFrom(of), least, min(3, len(of)), func(n int32) int32 { return n }).Draw(t, what)
	}
	var ends []int32
	for i := range rapid.IntRange(1, 3).Draw(t, "lines") {
		ends = append(ends, m.Tie(fmt.Sprint("line", i), m.Switch(fmt.Sprint("router.", i), some(append(slices.Clone(cams), ends...), 2, "takes")...)))
	}
	for i := range rapid.IntRange(2, 4).Draw(t, "screens") {
		m.Destination(fmt.Sprint("screen", i), m.Out(m.Switch(fmt.Sprint("aux", i), some(ends, min(2, len(ends)), "takes")...)), program.AlwaysOnAir)
	}
	if rapid.Bool().Draw(t, "bank") {
		m.Bank("main", some(ends, 1, "takes")...)
	}
	r := newRig(m.Done(t))
	r.s = simtest.State(t, r.p, r.l)
	r.g.Look(r.s)
	return r
}

// settings calls visit with every setting of the switches that leaves those
// in keep alone, until it says false.
func settings(r *rig, keep map[int32]bool, visit func() bool) {
	was := r.s.Clone()
	defer func() { r.s.CopyFrom(was); r.g.Look(r.s) }()
	var turn func(sw int) bool
	turn = func(sw int) bool {
		if sw == len(r.p.Switches) {
			r.g.Look(r.s)
			return visit()
		}
		if keep[int32(sw)] {
			return turn(sw + 1)
		}
		for i := range r.p.Switches[sw].Picks {
			r.l.Set(r.s, r.p.Switches[sw].Var, uint32(i))
			if !turn(sw + 1) {
				return false
			}
		}
		return true
	}
	turn(0)
}

// smallest is the smallest set of the things, as bits, that is good, and its
// size; -1 for none.
func smallest(n int, good func(bits int) bool) int {
	best := -1
	for bits := range 1 << n {
		if size := count(bits); (best < 0 || size < best) && good(bits) {
			best = size
		}
	}
	return best
}

func count(bits int) int {
	n := 0
	for ; bits > 0; bits &= bits - 1 {
		n++
	}
	return n
}

// The smallest set that cannot be, and the fewest moves, are as small as
// trying every setting of every switch says.
func TestReasonsAgainstEverySetting(t *testing.T) {
	reasons := 0
	rapid.Check(t, func(t *rapid.T) {
		r := tight(t)
		d := rapid.IntRange(0, len(r.p.Destinations)-1).Draw(t, "destination")
		cam := r.p.Sources[rapid.IntRange(2, len(r.p.Sources)-1).Draw(t, "picture")].Node
		_, no := r.f.Find(r.s, r.g, r.p.Destinations[d].Node, cam)
		if no == nil || no.NoPath {
			return
		}
		reasons++
		own := chain(r, r.p.Destinations[d].Node)[0]
		wants := map[int]int32{}
		for i, x := range r.p.Destinations {
			wants[i] = r.g.Origin(x.Node)
		}
		wants[d] = cam
		bank := map[int32]bool{}
		for _, b := range r.p.Banks {
			for _, v := range []int32{b.Program, b.Preset} {
				for _, sw := range chain(r, b.Picks[r.l.Get(r.s, v)].Node) {
					bank[sw] = true
				}
			}
		}
		fit := func(bits int, keep map[int32]bool) bool {
			ok := false
			settings(r, keep, func() bool {
				ok = true
				for i, x := range r.p.Destinations {
					ok = ok && (bits>>i&1 == 0 || r.g.Origin(x.Node) == wants[i])
				}
				return !ok
			})
			return ok
		}
		core := smallest(len(wants), func(bits int) bool { return bits>>d&1 == 1 && !fit(bits, bank) })
		if got := len(no.Core); got != max(core, 0) || got > 0 && !slices.Contains(no.Core, int32(d)) {
			t.Fatalf("the smallest set is %v, want %d of them", no.Core, core)
		}
		moves := smallest(len(wants), func(moved int) bool {
			if moved>>d&1 == 1 {
				return false
			}
			keep := map[int32]bool{}
			for sw := range bank {
				keep[sw] = true
			}
			for i, x := range r.p.Destinations {
				if i != d && moved>>i&1 == 0 {
					for _, sw := range chain(r, x.Node) {
						keep[sw] = true
					}
				}
			}
			delete(keep, own)
			return fit(1<<len(wants)-1, keep)
		})
		if got := len(no.Moves); got != max(moves, 0) {
			t.Fatalf("moves %v, want %d of them", no.Moves, moves)
		}
	})
	if reasons == 0 {
		t.Error("no rack refused anything: this test looked at nothing")
	}
	t.Logf("%d refusals", reasons)
}

// big is the rack of a large event: three frames of 128 by 128, 16 tie lines
// between each two, 128 places.
func big(tb testing.TB) (*rig, []int32) {
	m := simtest.New()
	var cams []int32
	for i := range 112 {
		cams = append(cams, m.Source(fmt.Sprint("cam", i), "live"))
	}
	in := cams
	for stage := range 2 {
		ends := []int32{1}
		for i := range 16 {
			ends = append(ends, m.Tie(fmt.Sprint("line", stage, ".", i), m.Switch(fmt.Sprint("frame", stage, ".", i), in...)))
		}
		in = ends
	}
	for i := range 128 {
		m.Destination(fmt.Sprint("screen", i), m.Out(m.Switch(fmt.Sprint("out", i), in...)), program.AlwaysOnAir)
	}
	return newRig(m.Done(tb)), cams
}

func TestABigRackFillsUp(t *testing.T) {
	r, cams := big(t)
	for i := range 16 {
		plan, no := r.f.Find(r.s, r.g, r.p.Destinations[i].Node, cams[i])
		if no != nil {
			t.Fatalf("picture %d refused: %+v", i, no)
		}
		r.follow(plan)
	}
	_, no := r.f.Find(r.s, r.g, r.p.Destinations[20].Node, cams[20])
	if no == nil || len(no.Holders) != 16 || len(no.Core) != 17 {
		t.Fatalf("17 pictures over 16 lines: %+v", no)
	}
	if plan, no := r.f.Find(r.s, r.g, r.p.Destinations[21].Node, cams[7]); no != nil || len(plan.Points) != 3 {
		t.Errorf("a picture that is over already is shared: %+v %+v", plan, no)
	}
}

func BenchmarkFind(b *testing.B) {
	h := newHall(b)
	b.ReportAllocs()
	for b.Loop() {
		h.find(h.left, h.goal)
	}
}

func BenchmarkRefuse(b *testing.B) {
	h := newHall(b)
	h.set(h.p.Banks[h.main].Program, 1)
	h.point(h.out2, h.goal)
	h.point(h.aux2, h.line2)
	b.ReportAllocs()
	for b.Loop() {
		h.find(h.left, h.slides)
	}
}

func BenchmarkFindBig(b *testing.B) {
	r, cams := big(b)
	b.ReportAllocs()
	for b.Loop() {
		r.f.Find(r.s, r.g, r.p.Destinations[5].Node, cams[3])
	}
}

func BenchmarkRefuseBig(b *testing.B) {
	r, cams := big(b)
	for i := range 16 {
		plan, _ := r.f.Find(r.s, r.g, r.p.Destinations[i].Node, cams[i])
		r.follow(plan)
	}
	b.ReportAllocs()
	for b.Loop() {
		r.f.Find(r.s, r.g, r.p.Destinations[20].Node, cams[20])
	}
}
