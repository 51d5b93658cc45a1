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
	CueFollow                           // 0, 1: waits to follow
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

// Device is a box that can be sent to, heard from or be at fault.
type Device struct {
	Name     string
	Wire     string // "", "osc.udp", "osc.tcp", "osc.slip", "http", "https"
	Address  string
	Login    string // the environment variable's name, never its value
	Token    string
	Deadline int64 // microseconds
	Health   int32 // Var
	At       Place
}

// NodeKind is the kind of a node of the signal graph.
type NodeKind uint8

// The kinds of node.
const (
	SourceNode NodeKind = iota // makes Sources[Owner]
	PassNode                   // shows Up[0], or nothing when Up is empty: ports, converters, splitters; Owner is -1
	SwitchNode                 // shows Up[value of Switches[Owner].Var]
	BankNode                   // Banks[Owner]'s output
	CleanNode                  // the same without keyers
	PresetNode                 // Banks[Owner]'s preset bus
)

// Node is a place that a picture can be at. Up are the nodes that a picture
// can come from: for a bank node the nodes of its Picks, then of its keyers'
// fills; for a clean or preset node the nodes of its bank's Picks. A source
// has none, but for a multiview: the inputs of its mixer. It is a picture of
// its own, so these count for feedback loops only, never for what is shown.
// Tie is the tie line whose far end this is, else -1.
type Node struct {
	Kind   NodeKind
	Label  string // "mixer input 3"
	Owner  int32
	Device int32
	Tie    int32
	Up     []int32
}

// Source is a picture. Sources[0] is "no signal" (Picture "nothing").
type Source struct {
	Name    string
	Picture string // live playback still bars black multiview nothing
	Node    int32
	Device  int32
	Camera  int32 // Cameras, or -1
	Deck    int32 // Decks, or -1
	At      Place
}

// Pick is one thing a bank or switch can select.
type Pick struct {
	Node   int32
	Number int32
	Label  string
}

// Bank is a mix bank.
type Bank struct {
	Name                               string
	Number                             int32
	Device                             int32
	Program, Preset, Transition, Faded int32 // Vars
	Timer                              int32
	Picks                              []Pick
	Keyers                             []int32 // from the bottom up
	Black                              int32   // Sources: what it shows when faded
	Node, Clean, PresetNode            int32   // Nodes; Clean and PresetNode may be -1
	At                                 Place
}

// Keyer lays a picture over its bank's.
type Keyer struct {
	Name   string
	Number int32
	Bank   int32
	On     int32 // Var
	Fill   int32 // Node
	At     Place
}

// Switch is an aux bus or a router output.
type Switch struct {
	Name   string
	Number int32
	Device int32
	Var    int32
	Picks  []Pick
	Node   int32
	At     Place
}

// Tie is a tie line: what Switch shows arrives at Node, an input of another
// switching device.
type Tie struct {
	Name   string
	Switch int32
	Node   int32
	At     Place
}

// OnAir says when a destination is on air.
const (
	NeverOnAir  int32 = -2
	AlwaysOnAir int32 = -1 // 0 and up: while Encoders[n] is live
)

// Destination is a named place where pictures are seen.
type Destination struct {
	Name    string
	Node    int32
	Protect int32   // Var
	OnAir   int32   // NeverOnAir, AlwaysOnAir or an encoder
	Refuses []int32 // Sources
	At      Place
}

// Input is a recorder's or encoder's input.
type Input struct {
	Node     int32
	Recorder int32 // or -1
	Encoder  int32 // or -1
}

// Deck plays clips.
type Deck struct {
	Name        string
	Device      int32
	State, Clip int32 // Vars
	Timer       int32
	Clips       []int32
	Source      int32 // Sources, -1 when it is cabled to nothing
	Ready       int64 // microseconds to cue
	At          Place
}

// Clip is a clip of a deck. Length 0 is unknown: it never ends by itself.
type Clip struct {
	Name, File string
	Deck       int32
	Number     int32 // from 1, in the plan's order
	Length     int64
	At         Place
}

// Recorder records its inputs.
type Recorder struct {
	Name   string
	Device int32
	State  int32 // Var
	Timer  int32
	Ready  int64
	At     Place
}

// Encoder streams its input.
type Encoder struct {
	Name   string
	Device int32
	State  int32 // Var
	Timer  int32
	Ready  int64
	At     Place
}

// Camera is a camera; Robotic ones move to Shots.
type Camera struct {
	Name    string
	Device  int32
	Robotic bool
	Shot    int32 // Var, -1 when it has no shots
	Shots   []Shot
	Source  int32
	At      Place
}

// Shot is a stored shot.
type Shot struct {
	Number int32
	Name   string
}

// Outlet is a switched outlet.
type Outlet struct {
	Name   string
	Number int32
	Device int32
	On     int32 // Var
	At     Place
}

