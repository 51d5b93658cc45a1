// Package onair watches a show for what must not happen on air, without being
// asked: a camera moved in the picture, a deck run out, a refused picture, a
// loop, flashes. It looks at one event at a time: the states before and after
// it and what it did. The same findings come in rehearsal, in proof and live.
//
// A finding is said when something becomes wrong, not again while it stays
// so. What was wrong at power-on is not said. Findings stand where the show
// did it: at the action of this event, or for what a timer brings to its end,
// at the action that started it.
package onair

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Finding is one thing that went wrong. Code is a row of diag's tables, where
// severity and reason stand; What is in the words of the show.
type Finding struct {
	Code string
	At   program.Place
	Task int32 // on whose behalf, or -1
	What string
	Also []Note
}

// Note is another place that a finding points at.
type Note struct {
	At   program.Place
	Text string
}

// Watch watches one run of a show. It carries the short history that the
// checks need: when pictures changed, and who did what last.
type Watch struct {
	*tables
	banks    []cause // by bank: the last transition
	decks    []cause // by deck: the last load or play
	machines []cause // by recorder, then by encoder: the last start or stop
	flashes  []flash // by destination
	drives   []drive // by bus, see busOf

	// for one Look
	lb, la        *state.Layout
	before, after *state.State
	gb, ga        *signal.Graph
	event         step.Event
	effects       []step.Effect
	found         []Finding
	buf           []int32

	asking bool // a proof asks: yes or no, with as few reads as the answer needs
	wrong  bool // the answer is yes
	ways   map[[2]int32]*way
	rings  [][]int32
	pulls  []map[int32][]pull

	can     [][]bool // see values.go
	carried map[int32][]bool
	routes  *route.Finder
}

// tables follow from the program; all watches of a program share them.
type tables struct {
	p     *program.Program
	l     *state.Layout
	own   []int32 // by destination: the switch before it, or -1
	root  []int32 // by task: the script that a branch belongs to, else itself
	calls [][]uint64
}

// NewWatch makes a Watch at the start of a show.
func NewWatch(p *program.Program, l *state.Layout) *Watch {
	w := &Watch{tables: &tables{p: p, l: l}, lb: l, la: l,
		banks: make([]cause, len(p.Banks)), decks: make([]cause, len(p.Decks)),
		machines: make([]cause, len(p.Recorders)+len(p.Encoders)),
		flashes:  make([]flash, len(p.Destinations)),
		drives:   make([]drive, things(p))}
	w.forget()
	w.findOwn()
	w.findCalls()
	return w
}

// forget clears the history: nobody has done anything.
func (w *Watch) forget() {
	for _, all := range [][]cause{w.banks, w.decks, w.machines} {
		for i := range all {
			all[i] = cause{task: -1}
		}
	}
	for i := range w.drives {
		w.drives[i].root = -1
	}
}

// Clone is a Watch with the same history that goes its own way.
func (w *Watch) Clone() *Watch {
	c := *w
	c.banks, c.decks, c.machines = slices.Clone(w.banks), slices.Clone(w.decks), slices.Clone(w.machines)
	c.flashes, c.drives = slices.Clone(w.flashes), slices.Clone(w.drives)
	c.buf, c.found, c.effects = nil, nil, nil
	c.ways, c.carried, c.routes = nil, nil, nil // scratch of whoever asks
	return &c
}

// findOwn finds each destination's own switch: cables lead up to it.
func (t *tables) findOwn() {
	t.own = make([]int32, len(t.p.Destinations))
	for d := range t.own {
		t.own[d] = -1
		node := t.p.Destinations[d].Node
		for range t.p.Nodes {
			n := &t.p.Nodes[node]
			if n.Kind == program.SwitchNode {
				t.own[d] = n.Owner
			}
			if n.Kind != program.PassNode || len(n.Up) == 0 {
				break
			}
			node = n.Up[0]
		}
	}
}

// Look looks at one event. gb and ga have already been turned to the states
// before and after it. What it gives is good until the next Look.
func (w *Watch) Look(before, after *state.State, gb, ga *signal.Graph, event step.Event, effects []step.Effect) []Finding {
	w.turn(Side{w.l, before, gb}, Side{w.l, after, ga}, event, effects)
	for i := range effects {
		w.remember(&effects[i])
	}
	w.transitions(all)
	w.rivals()
	w.blocked(all)
	w.failures(all)
	w.cameras(all)
	w.touched(all)
	if !slices.Equal(before.Words, after.Words) {
		w.ranOut(all)
		w.crosspoints(all)
		w.loops(all)
		w.refused(all)
		w.recordings(all)
		w.protected(all)
		w.unrecorded(all)
		w.flashing()
	}
	return w.found
}

func (w *Watch) say(code string, why cause, what string, also ...Note) {
	w.found = append(w.found, Finding{Code: code, At: why.at, Task: why.task, What: what, Also: also})
}

// turn turns the watch to an event.
func (w *Watch) turn(before, after Side, e step.Event, effects []step.Effect) {
	w.lb, w.before, w.gb = before.Layout, before.State, before.Graph
	w.la, w.after, w.ga = after.Layout, after.State, after.Graph
	w.event, w.effects, w.found = e, effects, nil
}

func (w *Watch) was(v int32) uint32 { return w.lb.Get(w.before, v) }
func (w *Watch) is(v int32) uint32  { return w.la.Get(w.after, v) }
