package explore

import (
	"slices"

	"cuewright/sim/step"
)

// zones goes through the states of a slice with exact times. A zone is a
// discrete state and all that the due times of its running timers can be: a
// bound for the difference of each two of them, and of each and now (a
// difference-bound matrix; D. Dill, Timing assumptions and verification of
// finite-state concurrent systems, 1989). Timers only count down to a fixed
// moment, so no bound is greater than the longest of them: there are finitely
// many zones, without extrapolation.
//
// Only some timers are timed. All others may run out whenever they run, which
// only adds behaviour.
type zones struct {
	*engine
	timed   []int32
	all     []zone
	of      map[string][]int32 // zones of a discrete state
	hit     int
	last    move
	from    int     // the zone that is gone on from
	then    []int64 // its bounds at the moment of an event
	next    zone    // what comes of that; the memory is used again
	was     []int
	runs    []int64
	key     []byte
	visit   func(e, leaf int32)
	bound   Bound
	presses int
	memory  int64
}

// zone is one zone just after an event. Bounds is (n+1)² numbers, row by row:
// bounds[i][j] is the most that due i can be after due j; row and column 0 are
// now, the others the timed timers that run, in table order.
type zone struct {
	words  []uint64
	timers []int32
	bounds []int64
	parent int32
	via    move
}

func (g *engine) zones(timed []int32) *zones {
	z := &zones{engine: g, timed: timed, of: map[string][]int32{}, hit: -1, last: move{-1, -1}}
	z.visit = z.outcome
	return z
}

func (z *zones) run() {
	z.note(&zone{words: z.space.start(z.p, z.o.Faults), bounds: []int64{0}, parent: -1})
	for lo := 0; lo < len(z.all) && !z.over(); z.presses++ {
		for i := lo; i < len(z.all) && !z.over(); i++ {
			z.turn(i, 0)
		}
		hi := len(z.all)
		for i := lo; i < hi && !z.over(); i++ {
			z.turn(i, 1)
		}
		lo = hi
	}
}

func (z *zones) over() bool { return z.hit >= 0 || z.bound != NoBound || z.outgrown() }

func (z *zones) turn(i, cost int) {
	if i&63 == 0 {
		z.check(i)
	}
	d := &z.turns[cost]
	for _, e := range d.always {
		z.event(i, e)
	}
	for k, f := range d.fields {
		for _, e := range d.lists[k][z.space.fields[f].get(z.all[i].words)] {
			z.event(i, e)
		}
	}
}

// check holds the search against its bounds.
func (z *zones) check(i int) {
	n := uint64(len(z.all))
	switch {
	case z.o.States > 0 && n > z.o.States:
		z.bound = StateBound
	case z.o.Bytes > 0 && z.memory > z.o.Bytes:
		z.bound = ByteBound
	case z.o.Progress != nil && !z.o.Progress(Progress{States: n, Waiting: n - uint64(i), Presses: z.presses, Bytes: z.memory, Timed: true}):
		z.bound = Stopped
	}
}

// event goes on from zone i by an event, if there is a time for it.
func (z *zones) event(i int, e int32) {
	words := z.all[i].words
	if z.over() || !z.happens(e, words) {
		return
	}
	z.from = i
	if !z.when(&z.all[i], e) {
		return
	}
	if z.cone.loose {
		z.each(e, -e-1, words, z.visit)
		return
	}
	z.outcome(e, z.leaf(e, words))
}

// outcome is one thing that an event can do to the zone gone on from.
func (z *zones) outcome(e, leaf int32) {
	from, l := &z.all[z.from], &z.does.leaves[leaf]
	switch {
	case z.over():
		return
	case l.bad:
		z.hit, z.last = z.from, move{e, leaf}
		return
	case l.same && !z.arms(l) && (z.evs[e].Kind != step.Expire || !slices.Contains(z.timed, z.evs[e].A)):
		return // nothing but time has passed
	}
	next := &z.next
	next.parent, next.via = int32(z.from), move{e, leaf}
	next.words = append(next.words[:0], from.words...)
	z.does.apply(leaf, from.words, next.words)
	next.timers = z.running(next.words, next.timers[:0])
	z.after(from, e, leaf)
	z.note(next)
}