// Surface is a grid of buttons.
type Surface struct {
	Name          string
	Rows, Columns int32
	By            string
	Page          int32   // Var
	Pages         []int32 // Pages that may be on it, the first one at power-on
	At            Place
}

// Page is a page of buttons.
type Page struct {
	Name    string
	Buttons []int32
	At      Place
}

// Button is a button of a page. Press, Hold and Release are Tasks or -1.
// Pressing a button whose cover is shut only opens the cover, for CoverOpen
// microseconds. With a Hold task, Press runs on the way up before HoldAfter
// has passed, and Hold when it has; without one, Press runs on the way down.
// Release runs on every way up that follows a way down.
type Button struct {
	Page, Row, Column    int32
	Label                string
	Guarded              bool
	Press, Hold, Release int32
	HoldAfter            int64
	Down                 int32 // Var, -1 when neither Hold nor Release
	Cover                int32 // Var, -1 when not guarded
	HoldTimer            int32
	CoverTimer           int32
	Lit                  int32   // Cond: what it does already holds, or -1
	Air                  int32   // Cond: its source is on air, or -1
	Lamps                []Lamp  // said in the show, they win over what is derived
	Runs                 []int32 // Tasks whose running makes the lamp pending and whose failing makes it fault, its own among them
	Uses                 []int32 // Devices whose being away makes it fault
	At                   Place
}

// Lamp is a said lamp state: lit, air, pending, fault or dark, when Cond.
type Lamp struct {
	State string
	Cond  int32
}

// Cue is a cue of the rundown. Cue i is fired by its task.
type Cue struct {
	Number, Label string
	Task          int32
	Follow        int32 // Cues: fires After microseconds after that cue's task has ended, or -1
	After         int64
	FollowVar     int32 // Var CueFollow, or -1
	Timer         int32
	At            Place
}

// Macro is a macro: one task, however many arguments it is run with.
type Macro struct {
	Name string
	Task int32
	At   Place
}

// Salvo is a named set of actions fired together.
type Salvo struct {
	Name    string
	Actions []int32
	At      Place
}

// Again says what running a running task does.
const (
	Ignore uint8 = iota
	Restart
	Queue
)

// TaskKind says what a task belongs to.
type TaskKind uint8

// The kinds of task; Owner is in the table of Macros, Buttons or Cues; a
// branch's owner is the task that started it.
const (
	MacroTask TaskKind = iota
	PressTask
	HoldTask
	ReleaseTask
	CueTask
	BranchTask
)

// Task is a script that can be running. Each task runs at most once at a time.
// Code lies task by task in the order of the table, and a task stands after
// every task that it runs: a macro after those it runs, a branch before its
// owner. Rests are the instructions where it can rest, in code order: each
// Sleep, Join and Until but an expect that is decided at once; a task with
// none runs in one go and has At = -1. Entries are the addresses where it can
// start: one, but for a macro one for each distinct set of arguments, whose
// words stand in Args.
type Task struct {
	Name    string // "replay", "cameras 2.1", "cue 3"
	Kind    TaskKind
	Owner   int32
	Again   uint8
	Entries []int32
	Args    []string
	Rests   []int32
	At      int32 // Var, or -1
	Failed  int32 // Var
	Queued  int32 // Var, or -1
	Timer   int32 // or -1
	Place   Place
}

// Op is an instruction's operation.
type Op uint8

// The operations. "Next" is the instruction after.
const (
	End     Op = iota // the task has ended
	Do                // do Actions[A]
	Fire              // do all of Salvos[A] together
	Sleep             // rest for Micros
	Until             // rest until Conds[A], then next; after Micros (if not 0) to B. C: 1 for expect, else 0. An expect with Micros 0 is decided at once.
	Unless            // go to B unless Conds[A]
	Jump              // go to B
	Run               // run task A from its entry C (an index into Entries); when it is running: Ignore goes to B, Restart starts it again, Queue queues it and goes to B
	Join              // rest until task A is idle
	Alert             // raise Texts[A]
	Note              // log Texts[A]
	Abandon           // the task fails and ends; Texts[A], A may be -1
	Fail              // the task is marked failed and goes on: an else that only alerts
	GoCue             // fire Cues[A], or the one on standby when A is -1
	Turn              // turn Surfaces[A] to its page index B (into Surface.Pages)
)

// Instr is one instruction.
type Instr struct {
	Op      Op
	A, B, C int32
	Micros  int64
	At      Place
}

// Verb is what an action does, and how a message is found.
type Verb uint8

