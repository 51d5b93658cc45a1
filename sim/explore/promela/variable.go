package promela

import (
	"bytes"
	"fmt"
	"math/bits"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// writer writes one process.
type writer struct {
	p       *program.Program
	o       Options
	out     *bytes.Buffer
	formula formula.Writer
	all     []event
	changes []bool  // by variable: something gives it a value
	given   []bool  // what this writing has seen of that
	most    []int64 // by timer: the most ticks that it runs
	err     error
}

// The variables of a model that a program does not have come after its own:
// one for each recorder that hangs in starting, how many faults are left, and,
// when time is real, one for each timer: 0 off, 1 due, else 1 + the ticks left.
func (w *writer) hung(recorder int32) int32 { return int32(len(w.p.Vars)) + recorder }
func (w *writer) left() int32               { return int32(len(w.p.Vars) + len(w.p.Recorders)) }

func (w *writer) clock(timer int32) int32 { return w.left() + 1 + timer }

func newWriter(p *program.Program, o Options) *writer {
	n := len(p.Vars) + len(p.Recorders) + 1 + len(p.Timers)
	w := &writer{p: p, o: o, out: new(bytes.Buffer), most: make([]int64, len(p.Timers)), changes: make([]bool, n), given: make([]bool, n)}
	w.formula = formula.Writer{P: p, Is: w.is}
	return w
}

// variable is the name, size and start of a variable of the model.
func (w *writer) variable(v int32) (name string, size, start uint32) {
	switch n := int32(len(w.p.Vars)); {
	case v < n:
		x := &w.p.Vars[v]
		return x.Name, x.Size, x.Start
	case v < w.left():
		return w.p.Recorders[v-n].Name + " hangs", 2, 0
	case v > w.left():
		timer := v - w.left() - 1
		return fmt.Sprint("timer ", timer), uint32(w.most[timer]) + 2, 0
	}
	return "faults left", uint32(w.o.Faults) + 1, uint32(w.o.Faults)
}

// declare writes the variables that change, packed into as few bits as they need.
func (w *writer) declare() []byte {
	var out []byte
	for v, changes := range w.changes {
		if !changes {
			continue
		}
		name, size, start := w.variable(int32(v))
		need := bits.Len32(size - 1)
		out = fmt.Appendf(out, "unsigned v%d : %d = %d; /* %s */\n", v, max(need, 1), start, name)
	}
	return out
}

func (w *writer) line(format string, args ...any) {
	fmt.Fprintf(w.out, format+"\n", args...)
}

// get is the value of a variable; 0 for none.
func (w *writer) get(v int32) string {
	if v < 0 {
		return "0"
	}
	if !w.changes[v] {
		_, _, start := w.variable(v)
		return fmt.Sprint(start)
	}
	return fmt.Sprint("v", v)
}

// set gives a variable a value, which may be another one's.
func (w *writer) set(v int32, value any) string {
	if v < 0 {
		return "skip"
	}
	_, size, _ := w.variable(v)
	if size < 2 {
		return "skip"
	}
	w.given[v] = true
	return fmt.Sprintf("v%d = %v", v, value)
}

// is says that a variable has a value.
func (w *writer) is(v int32, value uint32) string {
	_, size, start := w.variable(v)
	switch {
	case value >= size:
		return no
	case !w.changes[v] || size < 2:
		return truth(start == value)
	}
	return fmt.Sprintf("(v%d == %d)", v, value)
}

// The names of package formula that are used on every line here.
const (
	yes = formula.Yes
	no  = formula.No
)

func truth(b bool) string      { return formula.Truth(b) }
func not(a string) string      { return formula.Not(a) }
func and(all ...string) string { return formula.And(all...) }
func or(all ...string) string  { return formula.Or(all...) }

// cond writes a condition; -1 never holds.
func (w *writer) cond(c int32) string { return w.formula.Cond(c) }

// mixing says that a bank runs a mix or a wipe.
func (w *writer) mixing(b *program.Bank) string { return w.formula.Mixing(b) }
