package onair

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// A thing that scripts can drive is a number: each bank's program, each bank's
// preset, each switch, each deck, each recorder, each encoder, in this order.

// things is how many there are.
func things(p *program.Program) int {
	return 2*len(p.Banks) + len(p.Switches) + len(p.Decks) + len(p.Recorders) + len(p.Encoders)
}

// buses is how many of the things are buses: they come first.
func (t *tables) buses() int32 { return int32(2*len(t.p.Banks) + len(t.p.Switches)) }

// thingOf is the thing that a command drives, -1 when it drives none.
func (t *tables) thingOf(c program.Command) int32 {
	banks, decks := int32(len(t.p.Banks)), t.buses()
	recorders := decks + int32(len(t.p.Decks))
	switch c.Verb {
	case program.CutTo, program.Take, program.Mix, program.Wipe:
		return c.A
	case program.PresetTo:
		return banks + c.A
	case program.Crosspoint:
		return 2*banks + c.A
	case program.Load, program.Play, program.Pause, program.StopDeck:
		return decks + c.A
	case program.Record, program.StopRecorder:
		return recorders + c.A
	case program.Start, program.StopEncoder:
		return recorders + int32(len(t.p.Recorders)) + c.A
	}
	return -1
}

// What a deck, recorder or encoder can be told, besides to load a clip, which
// is its index.
const (
	toStop  int32 = -1
	toPlay  int32 = -2
	toPause int32 = -3
	toStart int32 = -4
)

// heading is what a command leads its thing to: a pick, or what it is told.
func (w *Watch) heading(c program.Command) int32 {
	switch c.Verb {
	case program.Take, program.Mix, program.Wipe:
		return w.programNext(c.A, w.is)
	case program.Play:
		return toPlay
	case program.Pause:
		return toPause
	case program.StopDeck, program.StopRecorder, program.StopEncoder:
		return toStop
	case program.Record, program.Start:
		return toStart
	}
	return c.B
}

// programNext is what a bank's program is, or will be when its transition has
// come to its end.
func (w *Watch) programNext(bank int32, get func(int32) uint32) int32 {
	b := &w.p.Banks[bank]
	if does := get(b.Transition); does == program.Mixing || does == program.Wiping {
		return int32(get(b.Preset))
	}
	return int32(get(b.Program))
}

// drive is who drove a thing last: the script, to what, and where.
type drive struct {
	root, value int32
	at          program.Place
}

// rivals looks for two scripts that drive one thing two ways while both run.
// One script and those it runs are one; so are the branches of one.
func (w *Watch) rivals() {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind == step.Ended {
			w.dropDrives(e.A)
		}
		if e.Kind != step.Sent || e.Task < 0 {
			continue
		}
		thing := w.thingOf(e.Command)
		if thing < 0 {
			continue
		}
		root, value := w.root[e.Task], w.heading(e.Command)
		d := &w.drives[thing]
		if d.root >= 0 && d.value != value && !w.related(d.root, root) && w.runs(d.root) && w.runs(root) {
			w.say(w.rivalCode(thing), w.of(e), fmt.Sprintf("`%s` %s while `%s`, which %s, is still running",
				w.p.Tasks[root].Name, w.driving(thing, value, now), w.p.Tasks[d.root].Name, w.driving(thing, d.value, before)),
				Note{d.at, "set here before"})
		}
		*d = drive{root, value, w.of(e).at}
	}
}

// rivalCode is the code of rivals for a thing.
func (t *tables) rivalCode(thing int32) string {
	if thing < t.buses() {
		return "rival-macros"
	}
	return "operators-collide"
}

// dropDrives forgets what a script did, in a run that has ended.
func (w *Watch) dropDrives(task int32) {
	for i := range w.drives {
		if w.drives[i].root == task {
			w.drives[i].root = -1
		}
	}
}

// runs says whether a script was running before or is after the event.
func (w *Watch) runs(task int32) bool {
	at := w.p.Tasks[task].At
	return at >= 0 && (w.was(at) != 0 || w.is(at) != 0)
}

// tense is whether something is being done or has been.
type tense int

const (
	now tense = iota
	before
)

// driving says in words that a thing is led to a value.
func (t *tables) driving(thing, value int32, when tense) string {
	if thing < t.buses() {
		words := [2]string{"sets %s to `%s`", "has set it to `%[2]s`"}
		return fmt.Sprintf(words[when], t.thingName(thing), t.pickName(thing, value))
	}
	words, object := [2]string{"tells %s to ", "has told it to "}, "record"
	if when == now {
		words[now] = fmt.Sprintf(words[now], t.thingName(thing))
	}
	deck, n := thing-t.buses(), int32(len(t.p.Decks))
	switch {
	case value == toStop:
		object = "stop"
	case value == toPlay:
		object = "play"
	case value == toPause:
		object = "pause"
	case deck < n:
		object = "load `" + t.p.Clips[t.p.Decks[deck].Clips[value]].Name + "`"
	case deck >= n+int32(len(t.p.Recorders)):
		object = "go live"
	}
	return words[when] + object
}

// thingName names a thing in backticks.
func (t *tables) thingName(thing int32) string {
	n := int32(len(t.p.Banks))
	machine := thing - t.buses()
	decks, recorders := int32(len(t.p.Decks)), int32(len(t.p.Recorders))
	switch {
	case thing < n:
		return "`" + t.p.Banks[thing].Name + "`"
	case thing < 2*n:
		return "the preset of `" + t.p.Banks[thing-n].Name + "`"
	case machine < 0:
		sw := thing - 2*n
		if d := slices.Index(t.own, sw); d >= 0 {
			return "`" + t.p.Destinations[d].Name + "`"
		}
		return "`" + t.carries(sw) + "`"
	case machine < decks:
		return "`" + t.p.Decks[machine].Name + "`"
	case machine < decks+recorders:
		return "`" + t.p.Recorders[machine-decks].Name + "`"
	}
	return "`" + t.p.Encoders[machine-decks-recorders].Name + "`"
}

func (t *tables) pickName(bus, value int32) string {
	n := int32(len(t.p.Banks))
	if bus < 2*n {
		return t.p.Banks[bus%n].Picks[value].Label
	}
	return t.p.Switches[bus-2*n].Picks[value].Label
}
