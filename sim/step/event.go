package step

import "cuewright/macro/program"

// EventKind is the kind of an event.
type EventKind uint8

// The kinds of event. A is what the comment says.
const (
	Down     EventKind = iota // A Buttons: a finger goes down
	Up                        // A Buttons
	Go                        // A Cues, or -1: the cue on standby
	Expire                    // A Timers: this timer runs out now
	Fault                     // A Devices, B Health
	Observe                   // A Vars, B value: a device says so
	StopAll                   // every running task ends; pictures stay
	Stand                     // A Cues, or how many there are: this cue is on standby, nothing is fired
	Moment                    // A Cues: the clock or timecode has come to this cue's moment
	Safe                      // A Destinations: its safe picture is routed to it, after a power cut
	Declined                  // A Tasks: a device answered no to what this task sent
)

// EventKinds is how many kinds of event there are.
const EventKinds = int(Declined) + 1

// Event is what happens to a show from outside. At is the time in
// microseconds from power-on and never less than the state's Now.
type Event struct {
	Kind EventKind
	A, B int32
	At   int64
}

// EffectKind is the kind of an effect.
type EffectKind uint8

// The kinds of effect.
const (
	Sent    EffectKind = iota // Command goes to Device; Reason RecorderFull when it will not roll
	Failed                    // Command could not be done, Reason says why
	Alerted                   // Text
	Noted                     // Text
	Missed                    // an expectation did not come true: Instr
	Timed                     // a wait until reached its limit: Instr
	Came                      // an expectation or a wait until has come true: Instr
	Ignored                   // a press or run changed nothing, Reason says why; A is the button (NotShowing, CoverOpened, StillDown), the task that was not started (AlreadyRunning, WasQueued), the cue (Passed) or -1
	Fired                     // cue A was fired
	Started                   // task A started
	Ended                     // task A ended
	Blocked                   // a route found no path: Route says which, Holders who holds the tie lines
)

// Reason says why an effect did not do what was asked.
type Reason uint8

// The reasons.
const (
	NoReason       Reason = iota
	DeviceAway            // the device does not answer
	DeviceRefuses         // the device answered no
	RecorderFull          // it cannot roll
	NotShowing            // the button's page is not on its surface
	CoverOpened           // the press only opened the cover
	AlreadyRunning        // the task is running, and says to ignore a second run
	WasQueued             // it will run when the task has ended
	NothingToDo           // nothing to do: no clip loaded, deck not cued, end of the rundown
	IsProtected           // the destination is protected
	NoPath                // no way through the rack, whatever is free
	TiesTaken             // the tie lines that could are held
	StillDown             // the button is already held down
	Passed                // the rundown is past the cue whose moment has come
	TooLong               // it ran on and on within one event, and was ended
)

// Effect is one thing that an event did. Task is the task on whose behalf, or
// -1. Group is the same for effects that belong together in one salvo, and 0
// for those that belong to none; it counts from 1 within one Apply.
type Effect struct {
	Kind    EffectKind
	Reason  Reason
	Task    int32
	A       int32
	Action  int32 // Actions, or -1
	Instr   int32 // Code, or -1
	Group   int32
	Device  int32
	Command program.Command
	Text    string
	Holders []int32 // Ties that are held by others, for Blocked
}
