package scxml

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/formula"
)

// act does an action for a script. A device that does not do it leaves the
// state as it is, and the script is marked failed.
func (w *writer) act(task, action int32) {
	a := &w.p.Actions[action]
	switch a.Verb {
	case program.Protect:
		w.set(w.p.Destinations[a.A].Protect, a.B)
		return
	case program.Route, program.RouteTie:
		w.route(task, a)
		return
	}
	can := w.obeys(a.Device)
	if a.Verb == program.Play {
		state := w.p.Decks[a.A].State
		can = formula.And(can, formula.Not(formula.Or(w.is(state, program.DeckEmpty), w.is(state, program.DeckLoading))))
	}
	w.command(task, can, program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}, a.Device, func() { w.does(a) })
}

// command sends something to a device that does it, or marks the script failed.
func (w *writer) command(task int32, can string, c program.Command, device int32, does func()) {
	w.when(can, func() {
		does()
		w.say(Sent, c.Verb, c.A, c.B, c.Micros, device)
	}, func() { w.fails(task, c, device) })
}

func (w *writer) fails(task int32, c program.Command, device int32) {
	w.set(w.p.Tasks[task].Failed, 1)
	w.say(Failed, c.Verb, c.A, c.B, c.Micros, device)
}

// health says that a device, if it is one, has a health.
func (w *writer) health(device int32, health uint32) string {
	if device < 0 {
		return formula.Truth(health == program.Well)
	}
	return w.is(w.p.Devices[device].Health, health)
}

// obeys says that a device does what it is told.
func (w *writer) obeys(device int32) string {
	return formula.Not(formula.Or(w.health(device, program.Away), w.health(device, program.Refuses)))
}

// takes is how long a device needs for what should take micros.
func (w *writer) takes(device int32, micros int64) string {
	return fmt.Sprintf("(%s ? %d : %d)", w.health(device, program.Slow), micros*program.SlowFactor, micros)
}

// does is what an action changes.
func (w *writer) does(a *program.Action) {
	switch a.Verb {
	case program.CutTo:
		w.complete(&w.p.Banks[a.A])
		w.set(w.p.Banks[a.A].Program, a.B)
	case program.PresetTo:
		b := &w.p.Banks[a.A]
		w.when(w.formula.Mixing(b), func() { w.complete(b) })
		w.set(b.Preset, a.B)
	case program.Take:
		w.complete(&w.p.Banks[a.A])
		w.changeOver(&w.p.Banks[a.A])
	case program.Mix, program.Wipe, program.Fade:
		w.transition(a)
	case program.KeyTo:
		w.set(w.p.Keyers[a.A].On, a.B)
	case program.Load, program.Play, program.Pause, program.StopDeck:
		w.deck(a)
	case program.Record, program.StopRecorder:
		w.recorder(a)
	case program.Start, program.StopEncoder:
		w.encoder(a)
	case program.Recall:
		w.set(w.p.Cameras[a.A].Shot, a.B+1)
	case program.SwitchTo:
		w.set(w.p.Outlets[a.A].On, a.B)
	}
}

// changeOver swaps program and preset.
func (w *writer) changeOver(b *program.Bank) {
	w.let("kept", variable(b.Program))
	w.set(b.Program, variable(b.Preset))
	w.set(b.Preset, "kept")
}

// complete brings a running transition to its end.
func (w *writer) complete(b *program.Bank) {
	w.when(w.formula.Mixing(b), func() { w.changeOver(b) })
	w.when(w.is(b.Transition, program.FadingOut), func() { w.set(b.Faded, 1) })
	w.when(w.is(b.Transition, program.FadingIn), func() { w.set(b.Faded, 0) })
	w.set(b.Transition, program.NoTransition)
	w.disarm(b.Timer)
}

// transition is a mix, wipe or fade. One that runs completes at once; a fade to
// what the bank is already changes nothing.
func (w *writer) transition(a *program.Action) {
	b := &w.p.Banks[a.A]
	w.complete(b)
	how := map[program.Verb]uint32{program.Mix: program.Mixing, program.Wipe: program.Wiping, program.Fade: program.FadingOut}[a.Verb]
	same := formula.No
	if a.Verb == program.Fade {
		same = w.is(b.Faded, uint32(a.B))
		if a.B == 0 {
			how = program.FadingIn
		}
	}
	w.when(formula.Not(same), func() {
		switch {
		case a.Micros > 0:
			w.set(b.Transition, how)
			w.arm(b.Timer, w.takes(b.Device, a.Micros))
		case a.Verb == program.Fade:
			w.set(b.Faded, a.B)
		default:
			w.changeOver(b)
		}
	})
}

