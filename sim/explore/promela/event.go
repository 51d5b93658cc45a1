package promela

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
)

// event is one thing that can happen from outside: when it can, and what it
// does before tasks go on.
type event struct{ when, then string }

// on adds an event; do writes what it does.
func (w *writer) on(when string, do func()) {
	if when == no {
		return
	}
	kept := w.out
	w.out = new(bytes.Buffer)
	do()
	w.all = append(w.all, event{when, w.out.String()})
	w.out = kept
}

// events lists everything that can happen.
func (w *writer) events() {
	for b := range w.p.Buttons {
		w.button(&w.p.Buttons[b])
	}
	if len(w.p.Cues) > 0 {
		standby := w.p.StandbyVar()
		w.onPress(not(w.is(standby, uint32(len(w.p.Cues)))), func() { w.goCue(-1) })
	}
	for i := range w.p.Cues {
		if !w.o.InOrder {
			w.onPress(yes, func() { w.goCue(int32(i)) })
		}
		if w.p.Cues[i].By != program.NoMoment {
			w.moment(int32(i))
		}
	}
	if !w.o.InOrder {
		w.stand()
	}
	for i, t := range w.p.Timers {
		w.timer(int32(i), t)
	}
	if w.o.Tick > 0 {
		w.pass()
	}
	if w.o.Faults > 0 {
		w.faults()
	}
}

// button is a finger that goes down, and comes up again, and a cover.
func (w *writer) button(b *program.Button) {
	var showing []string
	for _, s := range w.p.Surfaces {
		for i, page := range s.Pages {
			if page == b.Page {
				showing = append(showing, w.is(s.Page, uint32(i)))
			}
		}
	}
	up := yes
	if b.Down >= 0 {
		up = w.is(b.Down, 0)
	}
	w.onPress(and(or(showing...), up), func() {
		if b.Cover >= 0 {
			w.line("if :: %s -> %s;", w.is(b.Cover, 0), w.set(b.Cover, 1))
			w.arm(b.CoverTimer, program.CoverOpen)
			w.line(":: else -> %s;", w.set(b.Cover, 0))
			w.disarm(b.CoverTimer)
			defer w.line("fi;")
		}
		w.line("%s;", w.set(b.Down, 1))
		w.arm(b.HoldTimer, b.HoldAfter)
		if b.Hold < 0 && b.Press >= 0 {
			w.launch(b.Press, 0)
		}
	})
	if b.Down < 0 {
		return
	}
	w.onPress(not(w.is(b.Down, 0)), func() {
		w.disarm(b.HoldTimer)
		if b.Hold >= 0 && b.Press >= 0 {
			w.line("if :: %s -> skip;", w.is(b.Down, 1))
			w.launch(b.Press, 0)
			w.line(":: else -> skip; fi;")
		}
		if b.Release >= 0 {
			w.launch(b.Release, 0)
		}
		w.line("%s;", w.set(b.Down, 0))
	})
}

// timer is a timer that runs out, when it runs.
func (w *writer) timer(i int32, t program.Timer) {
	switch t.Kind {
	case program.TaskTimer:
		w.taskTimer(i, t.Owner)
	case program.BankTimer:
		b := &w.p.Banks[t.Owner]
		w.onTimer(i, not(w.is(b.Transition, program.NoTransition)), func() { w.complete(b) })
	case program.DeckTimer:
		w.deckTimer(i, &w.p.Decks[t.Owner])
	case program.MachineTimer:
		if n := int32(len(w.p.Recorders)); t.Owner >= n {
			e := &w.p.Encoders[t.Owner-n]
			w.onTimer(i, w.is(e.State, program.MachineStarting), func() { w.line("%s;", w.set(e.State, program.MachineRunning)) })
		} else {
			r := &w.p.Recorders[t.Owner]
			w.onTimer(i, and(w.is(r.State, program.MachineStarting), w.is(w.hung(t.Owner), 0)),
				func() { w.line("%s;", w.set(r.State, program.MachineRunning)) })
		}
	case program.FollowTimer:
		c := &w.p.Cues[t.Owner]
		w.onTimer(i, w.is(c.FollowVar, program.WaitsToFollow), func() {
			w.line("%s;", w.set(c.FollowVar, 0))
			w.fire(t.Owner, "skip")
		})
	case program.HoldTimer:
		b := &w.p.Buttons[t.Owner]
		w.onTimer(i, w.is(b.Down, 1), func() {
			w.line("%s;", w.set(b.Down, 2))
			w.launch(b.Hold, 0)
		})
	case program.CoverTimer:
		b := &w.p.Buttons[t.Owner]
		w.onTimer(i, w.is(b.Cover, 1), func() { w.line("%s;", w.set(b.Cover, 0)) })
	}
}

