package explore

import "cuewright/sim/step"

// margin is what a story should keep away from what is hardly possible: gap
// is how long before a timer runs out a press must come that comes before it,
// and last how long the end of the story must last.
type margin struct{ gap, last int64 }

// margins are tried in turn; the last one asks for no more than must be.
var margins = [...]margin{{1000, 1000}, {1000, 0}, {1, 0}}

// atLeast says that events[then] comes at least micros after events[first];
// event 0 is power-on, at 0. Timer is what asks for that, or -1.
type atLeast struct {
	first, then int
	micros      int64
	timer       int32
}

// times gives the earliest times at which the events of a path can come, in
// microseconds from power-on, or nil when they cannot come in that order.
func (g *engine) times(path []move) []int64 {
	for _, m := range margins {
		if at, _ := earliest(len(path)+1, g.constraints(path, m)); at != nil {
			return at[1:]
		}
	}
	return nil
}

// against is the timers by which the events of an impossible path cannot come
// in that order: what these ask for contradicts itself.
func (g *engine) against(path []move) []int32 {
	_, why := earliest(len(path)+1, g.constraints(path, margins[len(margins)-1]))
	return why
}

// clock is a running timer on a path: the event that started it and how long
// it runs.
type clock struct {
	timer int32
	since int
	runs  int64
}

// constraints says what the order of a path asks of its times: events come
// one after the other, a timer runs out exactly when it is due, and none that
// is running is overdue. Timers due at one moment run out in table order, and
// what someone does at that moment comes after them.
func (g *engine) constraints(path []move, m margin) []atLeast {
	words := g.space.start(g.p, g.o.Faults)
	var list []atLeast
	var running []clock
	for n, e := range path {
		at := n + 1
		list = append(list, atLeast{n, at, 0, -1})
		ev := g.evs[e.event]
		for _, k := range running {
			switch {
			case ev.Kind != step.Expire:
				list = append(list, atLeast{at, k.since, m.gap - k.runs, k.timer})
			case k.timer == ev.A:
				list = append(list, atLeast{k.since, at, k.runs, k.timer}, atLeast{at, k.since, -k.runs, k.timer})
			case k.timer < ev.A:
				list = append(list, atLeast{at, k.since, 1 - k.runs, k.timer})
			default:
				list = append(list, atLeast{at, k.since, -k.runs, k.timer})
			}
		}
		next := make([]uint64, len(words))
		g.does.apply(e.leaf, words, next)
		running = g.carry(running, at, e, next)
		words = next
	}
	for _, k := range running {
		list = append(list, atLeast{len(path), k.since, m.last - k.runs, k.timer})
	}
	return list
}

// carry is the timers that run after an event.
func (g *engine) carry(running []clock, at int, e move, words []uint64) []clock {
	ev := &g.evs[e.event]
	var after []clock
	for _, timer := range g.timers(words, nil) {
		k := clock{timer: timer, since: -1}
		if ev.Kind != step.Expire || ev.A != timer {
			for _, was := range running {
				if was.timer == timer {
					k = was
				}
			}
		}
		for _, a := range g.does.leaves[e.leaf].arms {
			if a.timer == timer {
				k.since, k.runs = at, a.micros
			}
		}
		g.consistent(k.since >= 0, e.event)
		after = append(after, k)
	}
	return after
}

// earliest solves difference constraints over n events for their least times
// (Bellman and Ford's algorithm for longest paths from event 0). When they
// contradict each other it gives the timers of some that do.
func earliest(n int, list []atLeast) (at []int64, why []int32) {
	at = make([]int64, n)
	by := make([]int, n) // the constraint that moved each event last
	for i := range by {
		by[i] = -1
	}
	for round := range n + 1 {
		moved := -1
		for i, c := range list {
			if t := at[c.first] + c.micros; t > at[c.then] {
				at[c.then], by[c.then] = t, i
				moved = c.then
			}
		}
		switch {
		case moved < 0:
			return at, nil
		case at[0] > 0:
			return nil, blamed(n, list, by, 0)
		case round == n:
			return nil, blamed(n, list, by, moved)
		}
	}
	return at, nil
}

// blamed is the timers of constraints that contradict each other: those that,
// one after the other, moved power-on, or that go round.
func blamed(n int, list []atLeast, by []int, event int) (timers []int32) {
	from := event
	for range n {
		if by[event] < 0 {
			break
		}
		event = list[by[event]].first
	}
	if by[event] >= 0 {
		from = event // on a circle
	}
	for event = from; by[event] >= 0; {
		c := &list[by[event]]
		if c.timer >= 0 {
			timers = append(timers, c.timer)
		}
		if event = c.first; event == from {
			break
		}
	}
	return unique(timers)
}

// story is a path with its times.
func (g *engine) story(path []move, at []int64) ([]step.Event, int) {
	story, presses := make([]step.Event, len(path)), 0
	for i, e := range path {
		story[i] = g.evs[e.event].Event
		story[i].At = at[i]
		presses += g.evs[e.event].cost
	}
	return story, presses
}