// deck loads, plays, pauses and stops.
func (w *writer) deck(a *program.Action) {
	d := &w.p.Decks[a.A]
	switch a.Verb {
	case program.Load:
		w.set(d.Clip, a.B+1)
		w.begins(d.State, program.DeckLoading, program.DeckCued, d.Timer, d.Device, d.Ready)
	case program.Play:
		w.when(formula.Not(w.is(d.State, program.DeckPlaying)), func() {
			w.set(d.State, program.DeckPlaying)
			w.disarm(d.Timer)
			for i, clip := range d.Clips {
				if length := w.p.Clips[clip].Length; length > 0 {
					w.when(w.is(d.Clip, uint32(i+1)), func() { w.arm(d.Timer, fmt.Sprint(length)) })
				}
			}
		})
	case program.Pause:
		w.when(w.is(d.State, program.DeckPlaying), func() {
			w.set(d.State, program.DeckPaused)
			w.disarm(d.Timer)
		})
	case program.StopDeck:
		w.when(formula.Not(formula.Or(w.is(d.State, program.DeckEmpty), w.is(d.State, program.DeckLoading))), func() {
			w.set(d.State, program.DeckCued)
			w.disarm(d.Timer)
		})
	}
}

// begins is a state that turns into the next after a while.
func (w *writer) begins(v int32, first, next uint32, timer, device int32, micros int64) {
	if micros <= 0 {
		w.set(v, next)
		w.disarm(timer)
		return
	}
	w.set(v, first)
	w.arm(timer, w.takes(device, micros))
}

// recorder rolls and stops. A full one starts for ever; one that hangs so
// starts anew.
func (w *writer) recorder(a *program.Action) {
	r, hung := &w.p.Recorders[a.A], hangs(a.A)
	if a.Verb == program.StopRecorder {
		w.set(r.State, program.MachineStopped)
		w.let(hung, formula.No)
		w.disarm(r.Timer)
		return
	}
	starting := formula.And(w.is(r.State, program.MachineStarting), formula.Not(hung))
	w.when(formula.Not(formula.Or(w.is(r.State, program.MachineRunning), starting)), func() {
		w.when(w.health(r.Device, program.Full), func() {
			w.set(r.State, program.MachineStarting)
			w.let(hung, formula.Yes)
			w.disarm(r.Timer)
		}, func() {
			w.let(hung, formula.No)
			w.begins(r.State, program.MachineStarting, program.MachineRunning, r.Timer, r.Device, r.Ready)
		})
	})
}

// encoder goes live and stops.
func (w *writer) encoder(a *program.Action) {
	e := &w.p.Encoders[a.A]
	if a.Verb == program.StopEncoder {
		w.set(e.State, program.MachineStopped)
		w.disarm(e.Timer)
		return
	}
	w.when(w.is(e.State, program.MachineStopped), func() {
		w.begins(e.State, program.MachineStarting, program.MachineRunning, e.Timer, e.Device, e.Ready)
	})
}

// mostWays is how many ways a route may have, so that a document stays readable.
const mostWays = 64

// route is a picture brought to a destination or a tie line: the shortest way
// that is free; of those the one that changes least; of those the first, seen
// from the destination.
func (w *writer) route(task int32, a *program.Action) {
	c := program.Command{Verb: a.Verb, A: a.A, B: a.B}
	to, open := int32(-1), formula.Yes
	if a.Verb == program.RouteTie {
		to = w.p.Switches[w.p.Ties[a.A].Switch].Node
	} else {
		to, open = w.p.Destinations[a.A].Node, w.is(w.p.Destinations[a.A].Protect, 0)
	}
	ways, cabled := w.formula.Ways(to, a.B)
	if len(ways) > mostWays {
		w.err = fmt.Errorf("a route has %d ways; at most %d can be written", len(ways), mostWays)
		return
	}
	fails := func() { w.fails(task, c, -1) }
	w.when(open, func() {
		switch {
		case cabled:
		case len(ways) == 0:
			fails()
		default:
			w.choose(ways)
			for i, x := range ways {
				w.when(fmt.Sprintf("way == %d", i), func() {
					for n, at := range slices.Backward(x.Points) {
						w.point(task, at, n == 0)
					}
				})
			}
			w.when("way < 0", fails)
		}
	}, fails)
}

// choose finds the best of the ways, the shorter ones first.
func (w *writer) choose(ways []formula.Way) {
	w.let("way", -1)
	for i, x := range ways {
		cost := "0"
		for _, at := range x.Points {
			cost += " + " + "(" + w.formula.Stands(at) + " ? 0 : 1)"
		}
		shorter := slices.IndexFunc(ways, func(y formula.Way) bool { return len(y.Points) == len(x.Points) })
		w.when(formula.And(x.Free, fmt.Sprintf("(way < 0 || way >= %d)", shorter)), func() {
			w.let("cost", cost)
			w.when("way < 0 || cost < least", func() {
				w.let("least", "cost")
				w.let("way", i)
			})
		})
	}
}

// point sets a crosspoint, unless it stands and is not the destination's own.
func (w *writer) point(task int32, x formula.Point, own bool) {
	sw := &w.p.Switches[x.Switch]
	set := func() {
		w.command(task, w.obeys(sw.Device), program.Command{Verb: program.Crosspoint, A: x.Switch, B: x.Pick}, sw.Device,
			func() { w.set(sw.Var, x.Pick) })
	}
	w.when(formula.Not(formula.And(w.formula.Stands(x), formula.Truth(!own))), set)
}