func (w *writer) deckTimer(i int32, d *program.Deck) {
	known := []string{}
	for n, clip := range d.Clips {
		if w.p.Clips[clip].Length > 0 {
			known = append(known, w.is(d.Clip, uint32(n+1)))
		}
	}
	w.onTimer(i, or(w.is(d.State, program.DeckLoading), and(w.is(d.State, program.DeckPlaying), or(known...))), func() {
		w.line("if :: %s -> %s; :: else -> %s; fi;", w.is(d.State, program.DeckLoading),
			w.set(d.State, program.DeckCued), w.set(d.State, program.DeckEnded))
	})
}

// faults are what can befall a device that is well, as often as the budget
// allows, and that it is well again, at any time. Only a recorder can be full,
// and only a deck is slow, as explore has it.
func (w *writer) faults() {
	left := w.left()
	for d := range w.p.Devices {
		health := w.p.Devices[d].Health
		for _, h := range w.illnesses(int32(d)) {
			w.on(and(not(w.is(left, 0)), w.is(health, program.Well)), func() {
				w.line("%s; %s;", w.set(left, w.get(left)+" - 1"), w.set(health, h))
				if h == program.Full {
					w.fillUp(int32(d))
				}
			})
		}
		w.on(not(w.is(health, program.Well)), func() { w.line("%s;", w.set(health, program.Well)) })
	}
}

func (w *writer) illnesses(device int32) []uint32 {
	all := []uint32{program.Away, program.Refuses}
	if slices.ContainsFunc(w.p.Decks, func(d program.Deck) bool { return d.Device == device }) {
		all = append(all, program.Slow)
	}
	if slices.ContainsFunc(w.p.Recorders, func(r program.Recorder) bool { return r.Device == device }) {
		all = append(all, program.Full)
	}
	return all
}

// fillUp is a recorder that is full: one that is about to roll never does.
func (w *writer) fillUp(device int32) {
	for r := range w.p.Recorders {
		if x := &w.p.Recorders[r]; x.Device == device {
			w.when(w.is(x.State, program.MachineStarting), w.set(w.hung(int32(r)), 1))
		}
	}
}

// when does something if a condition holds.
func (w *writer) when(cond string, do ...string) {
	w.line("if :: %s -> %s; :: else -> skip; fi;", cond, strings.Join(do, "; "))
}

// goCue fires a cue, or the one on standby when it is -1; standby moves past it
// and past those that follow.
func (w *writer) goCue(cue int32) {
	standby := w.p.StandbyVar()
	past := func(c int32) string {
		for c++; int(c) < len(w.p.Cues) && w.p.Cues[c].Follow >= 0; c++ {
		}
		return w.set(standby, c)
	}
	if cue < 0 {
		w.line("if :: %s -> skip; :: else -> skip;", w.is(standby, uint32(len(w.p.Cues))))
	}
	for i := range w.p.Cues { // what is still to follow is cancelled
		if c := &w.p.Cues[i]; c.FollowVar >= 0 {
			w.line("%s;", w.set(c.FollowVar, program.NoFollow))
			w.disarm(c.Timer)
		}
	}
	if cue < 0 {
		w.line("fi;")
	}
	if cue >= 0 {
		w.fire(cue, past(cue))
		return
	}
	w.line("if")
	for c := range w.p.Cues {
		w.line(":: %s -> skip;", w.is(standby, uint32(c)))
		w.fire(int32(c), past(int32(c)))
	}
	w.line(":: else -> skip; fi;")
}

// stand is standby skipped by one cue, or taken back by one.
func (w *writer) stand() {
	standby := w.p.StandbyVar()
	for at := range w.p.Cues {
		w.onPress(w.is(standby, uint32(at)), func() { w.line("%s;", w.set(standby, at+1)) })
		w.onPress(w.is(standby, uint32(at+1)), func() { w.line("%s;", w.set(standby, at)) })
	}
}

// moment is a cue's moment, which may come at any time until the rundown is past
// it.
func (w *writer) moment(cue int32) {
	var ahead []string
	for s := range cue + 1 {
		ahead = append(ahead, w.is(w.p.StandbyVar(), uint32(s)))
	}
	w.onPress(or(ahead...), func() { w.goCue(cue) })
}

// fire starts a cue that is not running, and then does one thing more.
func (w *writer) fire(cue int32, then string) {
	c := &w.p.Cues[cue]
	w.line("if :: %s -> skip; :: else -> skip;", w.running(c.Task))
	w.start(c.Task, 0)
	for i := range w.p.Cues {
		if f := &w.p.Cues[i]; f.Follow == cue {
			w.line("%s;", w.set(f.FollowVar, program.WillFollow))
		}
	}
	w.line("%s; fi;", then)
}

// pc is the next instruction of a task plus one, 0 when it is not going on.
func pc(task int32) string { return fmt.Sprint("pc", task) }
