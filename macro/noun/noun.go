// Package noun is what a name can stand for, and the one word that messages,
// help and JSON use for it. A Kind is a set, since a name can play several
// roles: a deck is a deck and a source, a bank is a bank and a source.
package noun

import (
	"math/bits"
	"strings"
)

// Kind is a set of roles.
type Kind uint32

// The roles.
const (
	Source Kind = 1 << iota
	Destination
	Bank
	Keyer
	Deck
	Clip
	Recorder
	Encoder
	Camera
	Outlet
	Tie
	Device
	Surface
	Message
	Macro
	Salvo
	Page
	Number
	Duration
	Text
	Shot
	Cue
	Truth
)

var words = [...]string{"source", "destination", "mix bank", "keyer", "deck", "clip", "recorder", "encoder",
	"camera", "outlet", "tie line", "device", "surface", "message", "macro", "salvo", "page", "number",
	"duration", "text", "shot", "cue", "yes or no"}

// String names the roles: "deck", "recorder or encoder".
func (k Kind) String() string {
	var parts []string
	for i := range words {
		if k&(1<<i) != 0 {
			parts = append(parts, words[i])
		}
	}
	switch len(parts) {
	case 0:
		return "nothing"
	case 1:
		return parts[0]
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " or " + parts[len(parts)-1]
}

// A is the noun with its article: "a deck", "an encoder".
func (k Kind) A() string {
	s := k.String()
	if strings.ContainsRune("aeiou", rune(s[0])) {
		return "an " + s
	}
	return "a " + s
}

// Has says whether k has any role of other.
func (k Kind) Has(other Kind) bool { return k&other != 0 }

// One says whether k is a single role.
func (k Kind) One() bool { return bits.OnesCount32(uint32(k)) == 1 }

// Params are the kinds that a macro's parameter may be declared with, by the
// word the language uses.
var Params = map[string]Kind{
	"source": Source, "destination": Destination, "bank": Bank, "keyer": Keyer, "deck": Deck, "clip": Clip,
	"recorder": Recorder, "encoder": Encoder, "camera": Camera, "outlet": Outlet, "shot": Shot,
	"number": Number, "duration": Duration, "text": Text,
}
