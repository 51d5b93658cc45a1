// Package scxml writes a compiled show as a document of State Chart XML (SCXML):
// State Machine Notation for Control Abstraction, W3C Recommendation of
// 1 September 2015, so that the order in which a show does things can be held
// against somebody else's interpreter. Only tests use it.
//
// It is written from the meaning of a show (DEVELOPERS.md and the comments of
// package program), not from step. What decides an order is left to SCXML:
//
//   - Each script is a region of one parallel state, in table order. What lets
//     scripts go on is an internal event, pass: every region takes it in the same
//     microstep, one after the other in document order, and the last region raises
//     it again when one has moved. So an event from outside is applied to the end
//     before the next is taken from the external queue.
//   - Where a script rests is a state: entering it starts its timer, leaving it
//     stops it. A region gets there without an event, which is before pass.
//   - A timer that runs out is an external event, due. Of those that are due at
//     one moment the first transition in document order is taken: table order.
//
// What is sent to devices, alerted and noted, and that cues are fired and scripts
// start and end, is sent to another session. Not written is what devices report
// of themselves (step.Observe) and what the plan wishes after a power cut.
package scxml

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// Mistake is a wrong order that is written on purpose, so that a comparison can
// show that it would find it.
type Mistake uint8

// The mistakes.
const (
	NoMistake       Mistake = iota
	TimersBackward          // of timers that are due at one moment the last in the table runs out first
	ScriptsBackward         // scripts go on in the opposite order of the table
	PassOutside             // what lets scripts go on is an external event, behind those that wait
)

// The events that tell what a show does. Their data are: the verb, A, B,
// microseconds and device of a Command; a text's index in Texts; a cue; a task.
const (
	Sent    = "sent"
	Failed  = "failed"
	Alert   = "alert"
	Note    = "note"
	Fired   = "fired"
	Started = "started"
	Ended   = "ended"
)

// Translate writes a show. Its data are v0, v1, …, the variables of the
// program; due0, due1, …, when its timers run out, in microseconds, or -1; and
// some that mean something only within one event. Each event from outside has
// the time as its data.
func Translate(p *program.Program, m Mistake) ([]byte, error) {
	w := &writer{p: p, mistake: m, out: new(bytes.Buffer)}
	w.formula = formula.Writer{P: p, Is: w.is}
	w.open("scxml", "xmlns", "http://www.w3.org/2005/07/scxml", "version", "1.0", "datamodel", "ecmascript")
	w.data()
	w.open("parallel", "id", "show")
	w.outside()
	w.regions()
	w.again()
	w.close("parallel")
	w.close("scxml")
	return w.out.Bytes(), w.err
}

// writer writes a document.
type writer struct {
	p       *program.Program
	mistake Mistake
	formula formula.Writer
	out     *bytes.Buffer
	err     error
}

// data declares everything that has a value.
func (w *writer) data() {
	one := func(id string, value any) { w.empty("data", "id", id, "expr", fmt.Sprint(value)) }
	w.open("datamodel")
	one("now", 0)
	one("moved", formula.No)
	for i, v := range w.p.Vars {
		one(variable(int32(i)), v.Start)
	}
	for t := range w.p.Timers {
		one(due(int32(t)), -1)
	}
	for t := range w.p.Tasks {
		one(pc(int32(t)), 0)
		one(fresh(int32(t)), formula.No)
	}
	for r := range w.p.Recorders {
		one(hangs(int32(r)), formula.No)
	}
	for _, scratch := range []string{"least", "cost", "way", "kept", "standing", "round"} {
		one(scratch, 0)
	}
	one("twice", "[1, 2]")
	w.close("datamodel")
}

// The names of data: a variable of the show; when a timer runs out; the next
// instruction of a script plus one, 0 when it is not going on; that a script
// has come to rest anew; that a recorder was full when it should have rolled.
func variable(v int32) string     { return fmt.Sprint("v", v) }
func due(timer int32) string      { return fmt.Sprint("due", timer) }
func pc(task int32) string        { return fmt.Sprint("pc", task) }
func fresh(task int32) string     { return fmt.Sprint("fresh", task) }
func hangs(recorder int32) string { return fmt.Sprint("hangs", recorder) }

// open, close and empty write a tag; attributes are names and values in turn.
func (w *writer) open(tag string, attributes ...string)  { w.tag(tag, ">", attributes) }
func (w *writer) empty(tag string, attributes ...string) { w.tag(tag, "/>", attributes) }
func (w *writer) close(tag string)                       { fmt.Fprintf(w.out, "</%s>\n", tag) }

func (w *writer) tag(tag, end string, attributes []string) {
	fmt.Fprintf(w.out, "<%s", tag)
	for i := 0; i+1 < len(attributes); i += 2 {
		fmt.Fprintf(w.out, ` %s="`, attributes[i])
		xml.EscapeText(w.out, []byte(attributes[i+1])) // a Buffer does not fail
		w.out.WriteByte('"')
	}
	w.out.WriteString(end + "\n")
}

// is says that a variable has a value.
func (w *writer) is(v int32, value uint32) string {
	switch x := &w.p.Vars[v]; {
	case value >= x.Size:
		return formula.No
	case x.Size < 2:
		return formula.Truth(x.Start == value)
	}
	return fmt.Sprintf("(v%d == %d)", v, value)
}

// let gives a piece of data a value.
func (w *writer) let(name string, value any) {
	w.empty("assign", "location", name, "expr", fmt.Sprint(value))
}

// set gives a variable a value, which may be another one's.
func (w *writer) set(v int32, value any) {
	if v >= 0 && w.p.Vars[v].Size > 1 {
		w.let(variable(v), value)
	}
}

// arm starts a timer; for is how long it runs. disarm stops it.
func (w *writer) arm(timer int32, micros string) {
	if timer >= 0 {
		w.let(due(timer), "now + "+micros)
	}
}

func (w *writer) disarm(timer int32) {
	if timer >= 0 {
		w.let(due(timer), -1)
	}
}

// say tells another session of something.
func (w *writer) say(event string, data ...any) {
	var text []string
	for _, d := range data {
		text = append(text, fmt.Sprint(d))
	}
	w.open("send", "event", event, "target", "#_scxml_crew")
	w.empty("content", "expr", "["+strings.Join(text, ", ")+"]")
	w.close("send")
}

// when does something if a condition holds, and else, perhaps, something else.
func (w *writer) when(cond string, do func(), otherwise ...func()) {
	switch {
	case cond == formula.Yes:
		do()
	case cond == formula.No:
		for _, f := range otherwise {
			f()
		}
	default:
		w.open("if", "cond", cond)
		do()
		for _, f := range otherwise {
			w.empty("else")
			f()
		}
		w.close("if")
	}
}

// pass lets every script go on that can.
func (w *writer) pass() {
	if w.mistake == PassOutside {
		w.empty("send", "event", "pass")
		return
	}
	w.empty("raise", "event", "pass")
}

// again is the last region: scripts have another turn while one has moved.
func (w *writer) again() {
	w.open("state", "id", "again")
	w.open("transition", "event", "pass")
	w.when("moved", func() {
		w.let("moved", formula.No)
		w.pass()
	})
	w.close("transition")
	w.close("state")
}
