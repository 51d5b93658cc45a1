// Package program is the compiled show: small finite state, instructions, a
// signal graph and every message that can be sent. A controller runs it
// without the sources; rehearsal and exploring run the very same thing.
//
// Everything is a table, and everything refers to everything else by its
// index in a table; -1 is "none". A Program from Decode or from lower has been
// through Validate, so no index in it is out of range. Nothing here has a
// pointer, a map or a clock: the same show gives the same bytes.
//
// Times are microseconds. It imports nothing of the language or the plan.
package program

// Program is one compiled show.
type Program struct {
	Show, Rack string
	Rate       Rate
	Zone       string // IANA name of the zone of its clock; "" is the machine's
	Files      []File

	Vars   []Var
	Timers []Timer

	Devices      []Device
	Nodes        []Node
	Sources      []Source
	Banks        []Bank
	Keyers       []Keyer
	Switches     []Switch
	Ties         []Tie
	Destinations []Destination
	Inputs       []Input
	Decks        []Deck
	Clips        []Clip
	Recorders    []Recorder
	Encoders     []Encoder
	Cameras      []Camera
	Outlets      []Outlet
	Surfaces     []Surface

	Pages   []Page
	Buttons []Button
	Cues    []Cue
	Macros  []Macro
	Salvos  []Salvo
	Tasks   []Task
	Code    []Instr
	Actions []Action
	Sends   []Send
	Texts   []string
	Conds   []Cond
	Sets    [][]uint32

	Rules      []Rule
	Rehearsals []Rehearsal
	Allows     []Allow

	Messages     []Message
	Observations []Observation
}

// Rate is frames in a second, Num/Den, and whether labels drop numbers.
type Rate struct {
	Num, Den int32
	Drop     bool
}

// File is a source file that went in.
type File struct{ Name, SHA256 string }

// Place is where in the sources a thing stands: Files index, line and column
// from 1. Line 0 is "nowhere".
type Place struct{ File, Line, Column int32 }

// VarKind says what a variable is.
type VarKind uint8

// The kinds of variable, with their domains.
const (
	BankProgram          VarKind = iota // index into Bank.Picks
	BankPreset                          // index into Bank.Picks
	BankTransition                      // Transition
	BankFaded                           // 0, 1: faded to black
	KeyerOn                             // 0, 1
	SwitchPick                          // index into Switch.Picks
	DeckState                           // see Deck states
	DeckClip                            // 0 none, i+1 is Deck.Clips[i]
	RecorderState                       // see Machine states
	EncoderState                        // see Machine states
	CameraShot                          // 0 unknown, i+1 is Camera.Shots[i]
	OutletOn                            // 0, 1
	DestinationProtected                // 0, 1
	TaskAt                              // 0 idle, k rests at Task.Rests[k-1]
	TaskFailed                          // 0, 1: the last run failed
	TaskQueued                          // 0 none, k: Task.Entries[k-1] runs next
	SurfacePage                         // index into Surface.Pages
	Standby                             // 0..len(Cues): the cue on standby; len(Cues) is "the end"
	CueFollow                           // see Follow states
	ButtonDown                          // 0 up, 1 down, 2 down and its hold has fired
	ButtonCover                         // 0 shut, 1 open
	DeviceHealth                        // Health
)

// Var is one variable of the state: a value from 0 to Size-1. Size is at
// least 1; a variable of size 1 takes no bits. Owner is the index of what it
// belongs to in that thing's table.
type Var struct {
	Name  string // "main.program"
	Kind  VarKind
	Owner int32
	Size  uint32
	Start uint32 // at power-on
}

// TimerKind says what runs out.
type TimerKind uint8

// The kinds of timer.
const (
	TaskTimer    TimerKind = iota // a wait, or the limit of a wait until
	BankTimer                     // a transition
	DeckTimer                     // cueing, or the end of the clip
	MachineTimer                  // a recorder's or encoder's start
	FollowTimer                   // a cue's follow
	HoldTimer                     // a button held
	CoverTimer                    // a cover falls shut
)

// Timer is one thing that can run out. Owner is in the table of Tasks, Banks,
// Decks, Cues or Buttons; for MachineTimer a recorder r is r, and an encoder e
// is len(Recorders)+e.
type Timer struct {
	Kind  TimerKind
	Owner int32
}

// Transition is what a bank is doing.
const (
	NoTransition uint32 = iota
	Mixing
	Wiping
	FadingOut // to black
	FadingIn  // from black
	Transitions
)

// Follow states, of a cue that follows another.
const (
	NoFollow      uint32 = iota
	WillFollow           // the cue that it follows is running
	WaitsToFollow        // that one has ended, and its time runs
	FollowStates
)

// Deck states.
const (
	DeckEmpty uint32 = iota
	DeckLoading
	DeckCued
	DeckPlaying
	DeckPaused
	DeckEnded
	DeckStates
)

// Machine states, of recorders and encoders.
const (
	MachineStopped uint32 = iota
	MachineStarting
	MachineRunning // rolling, live
	MachineStates
)

// Health is what is wrong with a device.
const (
	Well    uint32 = iota
	Away           // does not answer
	Refuses        // answers no
	Slow           // takes SlowFactor times as long
	Full           // a recorder that cannot roll
	Healths
)

// CoverOpen is how long a guarded button's cover stays open, in microseconds.
const CoverOpen int64 = 3_000_000

// SlowFactor is how many times as long a slow device takes.
const SlowFactor = 10
