package explore

import (
	"slices"

	"cuewright/sim/explore/diagram"
	"cuewright/sim/step"
)

// sweep is a search that goes on from all states found at once: sets of states
// are decision diagrams, and an event's tree is gone down by the set of states
// that go each way. It is for large spaces. There the parts of a show that have
// little to do with each other make most of the states, by being in any of
// their states together, and a diagram keeps them side by side.
//
// It is breadth-first by presses as search is, and finds as many states.
type sweep struct {
	*engine
	d        *diagram.Diagram
	level    []int32 // by field
	writings []int32 // by leaf of does: plus 1
	values   []uint32
	words    []uint64
	reached  []reach
	visit    func(e, leaf int32, from diagram.Set) // what a walk comes to
	into     diagram.Set
	states   uint64 // found
	gaveUp   bool   // a diagram is not what these states want
	hit      bool
	last     move        // what the goal blames, or event -1
	end      diagram.Set // the goal, or the states from which it blames last
	bound    Bound
	presses  int
}

// A sweep gives up that needs more nodes than patience and bearable for each
// state that it has found: a search takes less then.
const (
	patience = 1 << 17
	bearable = 4
)

// reach is the states found after one more event, of a cost, than those of the
// reach before it.
type reach struct {
	all  diagram.Set
	cost int
}

// sweep begins a sweep. What the engine has seen of events until then says in
// which order variables should be asked for.
func (g *engine) sweep() *sweep {
	s := &sweep{engine: g, last: move{-1, -1}, values: make([]uint32, len(g.space.fields)), words: make([]uint64, g.space.words)}
	sizes := make([]uint32, len(g.space.fields))
	s.level = g.order()
	for f, l := range s.level {
		sizes[l] = g.space.fields[f].size
	}
	s.d = diagram.New(sizes)
	return s
}

// run searches until the goal is found, all is found, or a bound is hit.
func (s *sweep) run() {
	start := s.space.start(s.p, s.o.Faults)
	for f, l := range s.level {
		s.values[l] = s.space.fields[f].get(start)
	}
	s.reach(s.d.Single(s.values), 0)
	for !s.over() {
		for s.round(0) {
		}
		if !s.round(1) {
			return
		}
		s.presses++
	}
}

func (s *sweep) all() diagram.Set { return s.reached[len(s.reached)-1].all }

func (s *sweep) over() bool { return s.hit || s.gaveUp || s.bound != NoBound || s.outgrown() }

// round goes on from all states by all events of a cost, and says whether
// there is more to go on from.
func (s *sweep) round(cost int) bool {
	if s.over() {
		return false
	}
	all := s.all()
	s.into, s.visit = all, s.outcome
	s.happen(cost, all)
	if s.over() || s.into == all {
		return false
	}
	s.reach(s.into, cost)
	return !s.over()
}

// reach notes that more states have been found, and looks for the goal among
// them.
func (s *sweep) reach(all diagram.Set, cost int) {
	s.reached = append(s.reached, reach{all, cost})
	s.states = s.d.Count(all)
	if s.goal.State != nil {
		s.wants(-1, all)
	}
}

// happen walks all events of a cost from a set.
func (s *sweep) happen(cost int, from diagram.Set) {
	for e := range s.evs {
		if s.evs[e].cost == cost {
			s.event(int32(e), from)
		}
	}
}

// event walks an event from the states of a set in which it can happen.
func (s *sweep) event(e int32, from diagram.Set) {
	x := &s.evs[e]
	for _, when := range x.when {
		if s.over() {
			return
		}
		states := from
		if when.field >= 0 {
			states = s.pick(from, when.field, when.value)
		}
		field := int32(-1)
		var ok func(uint32) bool
		if x.Kind == step.Expire {
			field, ok = s.clock.besides(x.A, when.value)
		}
		if field < 0 {
			s.walk(e, -e-1, states)
			continue
		}
		for value := range s.space.fields[field].size {
			if ok(value) {
				s.walk(e, -e-1, s.pick(states, field, value))
			}
		}
	}
}

// pick is the states of a set in which a field has a value.
func (s *sweep) pick(from diagram.Set, field int32, value uint32) diagram.Set {
	return s.d.Select(from, int(s.level[field]), value)
}

// walk goes down an event's tree from a slot by the states of a set, and visits
// the leaves that they come to.
func (s *sweep) walk(e, slot int32, from diagram.Set) {
	for {
		if from == diagram.None || s.over() {
			return
		}
		at := *s.does.at(slot)
		if at < 0 {
			s.visit(e, -at-1, from)
			return
		}
		if at == 0 {
			s.engine.run(e, s.some(from))
			continue
		}
		n := s.does.nodes[at]
		if n.mask == 0 {
			t := s.trace
			for choice := range n.word {
				t.choices = append(t.choices, uint32(choice))
				s.walk(e, n.kids+choice, from)
				t.choices = t.choices[:len(t.choices)-1]
			}
			return
		}
		for value := range int32(s.space.fields[n.field].size) {
			s.walk(e, n.kids+value, s.pick(from, n.field, uint32(value)))
		}
		return
	}
}

