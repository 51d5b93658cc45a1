// Package promela writes a compiled show as a model for the SPIN model checker
// (G. Holzmann, The SPIN Model Checker, 2003; the language is described at
// spinroot.com/spin/Man), so that what explore says about a show can be held
// against somebody else's engine. Only tests and benchmarks use it.
//
// It is written from the meaning of a show (DEVELOPERS.md and the comments of
// package program), not from step: a second opinion that shares no line with
// what it is held against. It gives no effects, times or stories, only states.
//
// A show is one process in a loop. Each turn is one event, applied to the end
// inside a d_step, so that SPIN stores settled states and no others. Which
// timers are running follows from the variables; of a recorder that was full
// when it should have rolled it does not, so that has a bit of its own. Any
// running timer may run out at any time. A variable that nothing can change is
// a number.
//
// A route is written as all its possible ways, so a rack with very many of
// them between two places is refused.
package promela

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
)

// Options say how a model is written.
type Options struct {
	Faults int   // at most so many device faults from power-on
	Tick   int64 // microseconds; time passes in such steps. 0: timers run out in any order
	Apart  bool  // each event is a d_step of its own: longer, faster to run
	Rule   int   // with Assert: the one rule that is asserted
	Assert bool  // an assert for Rule, in place of a label for each rule

	InOrder bool // standby moves by go alone, as explore.Options has it
}

// Chosen is the environment variable that says which show a model of several
// is to run, from 0.
const Chosen = "SHOW"

// A model with a Tick has a counter for each timer. What is found with one does
// happen; what is not may still happen between two ticks, so the tick should be
// some times shorter than the times of the show. It has no faults.

// Translate writes the model of one show. SPIN's states are the show's.
func Translate(p *program.Program, o Options) ([]byte, error) {
	vars, body, err := process(p, o)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(scratch(p), "%sactive proctype show0() {\n%s}\n", vars, body), nil
}

// Batch writes one model of several shows, since a verifier takes longer to
// compile than to run. SPIN has one state more than the show that it runs:
// the one in which that is not chosen yet. The verifier must be compiled with
// -DNOCOMP: else SPIN 6.5.2 takes the last bits of a process's packed variables
// for padding, and misses states.
func Batch(ps []*program.Program, o Options) ([]byte, error) {
	out := scratch(ps...)
	var choice bytes.Buffer
	for i, p := range ps {
		vars, body, err := process(p, o)
		if err != nil {
			return nil, fmt.Errorf("show %d: %w", i, err)
		}
		out = fmt.Appendf(out, "proctype show%d() {\n%s%s}\n", i, vars, body)
		fmt.Fprintf(&choice, "\t:: chosen == %d -> run show%d()\n", i, i)
	}
	out = fmt.Appendf(out, "hidden byte chosen;\ninit { atomic {\n\tc_code { chosen = atoi(getenv(%q)); };\n\tif\n%s\tfi\n} }\n", Chosen, choice.Bytes())
	return out, nil
}

// scratch declares what is used within one event only, and so is no part of a
// state: the next instruction of each task plus one, 0 when it is not going
// on; the event; whether a task has moved; what a route has found.
func scratch(ps ...*program.Program) []byte {
	tasks := 0
	for _, p := range ps {
		tasks = max(tasks, len(p.Tasks))
	}
	out := []byte("hidden short event;\nhidden byte moved;\nhidden byte least, cost, way;\nhidden byte broken;\n")
	for t := range tasks {
		out = fmt.Appendf(out, "hidden short pc%d;\n", t)
	}
	return out
}

// process writes one show: its variables and its loop. It is written again
// until the variables that something gives a value are no fewer than before.
func process(p *program.Program, o Options) (vars, body []byte, err error) {
	if err := timed(p, o); err != nil {
		return nil, nil, err
	}
	w := newWriter(p, o)
	for v := range w.changes {
		w.changes[v] = true
	}
	for {
		w.loop()
		if w.err != nil || slices.Equal(w.given, w.changes) {
			return w.declare(), w.out.Bytes(), w.err
		}
		last := w
		w = newWriter(p, o)
		w.changes, w.most = last.given, last.most
	}
}

// loop is the process: one turn an event, or the sight of a broken rule. A skip
// ends a d_step whose last statement is a loop: SPIN would jump out of it.
func (w *writer) loop() {
	w.events()
	w.line("end: do")
	w.rules()
	if w.o.Apart {
		for _, e := range w.all {
			w.line(":: d_step { %s ->", e.when)
			w.out.WriteString(e.then)
			w.settle("", "")
			w.line("skip }")
		}
		w.line("od")
		return
	}
	w.line(":: atomic { if")
	for i, e := range w.all {
		w.line(":: %s -> event = %d", e.when, i)
	}
	w.line(":: false -> skip")
	w.line("fi; d_step { if")
	for i, e := range w.all {
		w.line(":: event == %d -> skip;", i)
		w.out.WriteString(e.then)
	}
	w.line(":: else -> skip; fi;")
	if w.long() {
		w.line("skip };")
		w.settle("d_step {", "skip };")
		w.line("}")
	} else {
		w.settle("", "")
		w.line("skip } }")
	}
	w.line("od")
}

// longest is the most statements that SPIN is given in one d_step; it takes
// about twice as many.
const longest = 1000

// long says that there are too many for one, so that each task has its own:
// slower to run.
func (w *writer) long() bool {
	kept := w.out
	w.out = new(bytes.Buffer)
	w.settle("", "")
	n := bytes.Count(w.out.Bytes(), []byte(";"))
	for _, e := range w.all {
		n += strings.Count(e.then, ";")
	}
	w.out = kept
	return n > longest
}

// rules writes what is looked at in every settled state. Label r is rule r's;
// the label after all rules' and r more is the while of rule r.
func (w *writer) rules() {
	for i := range w.p.Rules {
		r := &w.p.Rules[i]
		switch {
		case w.o.Assert && i == w.o.Rule:
			w.line(":: d_step { %s -> assert(false) }", plain(w.decides(r)))
		case !w.o.Assert:
			w.label(w.decides(r), i)
			if r.While >= 0 {
				w.label(w.cond(r.While), len(w.p.Rules)+i)
			}
		}
	}
}

func (w *writer) label(cond string, n int) {
	w.line(":: atomic { %s -> broken = %d }", plain(cond), n)
}

// decides is when a rule is decided: it is broken, or, of possible, it is shown.
func (w *writer) decides(r *program.Rule) string {
	holds := w.cond(r.Cond)
	if r.Kind != program.Always {
		return holds
	}
	if r.While >= 0 {
		return and(w.cond(r.While), not(holds))
	}
	return not(holds)
}

// plain hides what always or never holds: SPIN says nothing of a line that is
// plainly never reached, and stops at a loop that plainly never ends.
func plain(cond string) string {
	switch cond {
	case no:
		return "(event == -1)"
	case yes:
		return "(event != -1)"
	}
	return cond
}
