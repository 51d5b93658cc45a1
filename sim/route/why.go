package route

import (
	"encoding/binary"
	"slices"

	"cuewright/sim/state"
)

// The reasons of a refusal. Whether several pictures fit through a rack at
// once is hard in general (a multicommodity flow) and tiny in a rack: it is
// searched exactly, with a limit on the steps. At the limit nothing is said
// rather than something that was not decided.
//
// Core is the smallest set of destinations, the asked one among them, whose
// pictures cannot be there together however they are routed, as long as banks
// and other inputs keep what they have. Moves is the smallest set of
// destinations that make room by taking other ways with the same pictures;
// one of the two is empty. When the limit is met on the way to the smallest,
// Core is a set that none can be left out of.

// enough is the number of search steps that one refusal may take.
const enough = 60_000

// free marks a switch that may be set.
const free int32 = -1

// want is a destination (-1 for a tie line) that is to have a picture by its
// own switch.
type want struct{ destination, own, picture int32 }

// verdict is the answer of a search.
type verdict uint8

const (
	no verdict = iota
	yes
	unknown
)

// explain fills in Core or Moves.
func (f *Finder) explain(s *state.State, to, own, picture int32, r *Refusal) {
	f.steps = enough
	asked := want{f.named(to), own, picture}
	rest := f.wants(s, own)
	switch f.fits(s, own, nil, append([]want{asked}, rest...)) {
	case yes:
		r.Moves = f.moves(s, asked, rest)
	case no:
		r.Core = f.core(s, asked, rest)
	}
}

// named is the destination at a node, or -1.
func (f *Finder) named(node int32) int32 {
	for d := range f.p.Destinations {
		if f.p.Destinations[d].Node == node {
			return int32(d)
		}
	}
	return -1
}

// wants lists the destinations that keep a switch from others, each with the
// picture that it has. Destinations that share a switch are one.
func (f *Finder) wants(s *state.State, own int32) []want {
	var all []want
	for d := range f.p.Destinations {
		first, depth := free, 0
		picture := f.chain(s, f.p.Destinations[d].Node, own, func(sw int32) bool {
			if depth == 0 {
				first = sw
			}
			depth++
			return true
		})
		shares := slices.ContainsFunc(all, func(w want) bool { return w.own == first })
		if first == free || picture < 0 || shares || depth == 1 && !f.feedsSwitch(first) {
			continue
		}
		all = append(all, want{int32(d), first, picture})
	}
	return all
}

// feedsSwitch says whether another switch can take what a switch shows.
func (f *Finder) feedsSwitch(sw int32) bool { return len(f.takers(sw)) > 0 }

