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
		from, to := t.p.CodeOf(int32(i))
		for _, in := range t.p.Code[from:to] {
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
func (w *Watch) transitions(on scope) {
	for b := range w.p.Banks {
		bank := &w.p.Banks[b]
		if !on.about(int32(b)) {
			continue
		}
		running := w.was(bank.Transition) != program.NoTransition && !w.endsNow(bank)
		for i := range w.effects {
			e := &w.effects[i]
			if e.Kind != step.Sent || e.Command.A != int32(b) {
				continue
			}
			switch e.Command.Verb {
			case program.CutTo, program.Take:
				running = false
			case program.Mix, program.Wipe, program.Fade:
				if running && !w.answered() {
					w.say("transition-over-transition", w.of(e),
						fmt.Sprintf("`%s` starts a %s while another transition is still running", bank.Name, transition[e.Command.Verb]))
				}
				running = e.Command.Micros > 0
			}
		}
	}
}

// endsNow says whether a bank's running transition ends in this very event, or
// in this very moment. A proof has no times; of timers of one moment it takes
// those of devices first, as everybody does.
func (w *Watch) endsNow(bank *program.Bank) bool {
	if w.asking {
		return w.event.Kind == step.Expire && w.event.A == bank.Timer
	}
	return w.before.Due[bank.Timer] <= w.event.At
}

var transition = map[program.Verb]string{program.Mix: "mix", program.Wipe: "wipe", program.Fade: "fade"}

// blocked looks for routes that found no way.
func (w *Watch) blocked(on scope) {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Blocked || !on.about(w.goal(e.Command)) || !on.because(e.Reason) || w.answered() {
			continue
		}
		to, picture := w.routeWords(e.Command)
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

// goal is what a route leads to: a destination, or behind these a tie line.
func (t *tables) goal(c program.Command) int32 {
	if c.Verb == program.RouteTie {
		return int32(len(t.p.Destinations)) + c.A
	}
	return c.A
}

// routeWords names the destination or tie line of a route, and the picture.
func (w *Watch) routeWords(c program.Command) (to, picture string) {
	if c.Verb == program.RouteTie {
		return w.p.Ties[c.A].Name, w.shows(w.ga, c.B)
	}
	return w.p.Destinations[c.A].Name, w.shows(w.ga, c.B)
}
