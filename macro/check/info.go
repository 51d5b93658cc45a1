// Package check holds a show against its rack: names, kinds, types, and what
// each device can do.
//
// It takes the tree and the rack, changes neither, and gives an Info: tables
// beside the tree that macro/lower reads. Every mistake is reported in one
// run; a name that is not known is reported where it stands and then keeps
// quiet.
package check

import (
	"cuewright/macro/cond"
	"cuewright/macro/plan"
	"cuewright/macro/syntax"
)

// Info is what check knows about a show. Lower may rely on it only when the
// findings hold no error: then every name resolves, every operand is of its
// slot's kind, every duration can be read, and every condition is typed.
type Info struct {
	File *syntax.File
	Rack *plan.Rack

	Macros     map[string]*syntax.Macro
	Salvos     map[string]*syntax.Salvo
	Pages      map[string]*syntax.Page
	Cues       map[string]int // number as written -> place in the rundown
	Rundown    *syntax.Rundown
	Moments    map[*syntax.Cue]Moment // of the cues that fire by themselves at one
	Conds      map[*syntax.Cond]*cond.Expr
	Shown      map[*syntax.Step]Moment // what the clock or timecode shows in a rehearsal
	MacroOrder []*syntax.Macro         // callees before callers
}

// Moment is when a cue fires by itself: seconds since midnight on the clock, or
// the frame of the day of a timecode at the rack's Rate.Code.
type Moment struct {
	Timecode bool
	At       int64
}
