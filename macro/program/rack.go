package program

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

	AfterCut uint8 // what becomes of it when the controller starts again after a power cut
	Safe     int32 // with SafePicture: the Node of the picture that is routed to it, else -1
	At       Place
}

// What becomes of a destination after a power cut.
const (
	Leave       uint8 = iota // nothing is sent
	Restore                  // its buses are sent again as they stood when the power went
	SafePicture              // its Safe picture is routed to it
)

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
