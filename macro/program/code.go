package program

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
