// Package surface is what lies between people's fingers and a running show:
// presses in, and what every surface shows out.
//
// A kind of surface (OSC, HTTP, MIDI, a keyboard …) is a sub-package. It turns
// what it hears into Presses for a Desk, and what the Desk shows into its own
// protocol. Nothing here knows what a press does.
package surface

import (
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// Kind is what a press is.
type Kind uint8

// The kinds of press.
const (
	Down       Kind = iota // a finger goes down on Button
	Up                     // and comes up
	Go                     // fire Cue, or the one on standby when Cue is -1
	Back                   // standby goes back by one cue; nothing is fired
	Skip                   // standby goes on by one cue; nothing is fired
	StopAll                // every running script ends, pictures stay
	Resume                 // an operator lets a restarted controller send again
	Resend                 // what Destination should show is sent again
	Keep                   // the show on trial stays
	Return                 // the show on trial goes now: the one before comes back
	TakeOver               // from now only By's presses count on Surface
	GiveBack               // and everybody's again; Surface -1 is all that By has taken
	Disarm                 // Cue, or with -1 every cue, does not fire by the clock or the timecode
	Arm                    // it does again
	Adopt                  // what Destination was seen to be is what the show wants from now on
	SwitchOver             // the other controller of a pair is to lead, or this one when nobody does

	Kinds // how many there are
)

// Press is what an operator does. By says who, for the log: a name, or the
// sender's address. Number tells repeats apart: a press with the number that
// the same By sent last is a duplicate and ignored; 0 is never one. Of is the
// program that the indices are of, as View.Program had it: a press that meets
// a reload would else fire another button; nil is whichever runs.
type Press struct {
	Of          *program.Program
	Kind        Kind
	Surface     int32 // Program.Surfaces, or -1
	Button      int32 // Program.Buttons
	Cue         int32 // Program.Cues, or -1
	Destination int32 // of Resend and Adopt: View.Outputs, in which Program.Destinations come first
	By          string
	Number      uint64

	// Judged is what a kind of surface has found by itself, as that no button is
	// at a place: the desk does nothing but log it. nil: the desk decides.
	Judged *Answer
}

// Outcome is what became of a press.
type Outcome uint8

// The outcomes.
const (
	Done     Outcome = iota // it was applied
	Repeated                // a duplicate or a bounce: ignored
	Refused                 // it could not be done now, see Reason
	Held                    // the controller waits for Resume and sends nothing
	Busy                    // too many presses are waiting

	Outcomes // how many there are
)

// Answer goes back to who pressed.
type Answer struct {
	Outcome Outcome
	Reason  step.Reason
	Text    string // for people: "the page is not showing"
}

// View is all that surfaces show, at one moment. It is never changed: a new
// one takes its place. Serial rises by one with each.
type View struct {
	Program *program.Program // what runs, and what all indices here are of
	Serial  uint64
	At      time.Time // of the last turn of the controller, which turns at least twice a second; by the wall clock
	Show    string
	Running string // digest of the program that runs
	OnDisk  string // digest of the file it came from, or WithErrors; another one means that a change waits or was refused
	Held    bool   // nothing is sent until Resume
	Trial   *Trial // the program is on trial; nil when it is there to stay
	Pair    *Pair  // nil when there is but one controller

	// Before is the program that ran before this one, and RanBefore its digest, so
	// that a press that met a reload can be told from one that is late; nil and ""
	// when there was none.
	Before    *program.Program
	RanBefore string

	Holder  []string         // of each of Program.Surfaces: whose presses alone count on it; "" is everybody's
	Page    []int32          // of each of Program.Surfaces: Program.Pages, or -1 where there is none
	Lamps   []step.LampState // of each of Program.Buttons
	Open    []bool           // of each button: its cover is open
	Standby int32            // Program.Cues, len when at the end
	Alerts  []Alert          // the last 20, oldest first
	Away    []int32          // Program.Devices that do not answer
	Outputs []Output         // Program.Destinations, then the fields that devices report
	Drifted []int32          // Program.Destinations or devices' variables seen to differ: Program.Vars

	Clock    *ClockCue // the cue that the clock fires next, or nil
	Code     Code      // the timecode
	Disarmed []int32   // Program.Cues that would fire by themselves and do not
}

// Alert is a text for operators.
type Alert struct {
	At   time.Time
	Text string
}

// Desk is a running show, as surfaces see it. All methods may be called from
// any goroutine.
type Desk interface {
	// Press applies a press and says what became of it. It waits for its turn,
	// at most a second.
	Press(Press) Answer
	// Load loads the show from its file again. It takes as long as that takes; while
	// it does, another is refused. An error is why it was refused, for people.
	Load(Load) (Loaded, error)
	// View is the newest view.
	View() *View
	// Watch gives a channel that has a value when there is a newer view than
	// was last looked at. stop ends it.
	Watch() (changed <-chan struct{}, stop func())
}
