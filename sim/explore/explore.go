// Package explore goes through everything that can happen with a show: every
// press on every page that its surface shows, at every moment of every running
// script, by all surfaces at once, and device faults when asked. It says of a
// rule, or of any other property, that it is proved, or gives the shortest
// sequence of presses that breaks it.
//
// What an event does is asked of step.Machine.Apply, the same that rehearsal
// and the live controller use, and never written a second time here. An
// Explorer looks which variables an Apply reads and keeps what came of it as
// data, so that Apply runs once for all states that do not differ in those.
//
// A property is decided on a slice: the variables that can make a difference
// to it, and the buttons and cues that can change one of those. Time is real:
// what is reported happens at the times that it says. DEVELOPERS.md, section
// Proving, says why the answers can be trusted.
//
// What may happen from outside is: a finger goes down on a button that is
// showing, comes up again; when the show has cues, `go`, a cue is called by its
// number, standby is skipped by one cue or taken back by one, and a cue's moment
// comes; faults. A device is taken to say nothing that the show did not make it
// do.
package explore

import (
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Verdict is what is known about a property.
type Verdict uint8

// The verdicts. Only Proved and Refuted are certain.
const (
	Unfinished Verdict = iota // a bound was hit: nothing is known
	Proved                    // never and always: in every state; possible: Story gets there
	Refuted                   // never and always: Story breaks it; possible: nothing gets there
	NotChecked                // always: nothing breaks it, but its while never comes about
)

func (v Verdict) String() string {
	return [...]string{"unfinished", "proved", "refuted", "not checked"}[v]
}

// Bound is what ended an exploration early.
type Bound uint8

// The bounds.
const (
	NoBound    Bound = iota
	StateBound       // Options.States
	ByteBound        // Options.Bytes
	Stopped          // Options.Progress said false
)

// Options bound an exploration. The zero value has no faults and no bounds.
type Options struct {
	Faults   int                 // at most so many device faults from power-on
	States   uint64              // at most so many states gone through one by one, zones among them, or nodes of a diagram; 0 is no bound
	Bytes    int64               // at most so much memory for states; 0 is no bound
	NoSlice  bool                // all variables and events matter
	InOrder  bool                // standby moves by go alone: nobody skips, goes back or calls a cue by its number
	Progress func(Progress) bool // called now and then; false ends the exploration; may be nil
}

// Progress is how far an exploration has come.
type Progress struct {
	States  uint64 // found so far
	Waiting uint64 // found, but not gone on from yet
	Presses int    // of the states that are gone on from now
	Bytes   int64
	Timed   bool // an order of events was impossible: now with exact times
}

// Slice is what matters for a property. Lists are sorted.
type Slice struct {
	Vars    []int32 // Program.Vars
	Buttons []int32 // Program.Buttons
	Cues    []int32 // Program.Cues
	Timers  []int32 // Program.Timers
	Values  uint64  // product of the sizes of Vars; the largest uint64 when it is more
}

// Result is a verdict and how it came about.
type Result struct {
	Verdict Verdict
	Bound   Bound // why Unfinished
	Slice   Slice

	// Story is every event from power-on to the state in question, expiries of
	// the slice's timers among them, with the earliest times at which it can
	// happen. It is nil when there is none to tell; power-on itself is an empty
	// story. Presses counts the fingers that go down, `go` and faults.
	Story    []step.Event
	Presses  int
	HasStory bool

	States   uint64 // discrete states found
	Zones    uint64 // states with their timers found, when exact times were needed
	Spurious int    // orders of events excluded since no timing allows them
	Bytes    int64  // memory of states at its largest
	Depth    int    // presses to the farthest state gone on from
}

// View is a state under a property's eyes. Everything it tells, and all that
// is read through Layout and Graph, is noted as read. It is good until the
// property returns.
type View struct {
	Layout *state.Layout
	State  *state.State // read it by Layout.Get only; its Due and Now mean nothing
	Graph  *signal.Graph

	holds func(cond int32) bool // notes what the condition depends on
}

// Get is the value of variable v.
func (v *View) Get(variable int32) uint32 { return v.Layout.Get(v.State, variable) }

// Holds says whether condition c holds. It makes the slice grow by less than
// to ask the Graph: only by what can make a difference to c.
func (v *View) Holds(c int32) bool {
	return v.holds(c)
}

// Property is something that must not be. Both functions must depend on their
// arguments alone. They may read any variable: the slice grows with what they
// read. At least one is set.
type Property struct {
	// State says that a settled state is wrong.
	State func(now *View) bool
	// Event says that an event from one settled state to another is wrong. The
	// event's At means nothing.
	// Effects whose task is outside the slice may be missing.
	Event func(before *View, e step.Event, effects []step.Effect, after *View) bool
	// Vars and Tasks are kept in the slice, whatever is read. An Event property
	// must name the tasks whose effects it looks at.
	Vars, Tasks []int32
}