// takers are the switches that can take what a switch shows, sorted.
func (f *Finder) takers(sw int32) []int32 {
	var all []int32
	seen := map[int32]bool{}
	for todo := []int32{f.p.Switches[sw].Node}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, e := range f.down[at] {
			if e.sw >= 0 {
				all = append(all, e.sw)
			} else if !seen[e.node] {
				seen[e.node] = true
				todo = append(todo, e.node)
			}
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// families numbers the switches so that two of one number can stand in for
// each other: they take the same pictures to the same switches. A search
// tries only one of those that are free, or equal tie lines would be tried in
// every order.
func (f *Finder) families() []int32 {
	kin := make([]int32, len(f.p.Switches))
	number := map[string]int32{}
	for sw := range f.p.Switches {
		var key []byte
		for _, pick := range f.p.Switches[sw].Picks {
			key = binary.LittleEndian.AppendUint32(key, uint32(pick.Node))
		}
		key = binary.LittleEndian.AppendUint32(key, ^uint32(0))
		for _, to := range f.takers(int32(sw)) {
			key = binary.LittleEndian.AppendUint32(key, uint32(to))
		}
		n, known := number[string(key)]
		if !known {
			n = int32(len(number))
			number[string(key)] = n
		}
		kin[sw] = n
	}
	return kin
}

// core finds the smallest set that does not fit: first one that none can be
// left out of, then smaller ones, the first in the order of the plan.
func (f *Finder) core(s *state.State, asked want, rest []want) []int32 {
	small := slices.Clone(rest)
	for i := len(small) - 1; i >= 0; i-- {
		without := slices.Delete(slices.Clone(small), i, i+1)
		if f.fits(s, asked.own, nil, append([]want{asked}, without...)) == no {
			small = without
		}
	}
	for k := range len(small) {
		if some, ok := choose(rest, k, func(some []want) verdict {
			return not(f.fits(s, asked.own, nil, append([]want{asked}, some...)))
		}); ok {
			small = some
			break
		}
	}
	return destinations(append(small, asked))
}

// moves finds the smallest set of wants that make room for the asked one.
func (f *Finder) moves(s *state.State, asked want, rest []want) []int32 {
	for k := 1; k <= len(rest); k++ {
		if some, ok := choose(rest, k, func(some []want) verdict {
			var stay []want
			for _, w := range rest {
				if !slices.Contains(some, w) {
					stay = append(stay, w)
				}
			}
			return f.fits(s, asked.own, stay, append([]want{asked}, some...))
		}); ok {
			return destinations(some)
		}
	}
	return nil
}

func not(v verdict) verdict { return [...]verdict{no: yes, yes: no, unknown: unknown}[v] }

func destinations(all []want) []int32 {
	var names []int32
	for _, w := range all {
		if w.destination >= 0 {
			names = append(names, w.destination)
		}
	}
	slices.Sort(names)
	return names
}

// choose tries every k of the wants in order until ask says yes; it gives up
// when ask does not know.
func choose(all []want, k int, ask func([]want) verdict) ([]want, bool) {
	at := make([]int, k)
	for i := range at {
		at[i] = i
	}
	for k <= len(all) {
		some := make([]want, k)
		for i, j := range at {
			some[i] = all[j]
		}
		switch ask(some) {
		case yes:
			return some, true
		case unknown:
			return nil, false
		}
		i := k - 1
		for i >= 0 && at[i] == len(all)-k+i {
			i--
		}
		if i < 0 {
			break
		}
		for at[i]++; i+1 < k; i++ {
			at[i+1] = at[i] + 1
		}
	}
	return nil, false
}

// fits says whether all wants can be met together while those that stay, the
// banks and the other inputs keep what they have now.
func (f *Finder) fits(s *state.State, own int32, stay, wants []want) verdict {
	for i := range f.fixed {
		f.fixed[i] = free
	}
	keep := func(sw int32) bool {
		if f.fixed[sw] != free {
			return false
		}
		f.fixed[sw] = int32(f.l.Get(s, f.p.Switches[sw].Var))
		return true
	}
	f.others(s, func(node int32) { f.chain(s, node, own, keep) })
	for _, w := range stay {
		f.chain(s, f.p.Switches[w.own].Node, own, keep)
	}
	return f.place(wants)
}

// place meets the wants one after the other, going back when one cannot be.
func (f *Finder) place(wants []want) verdict {
	if len(wants) == 0 {
		return yes
	}
	return f.climb(f.p.Switches[wants[0].own].Node, 0, wants)
}

// climb brings the first want's picture to a node in every possible way until
// the other wants can be met too.
func (f *Finder) climb(node int32, depth int, wants []want) verdict {
	if f.steps--; f.steps < 0 {
		return unknown
	}
	picture := wants[0].picture
	node = f.above(node, picture)
	if node == picture {
		return f.place(wants[1:])
	}
	sw := f.switchAt(node)
	if sw < 0 || depth > len(f.p.Switches) { // too deep is a circle
		return no
	}
	picks := f.p.Switches[sw].Picks
	if f.fixed[sw] != free {
		up := picks[f.fixed[sw]].Node
		if !f.canBring(picture, up) {
			return no
		}
		return f.climb(up, depth+1, wants)
	}
	defer func() { f.fixed[sw] = free }()
	var tried []int32
	for i, pick := range picks {
		if !f.canBring(picture, pick.Node) {
			continue
		}
		if up, _ := f.tieAbove(pick.Node); up >= 0 && f.fixed[up] == free {
			if slices.Contains(tried, f.kin[up]) {
				continue
			}
			tried = append(tried, f.kin[up])
		}
		f.fixed[sw] = int32(i)
		if v := f.climb(pick.Node, depth+1, wants); v != no {
			return v
		}
	}
	return no
}