// outcome is what an event makes of the states of a set that come to a leaf.
func (s *sweep) outcome(e, leaf int32, from diagram.Set) {
	l := &s.does.leaves[leaf]
	switch {
	case l.bad:
		s.hit, s.last, s.end = true, move{e, leaf}, from
		return
	case l.same:
		return
	}
	s.into = s.d.Union(s.into, s.d.Write(from, s.writing(leaf)))
	s.check()
}

// writing is what a leaf writes.
func (s *sweep) writing(leaf int32) int {
	for len(s.writings) <= int(leaf) {
		s.writings = append(s.writings, 0)
	}
	if s.writings[leaf] == 0 {
		var values []diagram.Value
		for f := range s.space.fields {
			if value, ok := s.does.writes(leaf, &s.space.fields[f]); ok {
				values = append(values, diagram.Value{Level: int(s.level[f]), Value: value})
			}
		}
		s.writings[leaf] = int32(s.d.Writing(values)) + 1
	}
	return int(s.writings[leaf]) - 1
}

// wants goes down the tree of what is looked for.
func (s *sweep) wants(slot int32, from diagram.Set) {
	for !s.over() && from != diagram.None {
		at := *s.is.at(slot)
		if at < 0 {
			if s.is.leaves[-at-1].bad {
				s.hit, s.end = true, from
			}
			return
		}
		if at == 0 {
			s.wanted(s.some(from))
			continue
		}
		n := s.is.nodes[at]
		for value := range int32(s.space.fields[n.field].size) {
			s.wants(n.kids+value, s.pick(from, n.field, uint32(value)))
		}
		return
	}
}

// some is the first state of a set, packed.
func (s *sweep) some(from diagram.Set) []uint64 {
	s.d.First(from, s.values)
	clear(s.words)
	for f, l := range s.level {
		s.space.fields[f].set(s.words, s.values[l])
	}
	return s.words
}

// check holds the search against its bounds.
func (s *sweep) check() {
	nodes := uint64(s.d.Nodes())
	switch {
	case nodes > patience && (nodes-patience)/bearable > s.states:
		s.gaveUp = true
	case s.o.States > 0 && nodes > s.o.States:
		s.bound = StateBound
	case s.o.Bytes > 0 && s.d.Bytes() > s.o.Bytes:
		s.bound = ByteBound
	case s.o.Progress != nil && !s.o.Progress(Progress{States: s.states, Presses: s.presses, Bytes: s.d.Bytes()}):
		s.bound = Stopped
	}
}

func (s *sweep) sight() sight {
	is := sight{states: s.states, bytes: s.d.Bytes(), presses: s.presses, bound: s.bound, hit: s.hit}
	if s.hit && !s.outgrown() {
		is.path = s.path()
	}
	return is
}

// path is the moves to the goal that was hit, from the end: before a state that
// was first reached by an event there is one that was reached earlier. Of these
// the earliest is taken, by the first event of the file.
func (s *sweep) path() []move {
	var way []move
	if s.last.event >= 0 {
		way = append(way, s.last)
	}
	goal := s.end
	for {
		at := s.first(goal)
		if at == 0 {
			slices.Reverse(way)
			return way
		}
		to := slices.Clone(s.some(s.d.Meet(goal, s.reached[at].all)))
		var via move
		via, goal = s.before(at, to)
		way = append(way, via)
	}
}

// first is the first reach that has some of a set.
func (s *sweep) first(of diagram.Set) int {
	at, _ := slices.BinarySearchFunc(s.reached, 1, func(r reach, _ int) int {
		if s.d.Meet(of, r.all) == diagram.None {
			return -1
		}
		return 0
	})
	return at
}

// before is the move by which a state of a reach was first come to, and the
// states that it was come to from.
func (s *sweep) before(at int, to []uint64) (via move, from diagram.Set) {
	earliest := at
	s.hit = false
	s.visit = func(e, leaf int32, states diagram.Set) {
		for f := range s.space.fields {
			x := &s.space.fields[f]
			value, ok := s.does.writes(leaf, x)
			switch now := x.get(to); {
			case !ok:
				states = s.pick(states, int32(f), now)
			case value != now:
				return
			}
		}
		if states == diagram.None {
			return
		}
		if first := s.first(states); first < earliest {
			earliest, via, from = first, move{e, leaf}, states
		}
	}
	s.happen(s.reached[at].cost, s.reached[at-1].all)
	return via, from
}
