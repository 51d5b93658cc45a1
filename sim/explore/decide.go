package explore

import "cuewright/macro/program"

// Explorer explores one program. It serves one goroutine; make one for each
// to decide several properties at once.
type Explorer struct {
	p *program.Program
	x *influence
}

// New makes an Explorer of p, which must be valid (program.Validate).
func New(p *program.Program) *Explorer { return &Explorer{p: p, x: newInfluence(p)} }

// Rule decides rule i of the program.
func (e *Explorer) Rule(i int, o Options) Result {
	r := &e.p.Rules[i]
	switch r.Kind {
	case program.Possible:
		return e.Reaches(r.Cond, o)
	case program.Never:
		return e.Property(e.condition(r.Cond), o)
	}
	broken := Property{State: func(v *View) bool {
		return (r.While < 0 || v.Holds(r.While)) && !v.Holds(r.Cond)
	}}
	broken.Vars = append(e.condition(r.Cond).Vars, e.condition(r.While).Vars...)
	is := e.Property(broken, o)
	if is.Verdict != Proved || r.While < 0 {
		return is
	}
	if while := e.Reaches(r.While, o); while.Verdict != Proved {
		is.Verdict, is.Bound = while.Verdict, while.Bound
		if while.Verdict == Refuted {
			is.Verdict = NotChecked
		}
	}
	return is
}

// condition is the property that a condition holds.
func (e *Explorer) condition(c int32) Property {
	q := Property{State: func(v *View) bool { return v.Holds(c) }}
	e.x.wire.cond(c, func(v int32) { q.Vars = append(q.Vars, v) })
	return q
}

// Reaches decides whether a condition can come to hold: Proved, with a story
// that gets there, or Refuted.
func (e *Explorer) Reaches(cond int32, o Options) Result {
	r := e.Property(e.condition(cond), o)
	switch r.Verdict {
	case Proved:
		r.Verdict = Refuted
	case Refuted:
		r.Verdict = Proved
	}
	return r
}

// Property decides whether a property never comes about. Proved says that it
// does not, Refuted that it does, with a story.
func (e *Explorer) Property(q Property, o Options) Result {
	whole := o.NoSlice || e.x.mayRunLong()
	if !whole {
		if r := e.explore(q, o, true, false); r.Verdict == Proved || r.Bound == Stopped {
			return r
		}
	}
	return e.explore(q, o, false, whole)
}

// explore decides a property on its slice. Loosely, only Proved is sure, and
// a story may be impossible.
func (e *Explorer) explore(q Property, o Options, loose, whole bool) Result {
	c := e.x.newCone(o.Faults > 0, loose)
	c.needVars(q.Vars)
	for _, t := range q.Tasks {
		c.needTask(t)
	}
	if whole {
		c.everything()
	}
	var goal []int32
	exact := newBits(len(e.p.Vars))
	if whole {
		exact = nil
	}
	for {
		c.close()
		g := newEngine(e.p, e.x, q, c, c.tellings(goal, exact), o)
		r := g.decide()
		if !g.outgrown() {
			return r
		}
		c.needVars(g.trace.outside)
		goal = append(goal, g.trace.asked...)
		for _, v := range g.trace.looked {
			exact.add(v)
		}
	}
}

// decide searches when timers may end in any order, and with exact times when
// that finds only an order that is impossible.
func (g *engine) decide() Result {
	s := g.seek()
	r := Result{Slice: g.slice, States: s.states, Bytes: s.bytes, Depth: s.presses, Bound: s.bound}
	switch {
	case s.bound != NoBound || g.outgrown():
		return r
	case !s.hit:
		r.Verdict = Proved
		return r
	}
	if at := g.times(s.path); at != nil {
		g.refute(&r, s.path, at)
		return r
	}
	g.exact(&r, s.path)
	return r
}

// sight is what has been seen of a space when timers may end in any order.
type sight struct {
	states  uint64
	bytes   int64
	presses int
	bound   Bound
	hit     bool
	path    []move // to the goal that was hit
}

// afoot is how many states are gone through one by one before it is tried to
// sweep over all at once.
const afoot = 1 << 14

// seek looks for the goal: one state after the other while there are few, with
// sets of states when there are many, and again one by one when these are not
// such that sets help.
func (g *engine) seek() sight {
	s := g.search(afoot)
	s.run()
	if !s.more() {
		return s.sight()
	}
	w := g.sweep()
	w.run()
	if !w.gaveUp {
		return w.sight()
	}
	s = g.search(0)
	s.run()
	return s.sight()
}

func (g *engine) refute(r *Result, path []move, at []int64) {
	r.Verdict, r.HasStory = Refuted, true
	r.Story, r.Presses = g.story(path, at)
}

// exact decides with exact times, when a path is impossible. The timers that it
// is impossible by are timed; what then is found is possible, or impossible by
// more of them.
func (g *engine) exact(r *Result, path []move) {
	var timed []int32
	var at []int64
	for at == nil {
		r.Spurious++
		was := len(timed)
		if timed = unique(append(timed, g.against(path)...)); len(timed) == was {
			g.impossible(path)
			return
		}
		z := g.zones(timed)
		z.run()
		r.Zones, r.Bound, r.Depth = r.Zones+uint64(len(z.all)), z.bound, max(r.Depth, z.presses)
		r.Bytes = max(r.Bytes, z.memory)
		if z.bound != NoBound || g.outgrown() {
			return
		}
		if !z.over() {
			r.Verdict = Proved
			return
		}
		path = z.path()
		at = g.times(path)
	}
	g.refute(r, path, at)
}

// Reach counts the discrete states that can be reached when running timers may
// end in any order, on all variables. It says false when a bound was hit; then
// there are at least so many.
func (e *Explorer) Reach(o Options) (states uint64, ok bool) {
	s := e.whole(o).seek()
	return s.states, s.bound == NoBound
}

// whole explores everything, for nothing.
func (e *Explorer) whole(o Options) *engine {
	c := e.x.newCone(o.Faults > 0, false)
	c.everything()
	return newEngine(e.p, e.x, Property{}, c, c.tellings(nil, nil), o)
}
