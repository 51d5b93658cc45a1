package compare_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/compare"
	"cuewright/sim/simtest"

	"pgregory.net/rapid"
)

// clos is a three-stage rack (C. Clos, A study of non-blocking switching
// networks, 1953): r ingress frames of n inlets, m middle frames, r egress
// frames of n outlets, one tie line from each frame to each of the next stage.
// The show routes inlet to[o] to outlet o.
func clos(t simtest.Test, n, m, r int, to []int) *program.Program {
	k := simtest.New()
	inlets, rise, fall := make([][]int32, r), make([][]int32, m), make([][]int32, r)
	var all []int32
	for i := range r {
		for j := range n {
			inlets[i] = append(inlets[i], k.Source(fmt.Sprintf("in%d.%d", i, j), "live"))
		}
		all = append(all, inlets[i]...)
		for j := range m {
			rise[j] = append(rise[j], k.Tie(fmt.Sprintf("rise%d.%d", i, j), k.Switch(fmt.Sprintf("up%d.%d", i, j), inlets[i]...)))
		}
	}
	for j := range m {
		for i := range r {
			fall[i] = append(fall[i], k.Tie(fmt.Sprintf("fall%d.%d", j, i), k.Switch(fmt.Sprintf("middle%d.%d", j, i), rise[j]...)))
		}
	}
	var routes []program.Instr
	for o := range r * n {
		k.Destination(fmt.Sprint("screen", o), k.Out(k.Switch(fmt.Sprint("out", o), fall[o/n]...)), program.AlwaysOnAir)
	}
	for o, i := range to {
		routes = append(routes, k.Do(program.Route, int32(o), all[i], 0))
	}
	k.Button("all", routes...)
	return k.Done(t)
}

// TestClosAssignment: all of a permutation fits iff m >= n (Slepian, Duguid;
// in Dally and Towles, Principles and Practices of Interconnection Networks,
// ch. 6). With fewer middles, the smallest set that does not fit is one more
// route than there are middles, all of one frame.
func TestClosAssignment(t *testing.T) {
	for _, c := range []struct{ n, m, r int }{{2, 1, 2}, {2, 2, 2}, {2, 2, 3}, {3, 2, 2}, {3, 3, 2}, {2, 3, 2}, {3, 3, 3}} {
		chance := rand.New(rand.NewPCG(1, 2))
		for range 15 {
			p := clos(t, c.n, c.m, c.r, chance.Perm(c.n*c.r))
			demands := compare.Demands(p)
			a := compare.Allocate(p, demands, compare.Independent(demands))
			if want := c.m >= c.n; a.Fixed != want || a.Fits != want {
				t.Fatalf("%+v: fixed %v, fits %v", c, a.Fixed, a.Fits)
			}
			if a.Fixed {
				apart(t, p, demands, a)
				continue
			}
			if len(a.Core) != c.m+1 || len(a.Clash) != c.m+1 {
				t.Fatalf("%+v: core %v, clash %v", c, a.Core, a.Clash)
			}
			oneFrame := func(of func(d compare.Demand) int) bool {
				return !slices.ContainsFunc(a.Core, func(i int) bool { return of(demands[i]) != of(demands[a.Core[0]]) })
			}
			if !oneFrame(func(d compare.Demand) int { return int(d.Destinations[0]) / c.n }) &&
				!oneFrame(func(d compare.Demand) int { return (int(p.Nodes[d.Picture].Owner) - 2) / c.n }) {
				t.Fatalf("%+v: the set is not of one frame: %v", c, a.Core)
			}
		}
	}
}

// apart checks that no two routes to different destinations want different
// pictures of one switch, by walking each way again.
func apart(t simtest.Test, p *program.Program, demands []compare.Demand, a compare.Allocation) {
	t.Helper()
	shows := map[int32]int32{} // switch: the picture that comes through it
	for i, way := range a.Ways {
		if len(way) == 0 {
			t.Fatalf("route %d has no way", i)
		}
		before := demands[i].Picture
		for _, sw := range way {
			if was, ok := shows[sw]; ok && was != demands[i].Picture {
				t.Fatalf("switch %d is to show two pictures", sw)
			}
			shows[sw] = demands[i].Picture
			if !slices.ContainsFunc(p.Switches[sw].Picks, func(k program.Pick) bool { return comesFrom(p, k.Node, before) }) {
				t.Fatalf("switch %d cannot take what comes before it", sw)
			}
			before = p.Switches[sw].Node
		}
	}
}

func comesFrom(p *program.Program, node, from int32) bool {
	for node != from && p.Nodes[node].Kind == program.PassNode && len(p.Nodes[node].Up) > 0 {
		node = p.Nodes[node].Up[0]
	}
	return node == from
}

// frames is two frames with some tie lines between them, cameras on the one
// and screens on the other, and a show that routes wants[screen] to each.
func frames(t simtest.Test, lines int, wants [][]int) *program.Program {
	m := simtest.New()
	most := 0
	for _, w := range wants {
		most = max(most, slices.Max(append(w, 0)))
	}
	var cameras, ends []int32
	for i := range most + 1 {
		cameras = append(cameras, m.Source(fmt.Sprint("camera", i), "live"))
	}
	for i := range lines {
		ends = append(ends, m.Tie(fmt.Sprint("line", i), m.Switch(fmt.Sprint("router.", i), cameras...)))
	}
	for i := range wants {
		m.Destination(fmt.Sprint("screen", i), m.Out(m.Switch(fmt.Sprint("aux", i), append([]int32{1}, ends...)...)), program.AlwaysOnAir)
	}
	for i, w := range wants {
		for _, c := range w {
			m.Button(fmt.Sprintf("screen %d camera %d", i, c), m.Do(program.Route, int32(i), cameras[c], 0))
		}
	}
	return m.Done(t)
}

