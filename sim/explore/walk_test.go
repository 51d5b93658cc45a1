package explore

import (
	"fmt"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// pack packs a state of the stepper as an engine sees it.
func (g *engine) pack(m *step.Machine, s *state.State, budget int) []uint64 {
	words := make([]uint64, g.space.words)
	for i := range g.space.fields {
		if f := &g.space.fields[i]; f.v >= 0 {
			f.set(words, f.number(m.L.Get(s, f.v)))
		}
	}
	for r, f := range g.space.hangs {
		if rec := &g.p.Recorders[r]; f >= 0 && m.L.Get(s, rec.State) == program.MachineStarting && s.Due[rec.Timer] < 0 {
			g.space.fields[f].set(words, 1)
		}
	}
	if g.space.budget >= 0 {
		g.space.fields[g.space.budget].set(words, uint32(budget))
	}
	return words
}

// eventOf is the engine's event that an event of the stepper is, or -1 when
// it is outside the slice, or its gate is shut.
func (g *engine) eventOf(e step.Event, words []uint64) int32 {
	for i := range g.evs {
		x := &g.evs[i]
		if x.Kind != e.Kind || x.A != e.A || x.B != e.B {
			continue
		}
		if slices.ContainsFunc(x.when, func(w gate) bool { return w.field < 0 || g.space.fields[w.field].get(words) == w.value }) && g.happens(int32(i), words) {
			return int32(i)
		}
	}
	return -1
}

// outcomes is all that an event can make of a state.
func (g *engine) outcomes(i int32, words []uint64) [][]uint64 {
	var all [][]uint64
	g.each(i, -i-1, words, func(_, leaf int32) {
		out := make([]uint64, len(words))
		g.does.apply(leaf, words, out)
		all = append(all, out)
	})
	return all
}

// walker takes random events through the stepper, and holds each against
// engines that saw the state before.
type walker struct {
	t       *rapid.T
	m       *step.Machine
	s       *state.State
	engines []*engine
	faults  int
	seen    func() // after each event
}

func (w *walker) apply(e step.Event) {
	var was [][]uint64
	for _, g := range w.engines {
		was = append(was, g.pack(w.m, w.s, w.faults))
		if now, want := g.timers(was[len(was)-1], nil), w.running(g); !slices.Equal(now, want) {
			w.t.Fatalf("timers %v run, and %v follow from the variables", want, now)
		}
	}
	fault := e.Kind == step.Fault && uint32(e.B) != program.Well
	if fault {
		w.faults--
	}
	e.At = w.s.Now
	due := slices.Clone(w.s.Due)
	w.m.Apply(w.s, e, nil)
	if w.seen != nil {
		w.seen()
	}
	for k, g := range w.engines {
		if g.space.budget >= 0 && fault && g.space.of[w.m.P.Devices[e.A].Health] < 0 { // outside: it may be left out
			g.space.fields[g.space.budget].set(was[k], uint32(w.faults))
		}
		w.compare(g, e, was[k], due)
	}
}

func (w *walker) running(g *engine) []int32 {
	var list []int32
	for _, timer := range g.clock.list {
		if w.s.Due[timer] != state.Off {
			list = append(list, timer)
		}
	}
	return list
}

// compare holds what an event did against what an engine says that it does:
// exactly that, and exactly so long timers, or, loosely, that among others.
func (w *walker) compare(g *engine, e step.Event, was []uint64, due []int64) {
	is := g.pack(w.m, w.s, w.faults)
	i := g.eventOf(e, was)
	if i < 0 {
		if !slices.Equal(was, is) {
			w.t.Fatalf("%+v changed the slice, which does not have it", e)
		}
		return
	}
	all := g.outcomes(i, was)
	if !slices.ContainsFunc(all, func(x []uint64) bool { return slices.Equal(x, is) }) || !g.cone.loose && len(all) != 1 {
		w.t.Fatalf("%+v made %s of %s, and the explorer %s", e, g.tell(is), g.tell(was), g.tell(all[0]))
	}
	if !g.cone.loose {
		w.compareTimers(g, &g.does.leaves[g.leaf(i, was)], due)
	}
}

func (w *walker) compareTimers(g *engine, l *leaf, due []int64) {
	for _, timer := range w.running(g) {
		want := due[timer]
		for _, a := range l.arms {
			if a.timer == timer {
				want = w.s.Now + a.micros
			}
		}
		if w.s.Due[timer] != want {
			w.t.Fatalf("timer %d is due at %d, and for the explorer at %d", timer, w.s.Due[timer], want)
		}
	}
}

func (g *engine) tell(words []uint64) (text string) {
	for i := range g.space.fields {
		if f := &g.space.fields[i]; f.v >= 0 && f.get(words) != 0 {
			text += g.p.Vars[f.v].Name + "=" + string(rune('0'+f.get(words))) + " "
		}
	}
	return "{" + text + "}"
}

// walk takes random events, and time between them.
func (w *walker) walk(p *program.Program) {
	for range rapid.IntRange(1, 40).Draw(w.t, "events") {
		if e, ok := anyEvent(w.t, p, w); ok && w.m.Enabled(w.s, e) {
			w.apply(e)
		}
		until := w.s.Now + rapid.SampledFrom([]int64{0, 1000, 250_000, 500_000, 2_000_000, 10_000_000}).Draw(w.t, "time")
		for {
			timer, due := w.s.Next()
			if timer < 0 || due > until {
				break
			}
			w.s.Now = max(w.s.Now, due)
			w.apply(step.Event{Kind: step.Expire, A: timer})
		}
		w.s.Now = until
	}
}

func anyEvent(t *rapid.T, p *program.Program, w *walker) (step.Event, bool) {
	which := func(n int) int32 { return int32(rapid.IntRange(0, n-1).Draw(t, "which")) }
	switch kind := rapid.IntRange(0, 11).Draw(t, "kind"); {
	case kind < 8 && len(p.Buttons) > 0:
		return step.Event{Kind: step.Down, A: showing(t, p, w)}, true
	case kind < 9 && len(p.Buttons) > 0:
		return step.Event{Kind: step.Up, A: which(len(p.Buttons))}, true
	case kind < 10 && len(p.Cues) > 0:
		cue := which(len(p.Cues) + 1)
		if now := w.m.L.Get(w.s, p.StandbyVar()); beside(now, cue) && rapid.Bool().Draw(t, "stand") {
			return step.Event{Kind: step.Stand, A: cue}, true
		}
		return step.Event{Kind: step.Go, A: cue - 1}, true
	case kind < 11 && len(p.Cues) > 0:
		cue := which(len(p.Cues))
		return step.Event{Kind: step.Moment, A: cue}, p.Cues[cue].By != program.NoMoment
	}
	d, h := which(len(p.Devices)), uint32(which(int(program.Healths)))
	now := w.m.L.Get(w.s, p.Devices[d].Health)
	can := (&engine{p: p}).canBe(d, h) && (now == program.Well) != (h == program.Well) && (h == program.Well || w.faults > 0)
	return step.Event{Kind: step.Fault, A: d, B: int32(h)}, can
}

func showing(t *rapid.T, p *program.Program, w *walker) int32 {
	var can []int32
	for b := range p.Buttons {
		if w.m.Showing(w.s, int32(b)) {
			can = append(can, int32(b))
		}
	}
	return rapid.SampledFrom(can).Draw(t, "button")
}

// engines is one for everything, and a few for slices of random variables,
// strict and loose.
func engines(t *rapid.T, p *program.Program, faults int) []*engine {
	x := newInfluence(p)
	all := x.newCone(faults > 0, false)
	all.everything()
	list := []*engine{newEngine(p, x, Property{}, all, all.tellings(nil, nil), Options{Faults: faults})}
	for range 3 {
		c := x.newCone(faults > 0, rapid.Bool().Draw(t, "loose"))
		exact := newBits(len(p.Vars)) // what is watched; values of the others merge
		for range rapid.IntRange(1, 3).Draw(t, "variables") {
			v := int32(rapid.IntRange(0, len(p.Vars)-1).Draw(t, "variable"))
			c.needVar(v)
			exact.add(v)
		}
		c.close()
		list = append(list, newEngine(p, x, Property{}, c, c.tellings(nil, exact), Options{Faults: faults}))
	}
	return list
}

// walks holds random walks of a program against slices of it: what an event
// does to a slice depends on the slice alone, and the explorer knows it; which
// timers run follows from the variables.
func walks(t *rapid.T, p *program.Program) {
	m := step.New(p)
	faults := rapid.IntRange(0, 2).Draw(t, "faults")
	w := &walker{t: t, m: m, s: m.Start(), engines: engines(t, p, faults), faults: faults}
	w.walk(p)
}

func TestWalksOfRandomShows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { walks(t, randomShow(t)) })
}