// The verbs, with what A and B of an Action or Command are. Actions carry
// Micros for Mix, Wipe and Fade.
const (
	CutTo        Verb = iota // A Banks, B index into Picks
	PresetTo                 // A Banks, B index into Picks
	Take                     // A Banks
	Mix                      // A Banks; program to preset
	Wipe                     // A Banks
	Fade                     // A Banks, B 1 to black, 0 from black
	KeyTo                    // A Keyers, B 0, 1
	Route                    // A Destinations, B Nodes: the source's or bank's; its Commands are Crosspoints
	RouteTie                 // A Ties, B as for Route
	Crosspoint               // A Switches, B index into Picks (a Command only)
	Load                     // A Decks, B index into Deck.Clips
	Play                     // A Decks
	Pause                    // A Decks
	StopDeck                 // A Decks
	Record                   // A Recorders
	StopRecorder             // A Recorders
	Start                    // A Encoders
	StopEncoder              // A Encoders
	Recall                   // A Cameras, B index into Shots
	SwitchTo                 // A Outlets, B 0, 1
	SendTo                   // A Sends
	Protect                  // A Destinations, B 0 released, 1 protected; nothing is sent
)

// Action is one thing done, with every operand known.
type Action struct {
	Verb   Verb
	A, B   int32
	Micros int64
	Device int32 // Devices that carries it out, or -1
	At     Place
}

// Send is a named message with its values.
type Send struct {
	Name   string
	Device int32
	Text   string  // "horn", "lights(level: 40)"
	Values []Value // in the order of the plan's takes
}

// Value is one value of a Send: a number as written, or text as it is.
type Value struct{ Name, Text string }

// Command is what a device is told: the key of a Message. It is comparable.
type Command struct {
	Verb   Verb
	A, B   int32
	Micros int64
}

// CondOp is the operation of a condition's node.
type CondOp uint8

// The operations. A condition is a tree in the table Conds; L and R are
// indexes of smaller number than the node's own.
const (
	Const       CondOp = iota // A is 0 or 1
	Not                       // L
	And                       // L, R
	Or                        // L, R
	In                        // Vars[A]'s value is in Sets[B], a bit set, bit v of word v/32
	Same                      // pick A of bank … is not needed: equalities are Ins
	Shows                     // Destinations[A] shows Sources[B] (as a part of its picture)
	SourceOnAir               // Sources[A] is on air
	Running                   // Tasks[A] is running
	ShowsNode                 // Destinations[A]'s picture comes through Nodes[B]: a bank's output, a tie line's end
)

// Cond is one node of a condition.
type Cond struct {
	Op   CondOp
	A, B int32
	L, R int32
}

// RuleKind is never, always or possible.
type RuleKind uint8

// The kinds of rule.
const (
	Never RuleKind = iota
	Always
	Possible
)

// Rule is a rule of the show. While is a Cond or -1.
type Rule struct {
	Kind  RuleKind
	Name  string
	Cond  int32
	While int32
	At    Place
}

// StepOp is what a rehearsal's step does.
type StepOp uint8

// The steps.
const (
	StepGo            StepOp = iota // A Cues or -1
	StepPress                       // A Buttons
	StepHold                        // A Buttons, Micros
	StepAfter                       // Micros
	StepExpect                      // A Conds; Text is the condition as written
	StepExpectAlert                 // Text
	StepExpectFinding               // Text is the code
	StepFault                       // A Devices, B Health
)

// Step is one step of a rehearsal.
type Step struct {
	Op     StepOp
	A, B   int32
	Micros int64
	Text   string
	At     Place
}

// Rehearsal is a scripted walk.
type Rehearsal struct {
	Name  string
	Steps []Step
	At    Place
}

// Allow accepts findings of a code. Scope says where: the whole show, or what
// a task does (Tasks index; its branches and nothing else included), or a page.
type Allow struct {
	Code   string
	Reason string
	Until  string // "2027-01-31" or ""
	Task   int32  // or -1
	Page   int32  // or -1
	At     Place
}

// Message is one message, rendered to the byte. Exactly one of OSC and HTTP
// is set. Text is for people.
type Message struct {
	Command Command
	Device  int32
	OSC     []byte
	HTTP    *Request
	Text    string
}

// Request is an HTTP request. Login and token are added when it is sent.
type Request struct {
	Method string
	Target string
	Header [][2]string
	Body   []byte
}

// Observation says what is heard from a device and what it means.
// OSC: Path and Arg. HTTP: Method, Target, Every and Pointer.
type Observation struct {
	Device  int32
	Path    string
	Arg     int32
	Method  string
	Target  string
	Every   int64
	Pointer string
	Var     int32
	Means   []Meaning
	At      Place
}

// Meaning is a value heard, in the text form that targets give it (a whole
// number "3", another "0.5", text as it is, true and false), and the value of
// the variable.
type Meaning struct {
	Heard string
	Value uint32
}

// CoverOpen is how long a guarded button's cover stays open, in microseconds.
const CoverOpen int64 = 3_000_000

// SlowFactor is how many times as long a slow device takes.
const SlowFactor = 10
