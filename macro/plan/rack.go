// Package plan reads the routing plan (rack.yaml) into a Rack.
//
// Read gives a Rack and every mistake of the plan, each with its place. The
// Rack is whole even when the plan is not: what could not be understood is
// left out, and Partial says so, so that later stages can keep quiet about
// what may only look unused. Nothing here knows a show.
package plan

import (
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/timecode"
)

// Rack is the routing plan.
type Rack struct {
	File         *source.File
	Partial      bool            // some of the plan was not understood
	Holes        bool            // what was not understood may have held names that nobody knows
	Lost         map[string]bool // names whose things were not understood
	Name         string
	Rate         timecode.Rate
	Unrated      bool      // the rate was not understood, and Rate is only something to go on with
	Devices      []*Device // in file order, as are all lists here
	Banks        []*Bank
	Keyers       []*Keyer
	Sources      []*Source
	Ties         []*Tie
	Cables       []*Cable
	Destinations []*Destination
	Outlets      []*Outlet
	Surfaces     []*Surface
	Messages     []*Message
	Names        map[string]*Entry // the one name space of the plan
}

// Entry is what a name of the plan stands for. A name can play several roles:
// Kind is their union, and the field of each role is set. A bank is a source
// too, by its output; its Source is nil.
type Entry struct {
	Name        string
	Kind        noun.Kind
	At          source.Span
	Device      *Device // also for deck, recorder, encoder, camera
	Bank        *Bank
	Keyer       *Keyer
	Source      *Source
	Destination *Destination
	Tie         *Tie
	Outlet      *Outlet
	Surface     *Surface
	Message     *Message
}

// DeviceKind is the kind of a device, as the plan writes it.
type DeviceKind string

// The kinds of device.
const (
	Camera    DeviceKind = "camera"
	Computer  DeviceKind = "computer" // a laptop, graphics machine or player
	Remote    DeviceKind = "remote"   // a remote contributor
	Deck      DeviceKind = "deck"
	Recorder  DeviceKind = "recorder"
	Encoder   DeviceKind = "encoder"
	Mixer     DeviceKind = "mixer"
	Router    DeviceKind = "router"
	Converter DeviceKind = "converter"
	Splitter  DeviceKind = "splitter"
	Panel     DeviceKind = "panel" // a patch panel: output n is input n
	Display   DeviceKind = "display"
	Power     DeviceKind = "power"   // switched outlets
	Machine   DeviceKind = "machine" // anything else that takes messages
)

// Device is one box.
type Device struct {
	Name    string
	Index   int
	Kind    DeviceKind
	About   string
	At      source.Span // its name
	Inputs  []*Port     // by number
	Outputs []*Port
	Robotic bool            // a camera that moves
	Shots   []Shot          // of a camera
	Clips   []*Clip         // of a deck
	Ready   timecode.Micros // how long a deck takes to cue, a recorder to roll, an encoder to go live
	Control *Control        // nil: nothing can be sent to it
}

// Port is an input or output. Signal, Connector and Raster are "" when the
// plan does not say.
type Port struct {
	Device    *Device
	Number    int
	Output    bool
	Signal    string // sd-sdi hd-sdi 3g-sdi 6g-sdi 12g-sdi hdmi displayport ip
	Connector string // bnc mini-bnc hdmi displayport usb-c rj45 sfp
	Raster    string // 1080p50 …
	At        source.Span
	Cable     *Cable  // what is plugged in, or nil
	From      *Feed   // of an output without a Switch: what it shows; nil only after an error
	Switch    *Switch // of an output that can be switched
	Source    *Source // of an output that makes a picture of its own; a second output with the same picture has it in From alone
}

// Feed says what an output (or a selectable pick) carries. Exactly one is set,
// or Clean/Preset together with Bank.
type Feed struct {
	Input  *Port   // passed through from this input of the same device
	Source *Source // made inside
	Bank   *Bank   // a bank's output …
	Clean  bool    // … without its keyers
	Preset bool    // … or its preset bus
}

