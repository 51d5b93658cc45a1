package syntax

import "cuewright/macro/noun"

// VerbID names a verb of the table.
type VerbID uint8

// The verbs that act on the rack. The statements that steer a script (wait,
// expect, if, together, run, go, page, alert, note, abandon) have shapes of
// their own in parse.go.
const (
	Cut VerbID = iota
	Preset
	Take
	Mix
	Wipe
	Fade
	Key
	Route
	Load
	Play
	Pause
	Stop
	Record
	Start
	Recall
	Switch
	Send
	Protect
	Release
)

// Slot is one place in a verb's pattern.
type Slot struct {
	Role  string    // what help and messages call it: "bank", "source"
	Word  string    // a fixed word to write, such as "to"; then nothing else is set
	Words []string  // a choice of fixed words, such as on, off
	Kinds noun.Kind // what may stand here
	List  bool      // one or more, with commas
	Args  bool      // optional (name: value, …), for send; its operands alternate name and value
	Opens int       // >0: this slot and the next Opens-1 are optional together
}

// Verb is a row of the table that parser, check, help and completion share.
type Verb struct {
	ID      VerbID
	Word    string
	Slots   []Slot
	Help    string // one line
	Example string
	Salvo   bool // may stand in a salvo
}

// Verbs is the table, in the order in which help shows it.
var Verbs = []*Verb{
	{Cut, "cut", []Slot{one("bank", noun.Bank), word("to"), one("source", pictures)},
		"put a source on a bank's program bus at once", "cut main to wide", true},
	{Preset, "preset", []Slot{one("bank", noun.Bank), word("to"), one("source", pictures)},
		"put a source on a bank's preset bus", "preset main to deck", true},
	{Take, "take", []Slot{one("bank", noun.Bank)},
		"change program and preset over, as a cut", "take main", true},
	{Mix, "mix", []Slot{one("bank", noun.Bank), maybe(word("to"), 2), one("source", pictures), word("over"), one("time", noun.Duration)},
		"mix from program to preset, or to a named source", "mix main to wide over 12f", false},
	{Wipe, "wipe", []Slot{one("bank", noun.Bank), maybe(word("to"), 2), one("source", pictures), word("over"), one("time", noun.Duration)},
		"wipe from program to preset, or to a named source", "wipe main over 1s", false},
	{Fade, "fade", []Slot{one("bank", noun.Bank), choice("direction", "to", "from"), word("black"), word("over"), one("time", noun.Duration)},
		"fade a bank to black, or up again", "fade main to black over 2s", false},
	{Key, "key", []Slot{one("keyer", noun.Keyer), choice("state", "on", "off")},
		"switch a keyer on or off", "key logo on", true},
	{Route, "route", []Slot{list("destination", noun.Destination|noun.Tie), word("from"), one("source", pictures)},
		"bring a source to a destination by the shortest free path", "route screens from titles", true},
	{Load, "load", []Slot{one("deck", noun.Deck), word("with"), one("clip", noun.Clip)},
		"load and cue a clip", `load deck with "goal-1"`, false},
	{Play, "play", []Slot{list("deck", noun.Deck)}, "play the loaded clip", "play deck", true},
	{Pause, "pause", []Slot{list("deck", noun.Deck)}, "hold the picture where it is", "pause deck", true},
	{Stop, "stop", []Slot{list("machine", noun.Deck|noun.Recorder|noun.Encoder)},
		"stop a deck, a recorder or an encoder", "stop iso, safety", true},
	{Record, "record", []Slot{list("recorder", noun.Recorder)}, "start recording", "record iso, safety", true},
	{Start, "start", []Slot{list("encoder", noun.Encoder)}, "start an encoder's stream", "start stream", true},
	{Recall, "recall", []Slot{one("camera", noun.Camera), word("shot"), one("shot", noun.Shot|noun.Number)},
		"move a robotic camera to a stored shot", "recall goal shot 2", true},
	{Switch, "switch", []Slot{list("outlet", noun.Outlet), choice("state", "on", "off")},
		"switch an outlet", "switch scoreboard on", true},
	{Send, "send", []Slot{one("message", noun.Message), {Role: "values", Args: true}},
		"send a message that the plan names", "send horn", true},
	{Protect, "protect", []Slot{list("destination", noun.Destination)},
		"refuse routes to a destination until it is released", "protect screens", true},
	{Release, "release", []Slot{list("destination", noun.Destination)},
		"let a protected destination be routed again", "release screens", true},
}

// pictures is what can be put on a bus: a source, a bank (re-entry), a tie line.
const pictures = noun.Source | noun.Bank | noun.Tie

func one(role string, k noun.Kind) Slot     { return Slot{Role: role, Kinds: k} }
func list(role string, k noun.Kind) Slot    { return Slot{Role: role, Kinds: k, List: true} }
func word(w string) Slot                    { return Slot{Word: w} }
func choice(role string, ws ...string) Slot { return Slot{Role: role, Words: ws} }
func maybe(s Slot, n int) Slot              { s.Opens = n; return s }

// Slot gives the index of the slot with that role, or -1.
func (v *Verb) Slot(role string) int {
	for i, s := range v.Slots {
		if s.Role == role {
			return i
		}
	}
	return -1
}

// Operand gives what stands in the slot of that role, or nil.
func (a *Action) Operand(role string) []Operand {
	if i := a.Verb.Slot(role); i >= 0 && i < len(a.Operands) {
		return a.Operands[i]
	}
	return nil
}

// Choice gives the word chosen in the slot of that role, or "".
func (a *Action) Choice(role string) string {
	if i := a.Verb.Slot(role); i >= 0 && i < len(a.Words) {
		return a.Words[i]
	}
	return ""
}

// VerbNamed finds a verb by its word, or nil.
func VerbNamed(word string) *Verb {
	for _, v := range Verbs {
		if v.Word == word {
			return v
		}
	}
	return nil
}
