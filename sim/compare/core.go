package compare

import (
	"slices"
)

// refute finds why not every demand has a way for good: the smallest set that
// cannot, whether a set that is live together does not fit at all, and ways
// for as many as can have one.
func (a *allocator) refute(out *Allocation, everyone []int) {
	a.ask(enough)
	core := a.shrink(everyone)
	out.Core, out.Smallest = a.smaller(core, everyone, func([]int) bool { return true })
	a.ask(enough)
	out.Clash, out.Fits = a.clash(everyone)
	a.ask(enough)
	out.Ways = a.most(everyone, out)
}

// shrink leaves out demands until none can be.
func (a *allocator) shrink(some []int) []int {
	small := slices.Clone(some)
	for i := len(small) - 1; i >= 0; i-- {
		without := slices.Delete(slices.Clone(small), i, i+1)
		if _, v := a.fit(without); v == no {
			small = without
		}
	}
	return small
}

// smaller looks for a set of fewer demands than core that does not fit, the
// smallest first, among the sets that ask says yes to. It says false when it
// ended before it was sure.
func (a *allocator) smaller(core, everyone []int, ask func([]int) bool) ([]int, bool) {
	for k := 2; k < len(core); k++ {
		var found []int
		sure := eachSubset(everyone, k, func(some []int) bool {
			if !ask(some) {
				return true
			}
			_, v := a.fit(some)
			if v == no {
				found = slices.Clone(some)
			}
			return v == yes
		})
		if found != nil {
			return found, true
		}
		if !sure {
			return core, false
		}
	}
	return core, true
}

// eachSubset visits all subsets of k, in order, until visit says false, and
// says whether it has seen them all.
func eachSubset(all []int, k int, visit func(some []int) bool) bool {
	some := make([]int, 0, k)
	var choose func(from int) bool
	choose = func(from int) bool {
		if len(some) == k {
			return visit(some)
		}
		for i := from; i <= len(all)-(k-len(some)); i++ {
			some = append(some, all[i])
			if !choose(i + 1) {
				return false
			}
			some = some[:len(some)-1]
		}
		return true
	}
	return choose(0)
}

// clash looks for demands that are live together, every two of them, and do
// not fit. None says that all largest sets fit; sure is false when that was
// not decided.
func (a *allocator) clash(everyone []int) (set []int, none bool) {
	sure := true
	a.cliques(everyone, func(live []int) bool {
		switch _, v := a.fit(live); v {
		case no:
			set = a.shrink(live)
			return false
		case unknown:
			sure = false
		}
		return sure
	})
	if set == nil {
		return nil, sure
	}
	set, _ = a.smaller(set, everyone, a.live)
	return set, false
}

// live says whether every two of some demands can be live together.
func (a *allocator) live(some []int) bool {
	for i, x := range some {
		for _, y := range some[:i] {
			if !a.together(x, y) {
				return false
			}
		}
	}
	return true
}

// cliques visits every largest set of demands that can be live together (the
// algorithm of Bron and Kerbosch, 1973, with a pivot), until visit says false.
func (a *allocator) cliques(everyone []int, visit func([]int) bool) {
	with := func(list []int, d int) (some []int) {
		for _, x := range list {
			if x != d && a.together(x, d) {
				some = append(some, x)
			}
		}
		return some
	}
	var grow func(set, more, done []int) bool
	grow = func(set, more, done []int) bool {
		if len(more) == 0 {
			return len(done) > 0 || visit(set)
		}
		pivot := with(more, more[0])
		for _, d := range slices.Clone(more) {
			if slices.Contains(pivot, d) {
				continue
			}
			if !grow(append(slices.Clip(set), d), with(more, d), with(done, d)) {
				return false
			}
			more = slices.DeleteFunc(slices.Clone(more), func(x int) bool { return x == d })
			done = append(slices.Clip(done), d)
		}
		return true
	}
	grow(nil, everyone, nil)
}

// most gives ways for good to as many demands as can have one: the fewest are
// left to find theirs when they are pressed, the last of the show first.
func (a *allocator) most(everyone []int, out *Allocation) [][]int32 {
	backward := slices.Clone(everyone)
	slices.Reverse(backward)
	for k := 1; k < len(everyone); k++ {
		var got [][]hop
		sure := eachSubset(backward, k, func(drop []int) bool {
			stay := slices.DeleteFunc(slices.Clone(everyone), func(d int) bool { return slices.Contains(drop, d) })
			ways, v := a.fit(stay)
			if v == yes {
				got = ways
			}
			out.Decided = out.Decided && v != unknown
			return v == no
		})
		if got != nil {
			return a.names(got)
		}
		if !sure {
			break
		}
	}
	return make([][]int32, len(everyone))
}