// Switch is an aux bus or a router output: it shows one of Picks.
type Switch struct {
	Name   string // "aux1" as the plan names it, or "router.3"
	Number int    // for messages
	Output *Port
	Picks  []*Pick
	At     source.Span
}

// Pick is one thing that a bank or switch can select. Names are what the show
// may call it there: the source or bank that reaches the input whatever is
// switched, or the tie line that ends there.
type Pick struct {
	Index  int
	Number int // for messages: the input's number, or the one the plan gives an internal source or bank
	Feed   Feed
	Names  []string
	Label  string // for people: "wide", "input 7"
}

// Bank is a mix bank.
type Bank struct {
	Name   string
	Index  int
	Number int
	Mixer  *Device
	At     source.Span
	Picks  []*Pick
	Keyers []*Keyer // from the bottom up
	Black  *Source  // what it shows when faded to black
}

// Keyer lays Fill over its bank's picture.
type Keyer struct {
	Name   string
	Number int
	Bank   *Bank
	Fill   *Pick // its Index is -1: it need not be one of the bank's picks
	At     source.Span
}

// PictureKind says what sort of picture a source makes.
type PictureKind string

// The kinds of picture.
const (
	Live      PictureKind = "live" // cameras, computers, remotes
	Playback  PictureKind = "playback"
	Still     PictureKind = "still"
	Bars      PictureKind = "bars"
	Black     PictureKind = "black"
	Multiview PictureKind = "multiview"
	Nothing   PictureKind = "nothing"
)

// Source is something that makes a picture.
type Source struct {
	Name    string
	Index   int
	Picture PictureKind
	Device  *Device
	Port    *Port // nil for an internal source
	Number  int   // of an internal source, for messages
	At      source.Span
}

// Shot is a stored shot of a robotic camera.
type Shot struct {
	Number int
	Name   string
	At     source.Span
}

// Clip is a clip of a deck.
type Clip struct {
	Name   string
	Index  int
	Deck   *Device
	File   string // for messages; the name when the plan gives none
	Length timecode.Micros
	At     source.Span
}

// Cable joins an output to an input.
type Cable struct {
	From, To *Port
	Type     string
	Length   float64 // metres; 0 when not said
	Tie      *Tie
	At       source.Span
}

// Tie is a named cable from a switchable output to another switching device.
type Tie struct {
	Name   string
	Index  int
	Switch *Switch // what feeds it
	Cable  *Cable
	At     source.Span
}

// Destination is a named input that people, a recorder or a stream see.
type Destination struct {
	Name      string
	Index     int
	Input     *Port
	OnAir     bool
	While     *Device // an encoder: on air only while it is live
	Refuses   map[*Source]bool
	RefusedBy source.Span // the place that says what is refused, or the destination's
	Protected bool        // from the start
	AfterCut  AfterCut
	Safe      *Entry // with SafePicture: the source or bank
	At        source.Span
}

// AfterCut is what becomes of a destination when the controller starts again
// after a power cut.
type AfterCut uint8

// What a destination may say after `after power cut:`.
const (
	Leave       AfterCut = iota // nothing is sent
	Restore                     // its buses are sent again as they stood
	SafePicture                 // Safe is routed to it
)

// Outlet is one switched outlet of a power device.
type Outlet struct {
	Name   string
	Index  int
	Number int
	Device *Device
	At     source.Span
}

// Surface is a grid of buttons that people press.
type Surface struct {
	Name          string
	Index         int
	Rows, Columns int
	By            string // osc http websocket midi keyboard
	At            source.Span
}

// Wire is how a device is reached.
type Wire string

// The wires.
const (
	OSCUDP  Wire = "osc.udp"
	OSCTCP  Wire = "osc.tcp"  // OSC 1.0: a size before each packet
	OSCSLIP Wire = "osc.slip" // OSC 1.1: SLIP frames (RFC 1055)
	HTTP    Wire = "http"
	HTTPS   Wire = "https"
)

