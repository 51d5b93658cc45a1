package explore

// search goes through the states of a slice when running timers may end in
// any order, breadth-first by presses: first all that comes by itself after
// so many presses, then one press more.
type search struct {
	*engine
	found   *found
	parents []uint32
	via     []uint16
	out     []uint64
	from    int                 // the state that is gone on from
	visit   func(e, leaf int32) // outcome
	hit     bool
	last    int32 // the event that the goal blames, or -1
	bound   Bound
	presses int
}

func (g *engine) search() *search {
	s := &search{engine: g, found: newFound(g.space.words, g.space.bits), out: make([]uint64, g.space.words), last: -1}
	s.visit = s.outcome
	return s
}

// run searches until the goal is found, all is found, or a bound is hit.
func (s *search) run() {
	s.note(s.space.start(s.p, s.o.Faults), 0)
	for lo := 0; lo < s.found.len() && !s.over(); s.presses++ {
		for i := lo; i < s.found.len() && !s.over(); i++ {
			s.turn(i, 0)
		}
		hi := s.found.len()
		for i := lo; i < hi && !s.over(); i++ {
			s.turn(i, 1)
		}
		lo = hi
	}
}

func (s *search) over() bool { return s.hit || s.bound != NoBound || s.outgrown() }

// turn goes on from state i by all events of a cost.
func (s *search) turn(i, cost int) {
	if i&1023 == 0 {
		s.check(i)
	}
	s.from = i
	d := &s.turns[cost]
	for _, e := range d.always {
		s.event(e)
	}
	for k, f := range d.fields {
		value := s.space.fields[f].get(s.found.at(i))
		for _, e := range d.lists[k][value] {
			s.event(e)
		}
	}
}

func (s *search) event(e int32) {
	words := s.found.at(s.from)
	if s.over() || !s.happens(e, words) {
		return
	}
	if s.cone.loose {
		s.each(e, -e-1, words, s.visit)
		return
	}
	s.outcome(e, s.leaf(e, words))
}

// outcome is one thing that an event can do to the state gone on from.
func (s *search) outcome(e, leaf int32) {
	if s.over() {
		return
	}
	l := &s.does.leaves[leaf]
	if l.bad {
		s.hit, s.last = true, e
		return
	}
	if l.same {
		return
	}
	s.does.apply(leaf, s.found.at(s.from), s.out)
	s.note(s.out, e)
}

// note adds a state, if it is new, and looks whether it is the goal.
func (s *search) note(words []uint64, via int32) {
	if !s.found.add(words) {
		return
	}
	s.parents = append(s.parents, uint32(s.from))
	s.via = append(s.via, uint16(via))
	if s.wanted(words) {
		s.hit, s.from = true, s.found.len()-1
	}
}

// check holds the search against its bounds.
func (s *search) check(i int) {
	n := uint64(s.found.len())
	switch {
	case s.o.States > 0 && n > s.o.States:
		s.bound = StateBound
	case s.o.Bytes > 0 && s.bytes() > s.o.Bytes:
		s.bound = ByteBound
	case s.o.Progress != nil && !s.o.Progress(Progress{States: n, Waiting: n - uint64(i), Presses: s.presses, Bytes: s.bytes()}):
		s.bound = Stopped
	}
}

func (s *search) bytes() int64 { return s.found.bytes() + int64(4*cap(s.parents)+2*cap(s.via)) }

// path is the events to the goal that was hit.
func (s *search) path() []int32 {
	var way []int32
	if s.last >= 0 {
		way = append(way, s.last)
	}
	for i := s.from; i != 0; i = int(s.parents[i]) {
		way = append(way, int32(s.via[i]))
	}
	for a, b := 0, len(way)-1; a < b; a, b = a+1, b-1 {
		way[a], way[b] = way[b], way[a]
	}
	return way
}
