// Package formula writes what a show's conditions, pictures and routes hang on
// as formulas over its variables, for models of a show in other languages: the
// text is the same in C, Promela and ECMAScript.
//
// It is written from the meaning of a show (DEVELOPERS.md and the comments of
// package program) and shares no line with sim/signal and sim/route, so that
// what they say can be held against it. Only tests use it.
package formula

import (
	"strings"

	"cuewright/macro/program"
)

// Writer writes formulas over the variables of P. Is says that a variable has a
// value, as the language of the model has it.
type Writer struct {
	P  *program.Program
	Is func(v int32, value uint32) string
}

// The text of what always and never holds.
const (
	Yes = "true"
	No  = "false"
)

// Truth is Yes or No.
func Truth(b bool) string {
	if b {
		return Yes
	}
	return No
}

// Not holds when a does not.
func Not(a string) string {
	switch a {
	case Yes:
		return No
	case No:
		return Yes
	}
	if inner, was := strings.CutPrefix(a, "!"); was {
		return inner
	}
	return "!" + a
}

// And holds when all hold; of none, always.
func And(all ...string) string { return join(all, " && ", No, Yes) }

// Or holds when one holds; of none, never.
func Or(all ...string) string { return join(all, " || ", Yes, No) }

// join joins what holds by a sign; one decides it, nothing is the value of none.
func join(all []string, sign, one, nothing string) string {
	var parts []string
	for _, a := range all {
		switch a {
		case one:
			return one
		case nothing:
		default:
			parts = append(parts, a)
		}
	}
	switch len(parts) {
	case 0:
		return nothing
	case 1:
		return parts[0]
	}
	return "(" + strings.Join(parts, sign) + ")"
}

// Cond writes a condition; -1 never holds.
func (w *Writer) Cond(c int32) string {
	if c < 0 {
		return No
	}
	x := &w.P.Conds[c]
	switch x.Op {
	case program.Const:
		return Truth(x.A != 0)
	case program.Not:
		return Not(w.Cond(x.L))
	case program.And:
		return And(w.Cond(x.L), w.Cond(x.R))
	case program.Or:
		return Or(w.Cond(x.L), w.Cond(x.R))
	case program.In:
		return w.among(x.A, w.P.Sets[x.B])
	case program.Shows:
		return w.shows(x.A, x.B)
	case program.SourceOnAir:
		return w.onAir(x.A)
	case program.Running:
		if at := w.P.Tasks[x.A].At; at >= 0 {
			return Not(w.Is(at, 0))
		}
	case program.ShowsNode:
		return w.comes(w.P.Destinations[x.A].Node, func(node int32) string { return Truth(node == x.B) })
	}
	return No
}

// among says that a variable has one of the values of a set.
func (w *Writer) among(v int32, set []uint32) string {
	var in, out []string
	for x := range w.P.Vars[v].Size {
		if int(x/32) < len(set) && set[x/32]>>(x%32)&1 != 0 {
			in = append(in, w.Is(v, x))
		} else {
			out = append(out, w.Is(v, x))
		}
	}
	if len(out) < len(in) {
		return Not(Or(out...))
	}
	return Or(in...)
}
