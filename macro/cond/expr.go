// Package cond reads conditions: expr-lang expressions over the state of the
// rack, with our own names and types.
//
// The expression is split by expr-lang's parser and checked here, so that
// every mistake has a place and the user's words. macro/lower turns the typed
// tree into the compiled condition; a test holds that against expr's VM.
package cond

import (
	"cuewright/macro/noun"
	"cuewright/macro/source"
)

// Op is what a node of a condition is.
type Op uint8

// The nodes.
const (
	Yes          Op = iota // true
	No                     // false
	NumberValue            // Text, as written
	TextValue              // Text: a clip's name in quotes
	NameValue              // Name: a source, bank, tie line or page as a value
	Field                  // Name.Text: a field of a thing of the plan, a macro or rundown
	Shows                  // Name.shows(Args[0])
	Not                    // Args[0]
	And                    // Args[0], Args[1]
	Or                     // Args[0], Args[1]
	Equal                  // Args[0] == Args[1]
	NotEqual               //
	Less                   //
	LessEqual              //
	Greater                //
	GreaterEqual           //
	In                     // Args[0] in Args[1:]
)

// Type is the type of a value.
type Type uint8

// The types. PickType compares with sources, banks and tie lines, ClipType
// with texts and clips, PageType with pages, CueType with numbers by == only.
const (
	Unknown Type = iota // after a mistake: fits everything, and nothing more is said
	Truth
	NumberType
	PickType
	ClipType
	PageType
	CueType
)

// Expr is a node. Name is a name of the plan, a macro, "rundown", or a
// parameter of the macro around it: then Param is set, and the name is filled
// in when the macro's arguments are known.
type Expr struct {
	Op    Op
	Type  Type
	At    source.Span
	Name  string
	Param bool
	Text  string
	Args  []*Expr
}

// Scope is what a condition can see. Kinds of a macro's parameters are in
// Params; the plan's names in Plan; Macros and Pages by name. A name that Plan
// knows with kind 0 is one that nothing is to be said about. Names may give
// nil: then no near names are looked for.
type Scope struct {
	Plan   func(name string) (noun.Kind, bool)
	Names  func() []string // every name of the plan, for suggestions
	Macros map[string]bool
	Pages  map[string]bool
	Params map[string]noun.Kind
}
