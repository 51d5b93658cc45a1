package compare

import (
	"slices"
)

// count finds how many tie lines the show needs: the fewest in all with which
// every demand has a way for good. Lines that the show names stay; of the
// others, each group is taken with none, one, two and more of its lines,
// beyond those that there are if it must be.
func (a *allocator) count(out *Allocation, everyone []int) {
	groups := a.groups()
	for _, g := range groups {
		out.Lines = append(out.Lines, Lines{Ties: g.ties, Need: -1})
	}
	a.ask(enough / 4) // a number is good to know, and no more
	least, sum := make([]int, len(groups)), 0
	if out.Fixed {
		least = a.least(groups, everyone)
	}
	for _, n := range least {
		sum += n
	}
	for total := sum; total <= len(a.demands)+len(a.p.Ties); total++ {
		numbers := make([]int, len(groups))
		switch a.share(groups, least, numbers, 0, total, everyone) {
		case yes:
			for i := range groups {
				out.Lines[i].Need = groups[i].named + numbers[i]
			}
			return
		case unknown:
			out.Decided = false
			return
		}
	}
	out.Decided = false // more lines of these groups do not help
}

// group is tie lines of one kind: the switches of those that the show does
// not name, and the number of those that it does.
type group struct {
	ties   []int32
	free   []int32
	named  int
	sample int32 // a switch of the group
}

// groups are the tie lines that some demand has a way over, with those that
// can stand in for them.
func (a *allocator) groups() (all []group) {
	used := map[int32]bool{}
	for _, list := range a.ways {
		for _, way := range list {
			for _, h := range way {
				used[a.kind[h.sw]] = true
			}
		}
	}
	at := map[int32]int{}
	for t, tie := range a.p.Ties {
		if !used[a.kind[tie.Switch]] {
			continue
		}
		i, ok := at[a.kind[tie.Switch]]
		if !ok {
			i = len(all)
			at[a.kind[tie.Switch]] = i
			all = append(all, group{sample: tie.Switch})
		}
		g := &all[i]
		g.ties = append(g.ties, int32(t))
		if a.spoken[tie.Switch] || a.barred[tie.Switch] {
			g.named++
		} else {
			g.free = append(g.free, tie.Switch)
		}
	}
	return all
}

// least is how many lines each group must have even when all the lines of the
// others can be used. Everyone fits with the lines that there are.
func (a *allocator) least(groups []group, everyone []int) []int {
	numbers, out := make([]int, len(groups)), make([]int, len(groups))
	for i, g := range groups {
		numbers[i] = len(g.free)
	}
	for i, g := range groups {
		for n := range len(g.free) + 1 {
			numbers[i] = n
			if a.fitWith(groups, numbers, everyone) != no {
				break
			}
			out[i] = n + 1
		}
		numbers[i] = len(g.free)
	}
	return out
}

// share tries every way to share a total among the groups from i on, each of
// which has its least.
func (a *allocator) share(groups []group, least, numbers []int, i, total int, everyone []int) verdict {
	if i == len(groups) {
		if total > 0 {
			return no
		}
		return a.fitWith(groups, numbers, everyone)
	}
	first := least[i]
	if i == len(groups)-1 {
		first = total
	}
	for n := first; n <= total; n++ {
		numbers[i] = n
		if v := a.share(groups, least, numbers, i+1, total-n, everyone); v != no {
			return v
		}
	}
	return no
}

// fitWith says whether all demands fit with that many lines of each group that
// are not named.
func (a *allocator) fitWith(groups []group, numbers []int, everyone []int) verdict {
	b := *a
	b.barred, b.kind, b.spoken = slices.Clone(a.barred), slices.Clone(a.kind), slices.Clone(a.spoken)
	b.ways = slices.Clone(a.ways)
	for i, g := range groups {
		for k, sw := range g.free {
			if k >= numbers[i] {
				b.barred[sw] = true
			}
		}
		for range numbers[i] - len(g.free) {
			b.double(g.sample)
		}
	}
	b.use = make([][]claim, len(b.kind))
	_, v := b.fit(everyone)
	return v
}

// double adds a line that can do what another can.
func (a *allocator) double(like int32) {
	twin := int32(len(a.kind))
	a.kind = append(a.kind, a.kind[like])
	a.barred = append(a.barred, false)
	a.spoken = append(a.spoken, false)
	for d, list := range a.ways {
		if a.demands[d].own == like {
			continue
		}
		more := slices.Clone(list)
		for _, way := range list {
			if !slices.ContainsFunc(way, func(h hop) bool { return h.sw == like }) {
				continue
			}
			other := slices.Clone(way)
			for i := range other {
				if other[i].sw == like {
					other[i].sw = twin
				}
				if other[i].shows == -1-like {
					other[i].shows = -1 - twin
				}
			}
			more = append(more, other)
		}
		a.ways[d] = more
	}
}
