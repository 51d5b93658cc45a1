package explore

import (
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// becomes is that an event gives a variable a value.
func becomes(t *rapid.T, p *program.Program) Property {
	v := int32(rapid.IntRange(0, len(p.Vars)-1).Draw(t, "variable"))
	value := rapid.Uint32Range(0, p.Vars[v].Size-1).Draw(t, "value")
	return Property{Event: func(before *View, _ step.Event, _ []step.Effect, after *View) bool {
		return before.Get(v) != value && after.Get(v) == value
	}, Vars: []int32{v}}
}

// presses is how many presses a path takes. It must be one that can be walked,
// and end in what was looked for.
func (g *engine) presses(t *rapid.T, path []move, last move) (n int) {
	words := g.space.start(g.p, g.o.Faults)
	for i, m := range path {
		if at := g.eventOf(g.evs[m.event].Event, words); at != m.event {
			t.Fatalf("event %d of %v cannot happen", i, path)
		}
		can := false
		g.each(m.event, -m.event-1, words, func(_, leaf int32) { can = can || leaf == m.leaf })
		if !can {
			t.Fatalf("event %d of %v does not do that", i, path)
		}
		n += g.evs[m.event].cost
		next := make([]uint64, len(words))
		g.does.apply(m.leaf, words, next)
		words = next
	}
	if last.event < 0 && !g.wanted(words) || last.event >= 0 && !g.does.leaves[last.leaf].bad {
		t.Fatalf("%v does not end in what was looked for", path)
	}
	return n
}

// To sweep over sets of states finds as many as to go through them one by one,
// and what is looked for after as many presses: of everything and of slices,
// strict and loose, with faults and without.
func TestSweepFindsWhatSearchFinds(t *testing.T) {
	most, hits, blamed, loose := uint64(0), 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := randomShow(t)
		goal := rapid.SampledFrom([]func(*rapid.T, *program.Program) Property{anyGoal, becomes, func(*rapid.T, *program.Program) Property { return Property{} }}).Draw(t, "goal")(t, p)
		faults := rapid.SampledFrom([]int{0, 0, 1}).Draw(t, "faults")
		for _, g := range engines(t, p, faults) {
			g.goal = goal
			g.search(rapid.Uint64Range(1, 50).Draw(t, "afoot")).run()
			all := g.sweep()
			all.run()
			one := g.search(3000)
			one.run()
			if one.bound != NoBound || all.gaveUp || g.outgrown() {
				continue
			}
			if all.hit != one.hit || all.bound != NoBound {
				t.Fatalf("hit %v, one by one %v; bound %d", all.hit, one.hit, all.bound)
			}
			if !one.hit {
				if all.states != uint64(one.found.len()) {
					t.Fatalf("%d states, one by one %d", all.states, one.found.len())
				}
				most = max(most, all.states)
				continue
			}
			hits++
			if all.last.event >= 0 {
				blamed++
			}
			if g.cone.loose {
				loose++
			}
			if is, want := g.presses(t, all.path(), all.last), g.presses(t, one.path(), one.last); is != want {
				t.Fatalf("%d presses, one by one %d", is, want)
			}
		}
	})
	if most < 500 || hits == 0 || blamed == 0 || loose == 0 {
		t.Errorf("at most %d states, %d goals hit, %d of them events, %d loosely", most, hits, blamed, loose)
	}
}
