package cond

import (
	"cuewright/macro/noun"
)

// field is something that can be asked of a thing of the rack.
type field struct {
	kind noun.Kind
	name string
	typ  Type
}

// fields is the whole table, in the order in which help shows it. The fields
// of macros and of the rundown stand in macroFields and rundownFields, since
// those are no things of the plan.
var fields = []field{
	{noun.Bank, "program", PickType},
	{noun.Bank, "preset", PickType},
	{noun.Bank, "mixing", Truth},
	{noun.Bank, "black", Truth},
	{noun.Keyer, "on", Truth},
	{noun.Deck, "empty", Truth},
	{noun.Deck, "loading", Truth},
	{noun.Deck, "cued", Truth},
	{noun.Deck, "playing", Truth},
	{noun.Deck, "paused", Truth},
	{noun.Deck, "ended", Truth},
	{noun.Deck, "loaded", Truth},
	{noun.Deck, "clip", ClipType},
	{noun.Recorder, "rolling", Truth},
	{noun.Recorder, "starting", Truth},
	{noun.Recorder, "stopped", Truth},
	{noun.Encoder, "live", Truth},
	{noun.Encoder, "starting", Truth},
	{noun.Encoder, "stopped", Truth},
	{noun.Camera, "shot", NumberType},
	{noun.Source, "on_air", Truth},
	{noun.Destination, "protected", Truth},
	{noun.Outlet, "on", Truth},
	{noun.Device, "away", Truth},
	{noun.Surface, "page", PageType},
	{noun.Macro, "running", Truth},
	{noun.Macro, "failed", Truth},
}

// shows is the one thing that is asked with a source in brackets.
const shows = "shows"

// rundown is the name of the rundown in a condition, and standby its field.
const (
	rundown = "rundown"
	standby = "standby"
)

// fieldOf finds a field of a thing of these kinds.
func fieldOf(kind noun.Kind, name string) (field, bool) {
	if kind.Has(noun.Bank) {
		kind &^= noun.Source // a bank's picture is that of its sources
	}
	for _, f := range fields {
		if f.name == name && kind.Has(f.kind) {
			return f, true
		}
	}
	return field{}, false
}

// fieldNames lists what can be asked of a thing of these kinds.
func fieldNames(kind noun.Kind) []string {
	var names []string
	for _, f := range fields {
		if kind.Has(f.kind) && !(kind.Has(noun.Bank) && f.kind == noun.Source) {
			names = append(names, f.name)
		}
	}
	if kind.Has(noun.Destination) {
		names = append(names, shows)
	}
	return names
}

// CanAsk says whether a thing of these kinds has the field (or can be asked
// what it shows).
func CanAsk(kind noun.Kind, name string) bool {
	if name == shows {
		return kind.Has(noun.Destination)
	}
	_, ok := fieldOf(kind, name)
	return ok
}

// Roles widens the kind of a macro's parameter by what a thing of that kind
// may be besides: a deck is a source and a device too. Whether the thing
// given in a call is all of that is checked for each call.
func Roles(kind noun.Kind) noun.Kind {
	switch {
	case kind.Has(noun.Camera | noun.Deck):
		return kind | noun.Source | noun.Device
	case kind.Has(noun.Recorder | noun.Encoder):
		return kind | noun.Device
	}
	return kind
}

// Describe is how a message speaks of a thing: the kind that says most.
func Describe(kind noun.Kind) string {
	for _, k := range [...]noun.Kind{noun.Bank, noun.Keyer, noun.Deck, noun.Recorder, noun.Encoder, noun.Camera,
		noun.Destination, noun.Outlet, noun.Surface, noun.Macro, noun.Page, noun.Message, noun.Source, noun.Tie, noun.Device} {
		if kind.Has(k) {
			return k.A()
		}
	}
	return kind.A()
}
