package scxml

import (
	"fmt"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// outside is the region of what happens from outside: one state, each event a
// transition of it.
func (w *writer) outside() {
	w.open("state", "id", "outside")
	for t := range w.p.Timers {
		if w.mistake == TimersBackward {
			t = len(w.p.Timers) - 1 - t
		}
		w.timer(int32(t))
	}
	for b := range w.p.Buttons {
		w.button(int32(b))
	}
	w.on("go", formula.Yes, func() { w.goCue(-1) })
	for c := range w.p.Cues {
		cue := int32(c)
		w.on(fmt.Sprint("call.", c), formula.Yes, func() { w.goCue(cue) })
		if w.p.Cues[c].By != program.NoMoment { // unless the rundown is past it
			w.on(fmt.Sprint("moment.", c), fmt.Sprintf("%s <= %d", variable(w.p.StandbyVar()), c), func() { w.goCue(cue) })
		}
	}
	for c := range len(w.p.Cues) + 1 {
		w.on(fmt.Sprint("stand.", c), formula.Yes, func() { w.set(w.p.StandbyVar(), c) })
	}
	for d := range w.p.Devices {
		for h := range w.p.Vars[w.p.Devices[d].Health].Size {
			w.on(fmt.Sprintf("fault.%d.%d", d, h), formula.Yes, func() { w.fault(int32(d), h) })
		}
	}
	for t := range w.p.Tasks { // a device answers no to what the script has sent
		w.on(fmt.Sprint("declined.", t), formula.Yes, func() { w.set(w.p.Tasks[t].Failed, 1) })
	}
	w.on("stop", formula.Yes, w.stopAll)
	w.close("state")
}

// on writes an event from outside: its time, what it does, and then scripts go
// on.
func (w *writer) on(event, when string, do func()) {
	if when == formula.No {
		return
	}
	w.open("transition", "event", event, "cond", when)
	w.let("now", "_event.data")
	do()
	w.pass()
	w.close("transition")
}

// timer is a timer that runs out.
func (w *writer) timer(i int32) {
	w.on("due", fmt.Sprintf("0 <= %s && %s <= _event.data", due(i), due(i)), func() {
		w.disarm(i)
		switch t := w.p.Timers[i]; t.Kind {
		case program.TaskTimer:
			w.timeUp(t.Owner)
		case program.BankTimer:
			w.complete(&w.p.Banks[t.Owner])
		case program.DeckTimer:
			d := &w.p.Decks[t.Owner]
			w.when(w.is(d.State, program.DeckLoading), func() { w.set(d.State, program.DeckCued) },
				func() {
					w.when(w.is(d.State, program.DeckPlaying), func() { w.set(d.State, program.DeckEnded) })
				})
		case program.MachineTimer:
			v := int32(-1)
			if n := int32(len(w.p.Recorders)); t.Owner >= n {
				v = w.p.Encoders[t.Owner-n].State
			} else {
				v = w.p.Recorders[t.Owner].State
			}
			w.when(w.is(v, program.MachineStarting), func() { w.set(v, program.MachineRunning) })
		case program.FollowTimer:
			w.set(w.p.Cues[t.Owner].FollowVar, program.NoFollow)
			w.fire(t.Owner, func() {})
		case program.HoldTimer:
			b := &w.p.Buttons[t.Owner]
			w.when(w.is(b.Down, 1), func() {
				w.set(b.Down, 2)
				w.launch(b.Hold, 0, func() {})
			})
		case program.CoverTimer:
			w.set(w.p.Buttons[t.Owner].Cover, 0)
		}
	})
}

// button is a finger that goes down, and comes up again, and a cover.
func (w *writer) button(i int32) {
	b := &w.p.Buttons[i]
	var showing []string
	for _, s := range w.p.Surfaces {
		for at, page := range s.Pages {
			if page == b.Page {
				showing = append(showing, w.is(s.Page, uint32(at)))
			}
		}
	}
	up := formula.Yes
	if b.Down >= 0 {
		up = w.is(b.Down, 0)
	}
	shut := formula.No
	if b.Cover >= 0 {
		shut = w.is(b.Cover, 0)
	}
	w.on(fmt.Sprint("down.", i), formula.And(formula.Or(showing...), up), func() {
		w.when(shut, func() {
			w.set(b.Cover, 1)
			w.arm(b.CoverTimer, fmt.Sprint(program.CoverOpen))
		}, func() {
			w.set(b.Cover, 0)
			w.disarm(b.CoverTimer)
			w.set(b.Down, 1)
			if b.Hold >= 0 {
				w.arm(b.HoldTimer, fmt.Sprint(b.HoldAfter))
			} else if b.Press >= 0 {
				w.launch(b.Press, 0, func() {})
			}
		})
	})
	if b.Down < 0 {
		return
	}
	w.on(fmt.Sprint("up.", i), formula.Not(up), func() {
		if b.Hold >= 0 && b.Press >= 0 {
			w.when(w.is(b.Down, 1), func() { w.launch(b.Press, 0, func() {}) })
		}
		w.set(b.Down, 0)
		w.disarm(b.HoldTimer)
		if b.Release >= 0 {
			w.launch(b.Release, 0, func() {})
		}
	})
}

// goCue fires a cue, or the one on standby when it is -1; standby moves past it
// and past those that follow. What was still to follow is cancelled.
func (w *writer) goCue(cue int32) {
	one := func(c int32) {
		w.unfollow()
		past := c + 1
		for ; int(past) < len(w.p.Cues) && w.p.Cues[past].Follow >= 0; past++ {
		}
		w.fire(c, func() { w.set(w.p.StandbyVar(), past) })
	}
	if cue >= 0 {
		one(cue)
		return
	}
	w.let("standing", variable(w.p.StandbyVar()))
	for c := range w.p.Cues {
		w.when(fmt.Sprintf("standing == %d", c), func() { one(int32(c)) })
	}
}

// unfollow cancels every wait to follow.
func (w *writer) unfollow() {
	for i := range w.p.Cues {
		w.set(w.p.Cues[i].FollowVar, program.NoFollow)
		w.disarm(w.p.Cues[i].Timer)
	}
}

// fire starts a cue that is not running, and then does one thing more.
func (w *writer) fire(cue int32, then func()) {
	c := &w.p.Cues[cue]
	w.when(formula.Not(w.running(c.Task)), func() {
		w.say(Fired, cue)
		w.start(c.Task, 0)
		for i := range w.p.Cues {
			if w.p.Cues[i].Follow == cue {
				w.set(w.p.Cues[i].FollowVar, program.WillFollow)
			}
		}
		then()
	})
}

// follow lets the cues wait, or fires them, that follow one that has ended.
func (w *writer) follow(ended int32) {
	for c := range w.p.Cues {
		x := &w.p.Cues[c]
		if x.Follow != ended {
			continue
		}
		w.when(w.is(x.FollowVar, program.WillFollow), func() {
			if x.After <= 0 {
				w.set(x.FollowVar, program.NoFollow)
				w.fire(int32(c), func() {})
				return
			}
			w.set(x.FollowVar, program.WaitsToFollow)
			w.arm(x.Timer, fmt.Sprint(x.After))
		})
	}
}

// fault gives a device a health. A recorder that is about to roll never does
// when it is full.
func (w *writer) fault(device int32, health uint32) {
	w.set(w.p.Devices[device].Health, health)
	for r := range w.p.Recorders {
		if x := &w.p.Recorders[r]; x.Device == device && health == program.Full {
			w.when(w.is(x.State, program.MachineStarting), func() {
				w.let(hangs(int32(r)), formula.Yes)
				w.disarm(x.Timer)
			})
		}
	}
}

// stopAll ends every running script, every wait to follow and every hold.
func (w *writer) stopAll() {
	for t := range w.p.Tasks {
		w.when(w.running(int32(t)), func() { w.halt(int32(t)) })
	}
	w.unfollow()
	for i := range w.p.Buttons {
		if b := &w.p.Buttons[i]; b.Hold >= 0 {
			w.disarm(b.HoldTimer)
			w.when(w.is(b.Down, 1), func() { w.set(b.Down, 2) })
		}
	}
}