// Control says how to reach a device and how each action is said.
type Control struct {
	Device   *Device
	Wire     Wire
	Address  string          // host:port; for HTTP host[:port]
	Base     string          // for HTTP: the path before every request's, "" or "/…" without a last slash
	Login    string          // for HTTP: the environment variable that holds user:password
	Token    string          // for HTTP: the environment variable that holds a bearer token
	Deadline timecode.Micros // for one message with its answer
	Does     map[string]*Template
	Hears    []*Observation
	At       source.Span
}

// Does are the names of the actions of a control part, with the names that
// their templates may use. Types: n number, s text, b yes or no.
var Does = map[string]map[string]byte{
	"cut":        {"bank.name": 's', "bank.number": 'n', "pick.name": 's', "pick.number": 'n'},
	"preset":     {"bank.name": 's', "bank.number": 'n', "pick.name": 's', "pick.number": 'n'},
	"take":       {"bank.name": 's', "bank.number": 'n'},
	"mix":        {"bank.name": 's', "bank.number": 'n', "frames": 'n', "seconds": 'n'},
	"wipe":       {"bank.name": 's', "bank.number": 'n', "frames": 'n', "seconds": 'n'},
	"fade":       {"bank.name": 's', "bank.number": 'n', "black": 'b', "frames": 'n', "seconds": 'n'},
	"key":        {"keyer.name": 's', "keyer.number": 'n', "bank.number": 'n', "on": 'b'},
	"crosspoint": {"output.name": 's', "output.number": 'n', "pick.name": 's', "pick.number": 'n'},
	"load":       {"clip.name": 's', "clip.file": 's', "clip.number": 'n'},
	"play":       {},
	"pause":      {},
	"stop":       {},
	"record":     {},
	"start":      {},
	"recall":     {"shot.number": 'n', "shot.name": 's'},
	"switch":     {"outlet.name": 's', "outlet.number": 'n', "on": 'b'},
}

// Template is how one action or named message is said: OSC or HTTP.
type Template struct {
	At source.Span

	// OSC: Path with {expression} parts, and the arguments.
	Path *Words
	Args []Arg

	// HTTP.
	Method string
	Target *Words // path and query, escaped where values are put in
	Header [][2]*Words
	Form   [][2]*Words
	Text   *Words
	JSON   *JSON
}

// Words is text with {expression} parts as the plan writes it: "/bank/{bank.number}/cut".
// At is without quotes, and its text is Text, unless the plan writes it with
// escapes or over several lines: then At is the whole, or its first line.
type Words struct {
	Text string
	At   source.Span
}

// Arg is one OSC argument: an expression, and its type tag, or 0 to take it
// from the value (whole number i, other number f, text s, yes or no T/F).
type Arg struct {
	Tag  byte
	Expr Words
}

// JSON is a body with {expression} parts in its strings. A string that is one
// {expression} and nothing else becomes the value itself, of its own type.
type JSON struct {
	Kind   byte // 'o' object, 'a' array, 's' string, 'v' literal number, true, false, null
	Keys   []string
	Values []*JSON
	Words  *Words
	Raw    string
}

// Observation says how something heard from a device becomes state.
//
// It is heard as an OSC message whose address is Path and whose argument Arg
// (from 0) is the value, or in the HTTP answer to Method Target, asked every
// Every, at JSON pointer Pointer (RFC 6901), or as the status when Pointer is
// "status", or the whole body when it is "body".
type Observation struct {
	At      source.Span
	Path    string
	Arg     int
	Method  string
	Target  string
	Every   timecode.Micros
	Pointer string
	Sets    Words     // the field: "main.program", "deck.state", "iso.state"
	Means   []Meaning // empty: numbers are picks' numbers, 0/1 and true/false are yes and no
}

// Meaning is one value heard and the value it stands for.
type Meaning struct {
	Heard string
	Value string
	At    source.Span
}

// Message is a named message of the plan, for `send`.
type Message struct {
	Name     string
	Index    int
	Device   *Device
	Template *Template
	Takes    []Take // in file order
	At       source.Span
}

// Take is one value that a message takes: a number from Low to High, or text.
type Take struct {
	Name      string
	Kind      noun.Kind // Number or Text
	Low, High float64
	At        source.Span
}
