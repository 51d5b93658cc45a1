package explore

import "slices"

// search goes through the states of a slice when running timers may end in
// any order, breadth-first by presses: first all that comes by itself after
// so many presses, then one press more.
type search struct {
	*engine
	found   *found
	parents []uint32
	via     []uint16
	next    []uint64 // states come to from one, by which events
	by      []int32
	hashes  []uint64
	sought  uint64              // keeps seek from being optimised away
	from    int                 // the state that is gone on from
	visit   func(e, leaf int32) // outcome
	hit     bool
	last    move   // what the goal blames, or event -1
	limit   uint64 // states; 0 is none
	bound   Bound
	presses int
}

// search begins a search that stops at a number of states, if not 0.
func (g *engine) search(limit uint64) *search {
	if most := g.o.States; limit == 0 || most > 0 && most < limit {
		limit = most
	}
	s := &search{engine: g, limit: limit, found: newFound(g.space.words, g.space.bits), last: move{-1, -1}}
	s.visit = s.outcome
	return s
}

// run searches until the goal is found, all is found, or a bound is hit.
func (s *search) run() {
	start := s.space.start(s.p, s.o.Faults)
	s.note(start, hash(start), 0)
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

// more says that the search has stopped before the options wanted it to.
func (s *search) more() bool { return s.bound == StateBound && s.limit != s.o.States }

func (s *search) sight() sight {
	is := sight{states: uint64(s.found.len()), bytes: s.bytes(), presses: s.presses, bound: s.bound, hit: s.hit}
	if s.hit && !s.outgrown() {
		is.path = s.path()
	}
	return is
}

func (s *search) over() bool { return s.hit || s.bound != NoBound || s.outgrown() }

// turn goes on from state i by all events of a cost.
func (s *search) turn(i, cost int) {
	if i&1023 == 0 {
		s.check(i)
	}
	s.from = i
	s.next, s.by, s.hashes = s.next[:0], s.by[:0], s.hashes[:0]
	words := s.found.at(i)
	d := &s.turns[cost]
	for _, e := range d.always {
		s.event(e, words)
	}
	for k, f := range d.fields {
		for _, e := range d.lists[k][s.space.fields[f].get(words)] {
			s.event(e, words)
		}
	}
	s.take()
}

func (s *search) event(e int32, words []uint64) {
	switch {
	case s.hit || !s.happens(e, words):
	case s.cone.loose:
		s.each(e, -e-1, words, s.visit)
	default:
		s.outcome(e, s.leaf(e, words))
	}
}

// outcome is one thing that an event can do to the state gone on from.
func (s *search) outcome(e, leaf int32) {
	l := &s.does.leaves[leaf]
	switch {
	case s.hit:
		return
	case l.bad:
		s.hit, s.last = true, move{e, leaf}
		return
	case l.same:
		return
	}
	words, at := s.found.at(s.from), len(s.next)
	s.next = slices.Grow(s.next, s.space.words)[:at+s.space.words]
	out := s.next[at:]
	if s.does.apply(leaf, words, out); slices.Equal(out, words) {
		s.next = s.next[:at]
		return
	}
	s.by = append(s.by, e)
	s.hashes = append(s.hashes, hash(out))
}

// take adds the states that have been come to. They are sought all at once
// first: most of the time goes by waiting for memory.
func (s *search) take() {
	if s.hit && s.last.event >= 0 {
		return // the event that was blamed comes from here
	}
	w := s.space.words
	for k, h := range s.hashes {
		s.sought ^= s.found.seek(s.next[k*w:], h)
	}
	for k, h := range s.hashes {
		s.note(s.next[k*w:(k+1)*w], h, s.by[k])
	}
}

// note adds a state, if it is new, and looks whether it is the goal.
func (s *search) note(words []uint64, h uint64, via int32) {
	if s.over() || !s.found.add(words, h) {
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
	case s.limit > 0 && n > s.limit:
		s.bound = StateBound
	case s.o.Bytes > 0 && s.bytes() > s.o.Bytes:
		s.bound = ByteBound
	case s.o.Progress != nil && !s.o.Progress(Progress{States: n, Waiting: n - uint64(i), Presses: s.presses, Bytes: s.bytes()}):
		s.bound = Stopped
	}
}

func (s *search) bytes() int64 { return s.found.bytes() + int64(4*cap(s.parents)+2*cap(s.via)) }

// move is an event and what it did.
type move struct{ event, leaf int32 }

// path is the moves to the goal that was hit.
func (s *search) path() []move {
	var way []move
	if s.last.event >= 0 {
		way = append(way, s.last)
	}
	for i := s.from; i != 0; i = int(s.parents[i]) {
		way = append(way, s.between(int32(s.via[i]), s.found.at(int(s.parents[i])), s.found.at(i)))
	}
	slices.Reverse(way)
	return way
}

// between is the first of the moves by an event from one state to another.
func (s *search) between(e int32, from, to []uint64) move {
	out, is := make([]uint64, len(to)), move{e, -1}
	s.each(e, -e-1, from, func(_, leaf int32) {
		if s.does.apply(leaf, from, out); is.leaf < 0 && slices.Equal(out, to) {
			is.leaf = leaf
		}
	})
	return is
}
