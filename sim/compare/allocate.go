package compare

import (
	"slices"

	"cuewright/macro/program"
)

// Allocation says which way each demand can have for good, so that a button
// always uses the same tie lines, whatever else is live.
type Allocation struct {
	Ways  [][]int32 // by demand: Switches from the picture to the destination; nil when it has no way for good
	Fixed bool      // every demand has its way for good

	// Core is the smallest set of demands that cannot all have a way for good,
	// nil when Fixed. None can be left out of it; Smallest says that there is
	// no smaller set either.
	Core     []int
	Smallest bool

	// Clash is the smallest set of demands that can be live together and do not
	// fit, however they are routed: some must move or go dark. Fits says that
	// there is none.
	Clash []int
	Fits  bool

	Lines []Lines // groups of tie lines that can stand in for each other
	// Decided says that Lines has the numbers that are needed, and that what is
	// not Fixed was searched to the end.
	Decided bool
}

// Lines is a group of tie lines that can stand in for each other: how many
// there are, and how many the show needs so that every demand has a way for
// good, fewest in all.
type Lines struct {
	Ties []int32
	Need int
}

// Allocate gives each demand a way for good where that is possible. Together
// says which demands can be live at once; it is asked for pairs. What can be
// live is taken as it says, so the allocation holds for every set whose pairs
// it knows.
//
// The search is exact: it tries every way of every demand, with going back.
// Lines that can stand in for each other are tried once. It ends after
// enough steps and then says that it has not decided.
func Allocate(p *program.Program, demands []Demand, together func(a, b int) bool) Allocation {
	a := newAllocator(p, demands, together)
	var out Allocation
	everyone := make([]int, len(demands))
	for i := range everyone {
		everyone[i] = i
	}
	a.ask(enough)
	switch ways, v := a.fit(everyone); v {
	case yes:
		out.Fixed, out.Fits, out.Decided = true, true, true
		out.Ways = a.names(ways)
	case no:
		out.Decided = true
		a.refute(&out, everyone)
	default:
		out.Ways = make([][]int32, len(demands))
	}
	a.count(&out, everyone)
	return out
}

// verdict is the answer of a search.
type verdict uint8

const (
	no verdict = iota
	yes
	unknown
)

// allocator is the search: a graph of demands that can be live together, and
// ways that cannot be at the same time.
type allocator struct {
	p        *program.Program
	demands  []Demand
	together func(a, b int) bool
	kind     []int32   // by switch
	ways     [][][]hop // by demand
	all      bool      // every way of every demand is known
	barred   []bool    // by switch: not to be used for demands but its own
	spoken   []bool    // by switch: the show names its line
	steps    *int      // left for the question that is being asked

	use [][]claim // by switch: what those that have a way need of it
}

// claim is what a demand needs a switch to show.
type claim struct {
	demand int
	shows  int32
}

// enough is the number of steps that one question may take: a second or two.
const enough = 50_000

func newAllocator(p *program.Program, demands []Demand, together func(a, b int) bool) *allocator {
	a := &allocator{p: p, demands: demands, together: together, kind: kinds(p), all: true,
		barred: make([]bool, len(p.Switches)), spoken: make([]bool, len(p.Switches))}
	for _, d := range demands {
		list, all := waysOf(p, d.own, d.Picture)
		a.ways = append(a.ways, list)
		a.all = a.all && all
		if d.Tie >= 0 {
			a.spoken[d.own] = true
		}
	}
	for _, x := range p.Actions { // a line that a bank is put on, and that no route names, is not to be touched
		if x.Verb != program.CutTo && x.Verb != program.PresetTo {
			continue
		}
		if tie := p.Nodes[p.Banks[x.A].Picks[x.B].Node].Tie; tie >= 0 && !a.spoken[p.Ties[tie].Switch] {
			a.barred[p.Ties[tie].Switch] = true
		}
	}
	a.use = make([][]claim, len(p.Switches))
	return a
}

// ask begins a question that may take so many steps.
func (a *allocator) ask(steps int) { a.steps = &steps }

// fit looks for a way for each of some demands. The ways are by demand.
func (a *allocator) fit(some []int) ([][]hop, verdict) {
	for i := range a.use {
		a.use[i] = a.use[i][:0]
	}
	got := make([][]hop, len(a.demands))
	v := a.place(slices.Clone(some), got)
	if v == no && !a.all {
		v = unknown
	}
	return got, v
}

// place gives ways to the demands that are left, the one with the fewest
// possible ways first.
func (a *allocator) place(left []int, got [][]hop) verdict {
	if len(left) == 0 {
		return yes
	}
	if *a.steps--; *a.steps < 0 {
		return unknown
	}
	at, best := 0, [][]hop(nil)
	for i, d := range left {
		free := a.free(d)
		if len(free) == 0 {
			return no
		}
		if best == nil || len(free) < len(best) {
			at, best = i, free
		}
	}
	d := left[at]
	rest := slices.Delete(slices.Clone(left), at, at+1)
	answer := no
	for _, way := range best {
		for _, h := range way {
			a.use[h.sw] = append(a.use[h.sw], claim{d, h.shows})
		}
		got[d] = way
		v := a.place(rest, got)
		for _, h := range way {
			a.use[h.sw] = a.use[h.sw][:len(a.use[h.sw])-1]
		}
		if v == yes {
			return yes
		}
		if v == unknown {
			answer = unknown
		}
	}
	got[d] = nil
	return answer
}

// free are the ways that a demand can have now, one of those that differ only
// in lines that nothing uses yet and that can stand in for each other.
func (a *allocator) free(d int) (list [][]hop) {
	var seen [][]int32
	for _, way := range a.ways[d] {
		if !a.can(d, way) {
			continue
		}
		var sign []int32
		for i, h := range way {
			switch {
			case i > 0 && len(a.use[h.sw]) == 0 && !a.spoken[h.sw]:
				sign = append(sign, -1-a.kind[h.sw])
			default:
				sign = append(sign, h.sw)
			}
		}
		sign = append(sign, way[len(way)-1].shows)
		if slices.ContainsFunc(seen, func(x []int32) bool { return slices.Equal(x, sign) }) {
			continue
		}
		seen = append(seen, sign)
		list = append(list, way)
	}
	return list
}

// can says whether a way goes with what the others have.
func (a *allocator) can(d int, way []hop) bool {
	for i, h := range way {
		if i > 0 && a.barred[h.sw] {
			return false
		}
		for _, c := range a.use[h.sw] {
			if c.shows != h.shows && a.together(d, c.demand) {
				return false
			}
		}
	}
	return true
}

// names turns ways round, from the picture on, with their switches only.
func (a *allocator) names(ways [][]hop) [][]int32 {
	out := make([][]int32, len(ways))
	for d, way := range ways {
		for _, h := range slices.Backward(way) {
			out[d] = append(out[d], h.sw)
		}
	}
	return out
}
