package explore

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// tracer runs Apply on one packed state and notes which fields it reads before
// it writes them, and what it writes.
type tracer struct {
	p     *program.Program
	space *space
	clock *clocks
	plain *state.Layout
	m     *step.Machine // on a watched layout

	now, was *state.State // was is for what a property sees before an event
	look     View         // at now
	before   View         // at was
	watch    []bits       // by task: what it may rest until

	read    []uint32 // by field: the run that has read it
	written []uint32 // by variable: the run that has written it
	run     uint32
	reads   []int32 // fields, in the order of their first reads
	writes  []int32 // variables
	changed bits    // variables that may have changed in this run
	outside []int32 // variables outside the slice that a property has read
	asked   []int32 // conditions that a property asks for, and the tellings do not have
	looked  []int32 // variables of merged values that a property has looked at itself
	judging bool    // a property is looking
	cone    *cone
	goal    []int32  // conditions that the tellings have
	choices []uint32 // what to choose for the free variables that are read first
	chosen  []uint32 // what was chosen
	forced  []int32  // free variables that have been given a value
	effects []step.Effect
}

// base is the time of a traced event, and waiting the due time of a timer
// that has been running before: whatever Apply arms is due at base or later.
const (
	base    int64 = 1 << 40
	waiting int64 = 1
)

func newTracer(p *program.Program, x *influence, s *space, k *clocks, c *cone) *tracer {
	t := &tracer{p: p, space: s, clock: k, plain: state.NewLayout(p), cone: c,
		read: make([]uint32, len(s.fields)), written: make([]uint32, len(p.Vars)), changed: newBits(len(p.Vars)),
		watch: make([]bits, len(p.Tasks))}
	t.m = step.On(p, t.plain.Watched(t))
	t.now, t.was = t.plain.Start(p), t.plain.Start(p)
	t.look = View{t.m.L, t.now, signal.New(p, t.m.L), nil}
	t.look.holds = t.holds(x, t.look.Graph)
	past := t.plain.Watched(pastWatcher{t})
	t.before = View{past, t.was, signal.New(p, past), nil}
	t.before.holds = t.holds(x, t.before.Graph)
	for i := range p.Tasks {
		t.watch[i] = newBits(len(p.Vars))
		x.code(int32(i), func(in *program.Instr) {
			if in.Op == program.Until {
				x.wire.cond(in.A, t.watch[i].add)
			}
		})
	}
	t.m.Asleep = func(task int32) bool { return !t.changed.meets(t.watch[task]) }
	return t
}

// holds asks a graph about a condition for a property: what the condition
// depends on must be in the slice, what the graph reads beyond that need not.
func (t *tracer) holds(x *influence, g *signal.Graph) func(cond int32) bool {
	return func(cond int32) bool {
		if !slices.Contains(t.goal, cond) {
			t.asked = append(t.asked, cond)
		}
		x.wire.cond(cond, func(v int32) {
			if t.space.of[v] < 0 && t.cone.changes(v) {
				t.outside = append(t.outside, v)
			}
		})
		t.judging = false
		is := g.Holds(cond)
		t.judging = true
		return is
	}
}

// Read is told of a read of the state after, or in the middle of, an event.
// What an event has written may hang on variables outside the slice, or be a
// value that stands for others; a property that looks at it must know better.
func (t *tracer) Read(_ *state.State, v int32) {
	f := t.space.of[v]
	switch {
	case t.written[v] != t.run:
		t.note(v)
	case t.judging && f < 0 && t.cone.changes(v):
		t.outside = append(t.outside, v)
	case t.judging && f >= 0 && t.space.fields[f].class != nil:
		t.looked = append(t.looked, v)
	}
}

// note notes that what comes of a run depends on a variable.
func (t *tracer) note(v int32) {
	f := t.space.of[v]
	switch {
	case f < 0 && t.judging && t.cone.changes(v):
		t.outside = append(t.outside, v)
		return
	case f < 0 && t.cone.free(v):
		t.choose(v)
		return
	case f < 0:
		return
	}
	if t.judging && t.space.fields[f].class != nil {
		t.looked = append(t.looked, v)
	}
	t.noteField(f)
	if x := &t.p.Vars[v]; x.Kind == program.RecorderState && t.space.hangs[x.Owner] >= 0 {
		t.noteField(t.space.hangs[x.Owner])
	}
}

// choose gives a free variable a value when it is first read.
func (t *tracer) choose(v int32) {
	if slices.Contains(t.forced, v) {
		return
	}
	value := uint32(0)
	if n := len(t.chosen); n < len(t.choices) {
		value = t.choices[n]
	}
	t.chosen = append(t.chosen, value)
	t.reads = append(t.reads, -int32(t.p.Vars[v].Size))
	t.force(v, value)
}

// force gives a free variable a value for this run.
func (t *tracer) force(v int32, value uint32) {
	t.forced = append(t.forced, v)
	t.plain.Set(t.now, v, value)
}

// show lets the page of a button be on the surfaces that are free to show it.
func (t *tracer) show(button int32) {
	for _, s := range t.p.Surfaces {
		for i, page := range s.Pages {
			if page == t.p.Buttons[button].Page && t.space.of[s.Page] < 0 && t.cone.free(s.Page) {
				t.force(s.Page, uint32(i))
			}
		}
	}
}

func (t *tracer) noteField(f int32) {
	if t.read[f] != t.run {
		t.read[f] = t.run
		t.reads = append(t.reads, f)
	}
}

// Put is told of a write. One over a value that nothing has read is taken for
// a change: to compare would be to read.
func (t *tracer) Put(s *state.State, v int32, value uint32) bool {
	known := t.written[v] == t.run
	if f := t.space.of[v]; f >= 0 {
		known = known || t.read[f] == t.run
	}
	if t.written[v] != t.run {
		t.written[v] = t.run
		t.writes = append(t.writes, v)
	}
	if known && t.plain.Get(s, v) == value {
		return false
	}
	t.changed.add(v)
	return true
}

// pastWatcher is told of reads of the state before an event.
type pastWatcher struct{ t *tracer }

func (w pastWatcher) Read(_ *state.State, v int32)         { w.t.note(v) }
func (w pastWatcher) Put(*state.State, int32, uint32) bool { return false }

// begin readies a run on a packed state.
func (t *tracer) begin(words []uint64) {
	t.run++
	t.reads, t.writes, t.chosen, t.forced = t.reads[:0], t.writes[:0], t.chosen[:0], t.forced[:0]
	clear(t.changed)
	t.space.unpack(t.plain, words, t.now)
	t.now.Now = base
	for _, timer := range t.clock.list {
		t.now.Due[timer] = state.Off
		if t.clock.runs(timer, words) {
			t.now.Due[timer] = waiting
		}
	}
}

// reset gives the variables outside the slice that a run has written their
// values at power-on again.
func (t *tracer) reset() {
	for _, v := range t.writes {
		if t.space.of[v] < 0 {
			t.plain.Set(t.now, v, t.p.Vars[v].Start)
		}
	}
	for _, v := range t.forced {
		t.plain.Set(t.now, v, t.p.Vars[v].Start)
	}
	for i := range t.now.Due {
		t.now.Due[i] = state.Off
	}
}

// judge runs a condition on a packed state.
func (t *tracer) judge(words []uint64, holds func(*View) bool) bool {
	t.begin(words)
	t.judging = true
	t.look.Graph.Look(t.now)
	is := holds(&t.look)
	t.judging = false
	t.reset()
	return is
}
