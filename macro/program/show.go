package program

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
	By            MomentKind // what fires it by itself at its Moment; it follows none then
	Moment        int64
	FollowVar     int32 // Var CueFollow, or -1 where it follows none
	Timer         int32
	At            Place
}

// MomentKind says what tells a cue's moment.
type MomentKind uint8

// What fires a cue by itself.
const (
	NoMoment   MomentKind = iota
	ByClock               // Moment is seconds since midnight, in Program.Zone
	ByTimecode            // Moment is the frame of the day, at the timecode's rate
)

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
	StepMoment                      // A Cues: its moment has come
	StepStand                       // A Cues, or how many there are: this cue is put on standby
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
