package explore

import (
	"math"

	"cuewright/macro/bug"
	"cuewright/macro/program"
	"cuewright/sim/step"
)

// engine explores one slice for one goal: a state or an event that is looked
// for.
type engine struct {
	p     *program.Program
	x     *influence
	o     Options
	goal  Property
	cone  *cone
	slice Slice

	space *space
	clock *clocks
	trace *tracer
	evs   []event
	does  *trees // by event
	is    *trees // one tree: the goal's State
	turns [2]dispatch

	keep, set []uint64
}

// dispatch finds the events that can happen in a state, by cost.
type dispatch struct {
	fields []int32     // those that say which can
	lists  [][][]int32 // by fields, by value: events
	always []int32
}

func newEngine(p *program.Program, x *influence, goal Property, c *cone, t *tellings, o Options) *engine {
	g := &engine{p: p, x: x, o: o, goal: goal, cone: c}
	vars := c.vars.list()
	g.space = newSpace(p, vars, t, o.Faults)
	g.clock = newClocks(p, g.space, c)
	g.slice = c.slice(g.clock.list)
	g.trace = newTracer(p, x, g.space, g.clock, c)
	g.trace.goal = t.goal
	g.events()
	g.does, g.is = newTrees(len(g.evs), g.space.words), newTrees(1, g.space.words)
	g.keep, g.set = make([]uint64, g.space.words), make([]uint64, g.space.words)
	if len(g.evs) > math.MaxUint16 {
		bug.Report("%d events, more than a search can name", len(g.evs))
	}
	for i := range g.evs {
		g.dispatch(int32(i))
	}
	return g
}

func (g *engine) dispatch(i int32) {
	d := &g.turns[g.evs[i].cost]
	for _, when := range g.evs[i].when {
		if when.field < 0 {
			d.always = append(d.always, i)
			continue
		}
		at := -1
		for k, f := range d.fields {
			if f == when.field {
				at = k
			}
		}
		if at < 0 {
			at = len(d.fields)
			d.fields = append(d.fields, when.field)
			d.lists = append(d.lists, make([][]int32, g.space.fields[when.field].mask+1))
		}
		d.lists[at][when.value] = append(d.lists[at][when.value], i)
	}
}

// leaf finds what event i does to a state, and runs it only where it must.
func (g *engine) leaf(i int32, words []uint64) int32 {
	if l := g.does.find(i, words); l >= 0 {
		return l
	}
	return g.run(i, words)
}

// each calls visit with everything that event i can do to a state when free
// variables have any value, from a slot of its tree on.
func (g *engine) each(i, slot int32, words []uint64, visit func(e, leaf int32)) {
	slot = g.does.down(slot, words)
	if *g.does.at(slot) == 0 {
		g.run(i, words)
		slot = g.does.down(slot, words)
	}
	at := *g.does.at(slot)
	if at < 0 {
		visit(i, -at-1)
		return
	}
	t, n := g.trace, g.does.nodes[at]
	for choice := range n.word {
		t.choices = append(t.choices, uint32(choice))
		g.each(i, n.kids+choice, words, visit)
		t.choices = t.choices[:len(t.choices)-1]
	}
}

// happens says whether an event whose gate is open can happen.
func (g *engine) happens(i int32, words []uint64) bool {
	e := &g.evs[i]
	return e.Kind != step.Expire || g.clock.runs(e.A, words)
}

// run applies event i to a state and keeps what came of it.
func (g *engine) run(i int32, words []uint64) int32 {
	t, e := g.trace, g.evs[i].Event
	e.At = base
	t.begin(words)
	for w := range g.keep {
		g.keep[w], g.set[w] = ^uint64(0), 0
	}
	var l leaf
	if g.spend(e, words) {
		if g.goal.Event != nil {
			t.was.CopyFrom(t.now)
		}
		if e.Kind == step.Down {
			t.show(e.A)
		}
		t.effects = t.m.Apply(t.now, e, t.effects[:0])
		l.bad = g.blames(e)
		g.gather(&l)
	}
	l.same = true
	for w := range g.keep {
		l.same = l.same && g.keep[w] == ^uint64(0)
	}
	t.reset()
	to := g.does.leaf(l, g.keep, g.set)
	g.does.grow(i, g.space.fields, t.reads, t.chosen, words, to)
	return to
}

// spend takes a fault out of the budget; there may be none left.
func (g *engine) spend(e step.Event, words []uint64) bool {
	if e.Kind != step.Fault || uint32(e.B) == program.Well {
		return true
	}
	f := &g.space.fields[g.space.budget]
	g.trace.noteField(g.space.budget)
	left := f.get(words)
	if left == 0 {
		return false
	}
	g.puts(g.space.budget, left-1)
	return true
}

func (g *engine) puts(at int32, value uint32) {
	f := &g.space.fields[at]
	g.keep[f.word] &^= f.mask << f.shift
	g.set[f.word] |= uint64(value) << f.shift
}

// blames asks the goal about the event that has been run.
func (g *engine) blames(e step.Event) bool {
	if g.goal.Event == nil {
		return false
	}
	t := g.trace
	t.judging = true
	t.before.Graph.Look(t.was)
	t.look.Graph.Look(t.now)
	bad := g.goal.Event(&t.before, e, t.effects, &t.look)
	t.judging = false
	return bad
}

// gather takes what a run has written and the timers that it has started.
func (g *engine) gather(l *leaf) {
	t := g.trace
	for _, v := range t.writes {
		if f := g.space.of[v]; f >= 0 {
			g.puts(f, g.space.fields[f].number(t.plain.Get(t.now, v)))
		}
	}
	for r, f := range g.space.hangs {
		state := g.p.Recorders[r].State
		if f < 0 || t.read[g.space.of[state]] != t.run && t.written[state] != t.run {
			continue
		}
		hangs := uint32(0)
		if t.plain.Get(t.now, state) == program.MachineStarting && t.now.Due[g.p.Recorders[r].Timer] < 0 {
			hangs = 1
		}
		g.puts(f, hangs)
	}
	for _, timer := range g.clock.list {
		if due := t.now.Due[timer]; due >= base {
			l.arms = append(l.arms, arm{timer, due - base})
		}
	}
}

// wanted says whether a state is what is looked for.
func (g *engine) wanted(words []uint64) bool {
	if g.goal.State == nil {
		return false
	}
	l := g.is.find(0, words)
	if l < 0 {
		bad := g.trace.judge(words, g.goal.State)
		for w := range g.keep {
			g.keep[w], g.set[w] = ^uint64(0), 0
		}
		l = g.is.leaf(leaf{bad: bad}, g.keep, g.set)
		g.is.grow(0, g.space.fields, g.trace.reads, g.trace.chosen, words, l)
	}
	return g.is.leaves[l].bad
}

// outgrown says whether the goal has read something outside the slice, or
// looked at values that have been merged.
func (g *engine) outgrown() bool {
	return len(g.trace.outside) > 0 || len(g.trace.asked) > 0 || len(g.trace.looked) > 0
}

// timers appends the timers that run in a state, in table order.
func (g *engine) timers(words []uint64, to []int32) []int32 {
	for _, timer := range g.clock.list {
		if g.clock.runs(timer, words) {
			to = append(to, timer)
		}
	}
	return to
}

func (g *engine) consistent(ok bool, i int32) {
	if !ok {
		bug.Report("a timer runs that nothing has started, after event %+v", g.evs[i].Event)
	}
}

func (g *engine) impossible(path []move) {
	bug.Report("the exact search found a path of %d events that no timing allows", len(path))
}
