package explore

import (
	"cmp"
	"slices"
)

// order gives each field its level in a diagram: fields that an event reads or
// writes together should be near each other, for then what an event changes
// lies in few levels. It is the FORCE heuristic (F. Aloul, I. Markov and K.
// Sakallah, 2003): each event pulls at its fields from their middle.
func (g *engine) order() (level []int32) {
	edges := g.edges()
	n := len(g.space.fields)
	level = make([]int32, n)
	for f := range level {
		level[f] = int32(f)
	}
	best, least := slices.Clone(level), span(edges, level)
	pull, by := make([]float64, n), make([]float64, n)
	for range 4 * (8 + n) {
		clear(pull)
		clear(by)
		for _, e := range edges {
			middle := 0.0
			for _, f := range e {
				middle += float64(level[f]) / float64(len(e))
			}
			for _, f := range e {
				pull[f] += middle
				by[f]++
			}
		}
		fields := make([]int32, n)
		for f := range fields {
			fields[f] = int32(f)
			if by[f] == 0 {
				pull[f], by[f] = float64(level[f]), 1
			}
		}
		slices.SortStableFunc(fields, func(a, b int32) int { return cmp.Compare(pull[a]/by[a], pull[b]/by[b]) })
		for l, f := range fields {
			level[f] = int32(l)
		}
		if now := span(edges, level); now < least {
			least = now
			copy(best, level)
		} else {
			break
		}
	}
	return best
}

// span is how many levels all events together reach over.
func span(edges [][]int32, level []int32) int {
	sum := 0
	for _, e := range edges {
		lo, hi := level[e[0]], level[e[0]]
		for _, f := range e {
			lo, hi = min(lo, level[f]), max(hi, level[f])
		}
		sum += int(hi - lo)
	}
	return sum
}

// edges is the fields that each event is known to read or write.
func (g *engine) edges() (all [][]int32) {
	for e := range g.evs {
		var fields []int32
		for _, when := range g.evs[e].when {
			if when.field >= 0 {
				fields = append(fields, when.field)
			}
		}
		g.touches(g.does.roots[e], &fields)
		if fields = unique(fields); len(fields) > 1 {
			all = append(all, fields)
		}
	}
	return all
}

func (g *engine) touches(at int32, fields *[]int32) {
	switch {
	case at > 0:
		n := &g.does.nodes[at]
		size := n.word
		if n.mask > 0 {
			*fields = append(*fields, n.field)
			size = int32(n.mask) + 1
		}
		for k := range size {
			g.touches(g.does.kids[n.kids+k], fields)
		}
	case at < 0:
		for f := range g.space.fields {
			if _, ok := g.does.writes(-at-1, &g.space.fields[f]); ok {
				*fields = append(*fields, int32(f))
			}
		}
	}
}