func randomShow(t *rapid.T) *program.Program {
	m := simtest.Rack(t)
	simtest.Show(t, m)
	return m.Done(t)
}

// Two screens and a bank share one tie line, and who holds it decides where routes go.
func TestWalksOfATieLine(t *testing.T) {
	m := simtest.New()
	black, camera, laptop, guest := int32(1), m.Source("camera", "live"), m.Source("laptop", "live"), m.Source("guest", "live")
	feed := m.Switch("router.1", black, camera, laptop, guest)
	line := m.Tie("line", feed)
	for i, name := range []string{"hall", "lobby"} {
		sw := m.Switch(fmt.Sprint("mixer.", i+1), black, line, guest)
		m.Destination(name, m.Out(sw), program.AlwaysOnAir)
	}
	for d := range int32(2) {
		for _, from := range []int32{black, camera, laptop, guest} {
			m.Button("route", m.Do(program.Route, d, from, 0))
		}
	}
	m.Button("line", m.Do(program.RouteTie, 0, guest, 0))
	main := m.Bank("main", black, line, guest)
	for pick := range int32(3) {
		m.Button("cut", m.Do(program.CutTo, main, pick, 0))
		m.Button("preset", m.Do(program.PresetTo, main, pick, 0))
	}
	p := m.Done(t)
	rapid.Check(t, func(t *rapid.T) { walks(t, p) })
}

func TestWalksOfTheDemo(t *testing.T) {
	p := demo(t)
	rapid.Check(t, func(t *rapid.T) { walks(t, p) })
}

func TestWalksOfTheSmallShow(t *testing.T) {
	p := compiled(t, "../../testdata/shows/small/small.show", "../../testdata/shows/small/rack.yaml")
	rapid.Check(t, func(t *rapid.T) { walks(t, p) })
}

func compiled(t simtest.Test, show, rack string) *program.Program {
	text, err := os.ReadFile(show)
	if err != nil {
		t.Fatalf("%v", err)
	}
	plan, err := os.ReadFile(rack)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return simtest.Compile(t, string(text), string(plan))
}
