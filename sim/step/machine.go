// Package step is what a show does: one function, Apply, that an event goes
// into and a changed state and its effects come out of.
//
// Rehearsal, exploring and the live controller all use it, so that what was
// proved is what runs. It knows no clock, no chance and no wire: the same
// state and event give the same state and effects. Every event ends: a show
// that would run on and on within one is stopped and says so. What a picture
// shows is not here (sim/signal) and neither is what is dangerous (sim/onair).
package step

import (
	"cuewright/macro/program"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/state"
)

// FuelPerEvent is how many instructions one event may run. A show has no
// loops, so only macros that run macros twice over, many deep, get near it.
const FuelPerEvent = 1 << 16

// resting is the address of a task that is not going on.
const resting int32 = -1

// Machine applies events to states of one program. It holds scratch memory
// and serves one goroutine; any number of states can be given to it.
type Machine struct {
	P      *program.Program
	L      *state.Layout
	Graph  *signal.Graph
	Routes *route.Finder

	// Asleep, when set, is asked before a resting task is: true means that
	// nothing has changed that could wake it since all tasks came to rest.
	Asleep func(task int32) bool

	tables
	s      *state.State // what Apply is changing
	out    []Effect
	pc     []int32  // of each task: its next instruction, or resting
	live   []uint64 // bit t%64 of word t/64: task t is not resting
	looked bool     // Graph has seen s as it is
	group  int32
	fuel   int
	passed []Effect // Advance's effects of one event
}

// New makes a machine for p, which must be valid (program.Validate).
func New(p *program.Program) *Machine { return On(p, state.NewLayout(p)) }

// On is New on a layout of p's, perhaps a watched one.
func On(p *program.Program, l *state.Layout) *Machine {
	m := &Machine{P: p, L: l, Graph: signal.New(p, l), Routes: route.New(p, l), tables: newTables(p)}
	m.pc = make([]int32, len(p.Tasks))
	m.live = make([]uint64, len(m.waits))
	for t := range m.pc {
		m.pc[t] = resting
	}
	return m
}

// Start is the state at power-on.
func (m *Machine) Start() *state.State { return m.L.Start(m.P) }

// Apply changes s as e says, lets every task that can go on do so, and
// appends what came of it to effects. Timers that are due before e.At are the
// caller's to apply first (see Advance). An event that cannot happen changes
// nothing.
func (m *Machine) Apply(s *state.State, e Event, effects []Effect) []Effect {
	m.begin(s, effects)
	s.Now = max(s.Now, e.At)
	switch e.Kind {
	case Down:
		m.down(e.A)
	case Up:
		m.up(e.A)
	case Go:
		m.goCue(e.A, -1)
	case Expire:
		m.expire(e.A)
	case Fault:
		m.fault(e.A, uint32(e.B))
	case Observe:
		m.observe(e.A, uint32(e.B))
	case StopAll:
		m.stopAll()
	case Stand:
		m.mark(m.standby, uint32(e.A))
	case Moment:
		m.moment(e.A)
	case Safe:
		m.safe(e.A)
	case Declined:
		m.mark(m.P.Tasks[e.A].Failed, 1)
	}
	m.settle()
	effects = m.out
	m.s, m.out = nil, nil
	return effects
}

func (m *Machine) begin(s *state.State, effects []Effect) {
	m.s, m.out = s, effects
	m.looked, m.group, m.fuel = false, 0, FuelPerEvent
}

// Advance lets time pass until `to`: it applies an Expire event for every
// timer that is due by then, the earliest first and in table order within one
// moment, then sets Now. visit sees each event after it was applied; its
// effects are valid only until it returns.
func (m *Machine) Advance(s *state.State, to int64, visit func(Event, []Effect)) {
	for {
		timer, due := s.Next()
		if timer < 0 || due > to {
			break
		}
		e := Event{Kind: Expire, A: timer, At: max(due, s.Now)}
		m.passed = m.Apply(s, e, m.passed[:0])
		visit(e, m.passed)
	}
	s.Now = max(s.Now, to)
}

// Enabled says whether an event can change anything: a button's page is
// showing and the button is not down already, a timer is running, a device is
// not in that health yet.
func (m *Machine) Enabled(s *state.State, e Event) bool {
	switch e.Kind {
	case Down:
		b := &m.P.Buttons[e.A]
		return m.Showing(s, e.A) && (b.Down < 0 || m.L.Get(s, b.Down) == buttonUp)
	case Up:
		b := &m.P.Buttons[e.A]
		return b.Down >= 0 && m.L.Get(s, b.Down) != buttonUp
	case Go:
		return e.A >= 0 || m.L.Get(s, m.standby) < uint32(len(m.P.Cues))
	case Expire:
		return s.Due[e.A] != state.Off
	case Fault:
		return m.L.Get(s, m.P.Devices[e.A].Health) != uint32(e.B)
	case Observe:
		return m.L.Get(s, e.A) != uint32(e.B)
	case Stand:
		return m.L.Get(s, m.standby) != uint32(e.A)
	case Moment:
		return m.Ahead(s, e.A)
	case Safe:
		return m.P.Destinations[e.A].AfterCut == program.SafePicture
	case Declined:
		return m.L.Get(s, m.P.Tasks[e.A].Failed) != 1
	}
	return true
}

// set gives a variable of the rack a value; the graph has to look again.
func (m *Machine) set(v int32, value uint32) {
	if v >= 0 && m.L.Put(m.s, v, value) {
		m.looked = false
	}
}

// mark gives a variable of the scripts a value; no picture depends on it.
func (m *Machine) mark(v int32, value uint32) {
	if v >= 0 {
		m.L.Set(m.s, v, value)
	}
}

// get is a variable's value, 0 for none.
func (m *Machine) get(v int32) uint32 {
	if v < 0 {
		return 0
	}
	return m.L.Get(m.s, v)
}

// arm starts a timer; disarm stops it.
func (m *Machine) arm(timer int32, micros int64) {
	if timer >= 0 {
		m.s.Due[timer] = later(m.s.Now, micros)
	}
}

func (m *Machine) disarm(timer int32) {
	if timer >= 0 {
		m.s.Due[timer] = state.Off
	}
}

// latest is the end of time: about 146,000 years after power-on.
const latest int64 = 1 << 62

// later adds without running over.
func later(now, micros int64) int64 {
	if micros > latest-now {
		return latest
	}
	return now + micros
}

// say appends an effect that is not about an action.
func (m *Machine) say(kind EffectKind, reason Reason, task, a int32) {
	m.out = append(m.out, Effect{Kind: kind, Reason: reason, Task: task, A: a, Action: -1, Instr: -1, Device: -1})
}