// colours is the fewest colours for the demands, by trying all: those that can
// be live together with different pictures need different lines.
func colours(demands []compare.Demand) int {
	apart := func(a, b compare.Demand) bool {
		return a.Destinations[0] != b.Destinations[0] && a.Picture != b.Picture
	}
	for k := 0; ; k++ {
		of := make([]int, len(demands))
		var try func(i int) bool
		try = func(i int) bool {
			if i == len(demands) {
				return true
			}
			for c := range k {
				fits := true
				for j := range i {
					fits = fits && (of[j] != c || !apart(demands[i], demands[j]))
				}
				if of[i] = c; fits && try(i+1) {
					return true
				}
			}
			return false
		}
		if try(0) {
			return k
		}
	}
}

// TestLinesAreColours: between two frames, ways for good are a colouring of
// the routes that can be live together: the number that is needed, whether it
// fits, and the ways are what trying all colourings says.
func TestLinesAreColours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.IntRange(1, 4).Draw(t, "lines")
		wants := rapid.SliceOfN(rapid.SliceOfNDistinct(rapid.IntRange(0, 4), 1, 3, rapid.ID[int]), 1, 4).Draw(t, "wants")
		p := frames(t, lines, wants)
		demands := compare.Demands(p)
		a := compare.Allocate(p, demands, compare.Independent(demands))
		need := colours(demands)
		if !a.Decided || len(a.Lines) != 1 || a.Lines[0].Need != need || len(a.Lines[0].Ties) != lines {
			t.Fatalf("needs %d: %+v", need, a)
		}
		if a.Fixed != (need <= lines) {
			t.Fatalf("needs %d of %d: %+v", need, lines, a)
		}
		live := 0 // the most pictures at once: a system of distinct representatives, by trying
		var pick func(i int, seen []int)
		pick = func(i int, seen []int) {
			live = max(live, len(seen))
			if i < len(wants) {
				for _, c := range wants[i] {
					if slices.Contains(seen, c) {
						pick(i+1, seen)
					} else {
						pick(i+1, append(slices.Clone(seen), c))
					}
				}
			}
		}
		pick(0, nil)
		if a.Fits != (live <= lines) || (len(a.Clash) == 0) != a.Fits || !a.Fits && len(a.Clash) != lines+1 {
			t.Fatalf("%d pictures at once on %d lines: %+v", live, lines, a)
		}
		if !a.Fixed {
			smallest(t, demands, a, lines)
		}
	})
}

// smallest checks the set that has no ways for good: it needs more lines than
// there are, no smaller set does, and as many as possible keep their ways.
func smallest(t *rapid.T, demands []compare.Demand, a compare.Allocation, lines int) {
	some := func(mask int) (set []compare.Demand) {
		for i := range demands {
			if mask>>i&1 == 1 {
				set = append(set, demands[i])
			}
		}
		return set
	}
	least, most := len(demands), 0
	for mask := range 1 << len(demands) {
		switch set := some(mask); {
		case colours(set) > lines:
			least = min(least, len(set))
		default:
			most = max(most, len(set))
		}
	}
	core, kept := 0, 0
	for _, i := range a.Core {
		core |= 1 << i
	}
	for _, way := range a.Ways {
		if way != nil {
			kept++
		}
	}
	if !a.Smallest || len(a.Core) != least || colours(some(core)) <= lines || kept != most {
		t.Fatalf("least %d, most %d: %+v", least, most, a)
	}
}

// TestTogether: routes that are never live together share a line.
func TestTogether(t *testing.T) {
	p := frames(t, 1, [][]int{{0}, {1}})
	demands := compare.Demands(p)
	if a := compare.Allocate(p, demands, compare.Independent(demands)); a.Fixed || len(a.Core) != 2 || a.Lines[0].Need != 2 {
		t.Errorf("independent: %+v", a)
	}
	never := func(int, int) bool { return false }
	if a := compare.Allocate(p, demands, never); !a.Fixed || !a.Fits || a.Lines[0].Need != 1 {
		t.Errorf("never together: %+v", a)
	}
}

// TestNamedLines: a line that the show names is kept for that; one that a bank
// is put on and nothing routes is not touched.
func TestNamedLines(t *testing.T) {
	m := simtest.New()
	a, b := m.Source("a", "live"), m.Source("b", "live")
	one, two, three := m.Tie("one", m.Switch("r.1", a, b)), m.Tie("two", m.Switch("r.2", a, b)), m.Tie("three", m.Switch("r.3", a, b))
	m.Bank("main", 1, one, two, three)
	m.Destination("screen", m.Out(m.Switch("aux", 1, one, two, three)), program.AlwaysOnAir)
	m.Button("named", m.Do(program.RouteTie, 0, a, 0))
	m.Button("untouched", m.Do(program.CutTo, 0, 2, 0))
	m.Button("routed", m.Do(program.Route, 0, b, 0))
	p := m.Done(t)
	demands := compare.Demands(p)
	got := compare.Allocate(p, demands, compare.Independent(demands))
	if !got.Fixed || len(got.Lines) != 1 || got.Lines[0].Need != 3 || !slices.Equal(got.Ways[1], []int32{2, 3}) {
		t.Errorf("%+v", got)
	}
}

func BenchmarkAllocate(b *testing.B) {
	p := frames(b, 4, [][]int{{0, 1, 2}, {1, 2}, {2, 3}, {3, 4, 0}, {0, 4}})
	demands := compare.Demands(p)
	for b.Loop() {
		compare.Allocate(p, demands, compare.Independent(demands))
	}
}