// arms says whether a leaf starts a timed timer.
func (z *zones) arms(l *leaf) bool {
	return slices.ContainsFunc(l.arms, func(a arm) bool { return slices.Contains(z.timed, a.timer) })
}

// running is the timed timers that run in a state, in table order.
func (z *zones) running(words []uint64, list []int32) []int32 {
	for _, timer := range z.timed {
		if z.clock.runs(timer, words) {
			list = append(list, timer)
		}
	}
	return list
}

// when makes then the bounds of a zone at the moment of an event: time has
// passed, no timer is overdue, and those due before it have run out. It says
// whether there is such a moment.
func (z *zones) when(from *zone, e int32) bool {
	n := len(from.timers) + 1
	z.then = append(z.then[:0], from.bounds...)
	b := z.then
	ev := &z.evs[e]
	for j := 1; j < n; j++ {
		slack := int64(0) // the least that timer j is due after now
		switch timer := from.timers[j-1]; {
		case ev.Kind != step.Expire:
			slack = 1
		case timer == ev.A:
			b[j*n] = min(b[j*n], 0)
		case timer < ev.A:
			slack = 1
		}
		b[j] = -slack // what it was before time passed is no bound any more
	}
	return tighten(b, n)
}

// tighten makes every bound as narrow as the others make it (Floyd and
// Warshall's algorithm) and says whether anything is within them.
func tighten(b []int64, n int) bool {
	for k := range n {
		for i := range n {
			for j := range n {
				if d := b[i*n+k] + b[k*n+j]; d < b[i*n+j] {
					b[i*n+j] = d
				}
			}
		}
	}
	for i := range n {
		if b[i*n+i] < 0 {
			return false
		}
	}
	return true
}

// after makes the bounds of next, just after an event at the moment then:
// timers that have ended are gone, those that it started are due exactly as
// long after now as they run.
func (z *zones) after(from *zone, e, l int32) {
	n, m := len(from.timers)+1, len(z.next.timers)+1
	was, runs := append(z.was[:0], 0), append(z.runs[:0], 0) // where each was before, 0 when it is started now; how long then
	for _, timer := range z.next.timers {
		at, micros, known := 0, int64(0), false
		for k, x := range from.timers {
			if x == timer && (z.evs[e].Kind != step.Expire || z.evs[e].A != timer) {
				at, known = k+1, true
			}
		}
		for _, a := range z.does.leaves[l].arms {
			if a.timer == timer {
				at, micros, known = 0, a.micros, true
			}
		}
		z.consistent(known, e)
		was, runs = append(was, at), append(runs, micros)
	}
	z.was, z.runs = was, runs
	out := z.next.bounds[:0]
	for i := range m {
		for j := range m {
			out = append(out, z.then[was[i]*n+was[j]]+runs[i]-runs[j])
		}
	}
	z.next.bounds = out
}

// note adds a zone that is not within one found before.
func (z *zones) note(x *zone) {
	z.key = z.key[:0]
	for _, w := range x.words {
		z.key = number(z.key, w)
	}
	others := z.of[string(z.key)]
	for _, i := range others {
		if within(x.bounds, z.all[i].bounds) {
			return
		}
	}
	z.of[string(z.key)] = append(others, int32(len(z.all)))
	z.all = append(z.all, zone{slices.Clone(x.words), slices.Clone(x.timers), slices.Clone(x.bounds), x.parent, x.via})
	z.memory += int64(128 + 8*len(x.words) + 4*len(x.timers) + 8*len(x.bounds))
	if z.wanted(x.words) {
		z.hit = len(z.all) - 1
	}
}

func within(a, b []int64) bool {
	for i := range a {
		if a[i] > b[i] {
			return false
		}
	}
	return true
}

func (z *zones) path() []move {
	var way []move
	if z.last.event >= 0 {
		way = append(way, z.last)
	}
	for i := int32(z.hit); z.all[i].parent >= 0; i = z.all[i].parent {
		way = append(way, z.all[i].via)
	}
	slices.Reverse(way)
	return way
}
