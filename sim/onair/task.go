package onair

import (
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// findCalls finds for each task its script and all tasks that it runs, or
// that those run. A task stands after those it runs, so one pass will do.
func (t *tables) findCalls() {
	n := len(t.p.Tasks)
	t.root, t.calls = make([]int32, n), make([][]uint64, n)
	for i := n - 1; i >= 0; i-- { // a branch stands before its owner
		t.root[i] = int32(i)
		if x := &t.p.Tasks[i]; x.Kind == program.BranchTask {
			t.root[i] = t.root[x.Owner]
		}
	}
	for i := range t.p.Tasks {
		t.calls[i] = make([]uint64, (n+63)/64)
		end := len(t.p.Code)
		if i+1 < n {
			end = int(t.p.Tasks[i+1].Entries[0])
		}
		for _, in := range t.p.Code[t.p.Tasks[i].Entries[0]:end] {
			if in.Op == program.Run {
				t.calls[i][in.A>>6] |= 1 << (in.A & 63)
				for k, word := range t.calls[in.A] {
					t.calls[i][k] |= word
				}
			}
		}
	}
}

// related says whether one of two scripts runs the other: then it waits for
// it, and the two cannot pull against each other.
func (t *tables) related(a, b int32) bool {
	return a == b || t.calls[a][b>>6]>>(b&63)&1 != 0 || t.calls[b][a>>6]>>(a&63)&1 != 0
}

// transitions looks for a mix, wipe or fade that starts over a running one.
func (w *Watch) transitions() {
	for b := range w.p.Banks {
		bank := &w.p.Banks[b]
		running := w.was(bank.Transition) != program.NoTransition && w.before.Due[bank.Timer] > w.event.At // else this very event ends it
		for i := range w.effects {
			e := &w.effects[i]
			if e.Kind != step.Sent || e.Command.A != int32(b) {
				continue
			}
			switch e.Command.Verb {
			case program.CutTo, program.Take:
				running = false
			case program.Mix, program.Wipe, program.Fade:
				if running {
					w.say("transition-over-transition", w.of(e),
						fmt.Sprintf("`%s` starts a %s while another transition is still running", bank.Name, transition[e.Command.Verb]))
				}
				running = e.Command.Micros > 0
			}
		}
	}
}

var transition = map[program.Verb]string{program.Mix: "mix", program.Wipe: "wipe", program.Fade: "fade"}

// drive is who set a bus last: the script, to which pick, and where.
type drive struct {
	root, value int32
	at          program.Place
}

// busOf is the bus that a command sets, in drives: each bank's program, each
// bank's preset, each switch; -1 when it sets none.
func (w *Watch) busOf(c program.Command) int {
	switch c.Verb {
	case program.CutTo, program.Take, program.Mix, program.Wipe:
		return int(c.A)
	case program.PresetTo:
		return len(w.p.Banks) + int(c.A)
	case program.Crosspoint:
		return 2*len(w.p.Banks) + int(c.A)
	}
	return -1
}

// heading is the pick that a command leads its bus to.
func (w *Watch) heading(c program.Command) int32 {
	switch c.Verb {
	case program.Take, program.Mix, program.Wipe:
		b := &w.p.Banks[c.A]
		if w.is(b.Transition) == program.Mixing || w.is(b.Transition) == program.Wiping {
			return int32(w.is(b.Preset))
		}
		return int32(w.is(b.Program))
	}
	return c.B
}

// rivals looks for two scripts that set one bus to different pictures while
// both run. One script and those it runs are one; so are the branches of one.
func (w *Watch) rivals() {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind == step.Ended {
			w.dropDrives(e.A)
		}
		if e.Kind != step.Sent || e.Task < 0 {
			continue
		}
		bus := w.busOf(e.Command)
		if bus < 0 {
			continue
		}
		root, value := w.root[e.Task], w.heading(e.Command)
		d := &w.drives[bus]
		if d.root >= 0 && d.value != value && !w.related(d.root, root) && w.runs(d.root) && w.runs(root) {
			w.say("rival-macros", w.of(e), fmt.Sprintf("`%s` sets %s to `%s` while `%s`, which has set it to `%s`, is still running",
				w.p.Tasks[root].Name, w.busName(bus), w.pickName(bus, value), w.p.Tasks[d.root].Name, w.pickName(bus, d.value)),
				Note{d.at, "set here before"})
		}
		*d = drive{root, value, w.of(e).at}
	}
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

func (w *Watch) busName(bus int) string {
	n := len(w.p.Banks)
	switch {
	case bus < n:
		return "`" + w.p.Banks[bus].Name + "`"
	case bus < 2*n:
		return "the preset of `" + w.p.Banks[bus-n].Name + "`"
	}
	sw := int32(bus - 2*n)
	for d, own := range w.own {
		if own == sw {
			return "`" + w.p.Destinations[d].Name + "`"
		}
	}
	return "`" + w.carries(sw) + "`"
}

func (w *Watch) pickName(bus int, value int32) string {
	n := len(w.p.Banks)
	if bus < 2*n {
		return w.p.Banks[bus%n].Picks[value].Label
	}
	return w.p.Switches[bus-2*n].Picks[value].Label
}

// routes looks for routes that found no way.
func (w *Watch) routes() {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Blocked {
			continue
		}
		to, picture := w.routed(e.Command)
		if e.Reason == step.NoPath {
			w.say("no-path", w.of(e), fmt.Sprintf("no way leads from %s to `%s`", picture, to))
			continue
		}
		held := ""
		var also []Note
		for _, t := range e.Holders {
			held += ", `" + w.p.Ties[t].Name + "`"
			also = append(also, Note{w.p.Ties[t].At, "the tie line"})
		}
		if held != "" {
			held = ": " + strings.TrimPrefix(held, ", ") + " in use"
		}
		w.say("tie-lines-exhausted", w.of(e), fmt.Sprintf("no tie line is free to bring %s to `%s`%s", picture, to, held), also...)
	}
}

// routed names the destination or tie line of a route, and the picture.
func (w *Watch) routed(c program.Command) (to, picture string) {
	if c.Verb == program.RouteTie {
		return w.p.Ties[c.A].Name, w.shows(w.ga, c.B)
	}
	return w.p.Destinations[c.A].Name, w.shows(w.ga, c.B)
}
