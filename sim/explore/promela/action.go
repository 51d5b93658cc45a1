package promela

import "cuewright/macro/program"

// act does an action for a task. A device that does not do it leaves the state
// as it is, and the task is marked failed.
func (w *writer) act(task, action int32) {
	a := &w.p.Actions[action]
	switch a.Verb {
	case program.Protect:
		w.line("%s;", w.set(w.p.Destinations[a.A].Protect, a.B))
		return
	case program.Route, program.RouteTie:
		w.route(task, a)
		return
	}
	can := w.obeys(a.Device)
	if a.Verb == program.Play {
		state := w.p.Decks[a.A].State
		can = and(can, not(w.is(state, program.DeckEmpty)), not(w.is(state, program.DeckLoading)))
	}
	w.line("if :: %s -> skip;", can)
	w.does(a)
	w.line(":: else -> %s; fi;", w.fails(task))
}

// obeys says that a device does what it is told.
func (w *writer) obeys(device int32) string {
	if device < 0 {
		return yes
	}
	health := w.p.Devices[device].Health
	return not(or(w.is(health, program.Away), w.is(health, program.Refuses)))
}

// does is what an action changes.
func (w *writer) does(a *program.Action) {
	switch a.Verb {
	case program.CutTo:
		w.complete(&w.p.Banks[a.A])
		w.line("%s;", w.set(w.p.Banks[a.A].Program, a.B))
	case program.PresetTo:
		b := &w.p.Banks[a.A]
		w.line("if :: %s ->", w.mixing(b))
		w.complete(b)
		w.line(":: else -> skip; fi;")
		w.line("%s;", w.set(b.Preset, a.B))
	case program.Take:
		w.complete(&w.p.Banks[a.A])
		w.changeOver(&w.p.Banks[a.A])
	case program.Mix, program.Wipe, program.Fade:
		w.transition(a)
	case program.KeyTo:
		w.line("%s;", w.set(w.p.Keyers[a.A].On, a.B))
	case program.Load, program.Play, program.Pause, program.StopDeck:
		w.deck(a)
	case program.Record, program.StopRecorder:
		w.recorder(a)
	case program.Start, program.StopEncoder:
		w.encoder(a)
	case program.Recall:
		w.line("%s;", w.set(w.p.Cameras[a.A].Shot, a.B+1))
	case program.SwitchTo:
		w.line("%s;", w.set(w.p.Outlets[a.A].On, a.B))
	}
}

// changeOver swaps program and preset; cost is used to carry one over.
func (w *writer) changeOver(b *program.Bank) {
	w.line("cost = %s; %s; %s; cost = 0;", w.get(b.Program), w.set(b.Program, w.get(b.Preset)), w.set(b.Preset, "cost"))
}

// complete brings a running transition to its end.
func (w *writer) complete(b *program.Bank) {
	w.line("if :: %s -> skip;", w.mixing(b))
	w.changeOver(b)
	w.line(":: %s -> %s;", w.is(b.Transition, program.FadingOut), w.set(b.Faded, 1))
	w.line(":: %s -> %s;", w.is(b.Transition, program.FadingIn), w.set(b.Faded, 0))
	w.line(":: else -> skip; fi; %s;", w.set(b.Transition, program.NoTransition))
	w.disarm(b.Timer)
}

// transition is a mix, wipe or fade. One that runs completes at once.
func (w *writer) transition(a *program.Action) {
	b := &w.p.Banks[a.A]
	w.complete(b)
	fade := a.Verb == program.Fade
	how := map[program.Verb]uint32{program.Mix: program.Mixing, program.Wipe: program.Wiping, program.Fade: program.FadingOut}[a.Verb]
	if fade && a.B == 0 {
		how = program.FadingIn
	}
	switch {
	case a.Micros > 0:
		w.line("if :: %s -> %s;", and(truth(fade), w.is(b.Faded, uint32(a.B))), "skip")
		w.line(":: else -> %s;", w.set(b.Transition, how))
		w.arm(b.Timer, a.Micros)
		w.line("fi;")
	case fade:
		w.line("%s;", w.set(b.Faded, a.B))
	default:
		w.changeOver(b)
	}
}

// deck loads, plays, pauses and stops.
func (w *writer) deck(a *program.Action) {
	d := &w.p.Decks[a.A]
	switch a.Verb {
	case program.Load:
		w.line("%s;", w.set(d.Clip, a.B+1))
		w.begins(d.State, program.DeckLoading, program.DeckCued, d.Timer, d.Ready)
		return
	case program.Play:
		w.line("if :: %s -> skip;", w.is(d.State, program.DeckPlaying))
		w.line(":: else -> %s;", w.set(d.State, program.DeckPlaying))
		w.disarm(d.Timer)
		for i, clip := range d.Clips {
			if length := w.p.Clips[clip].Length; length > 0 {
				w.line("if :: %s -> skip;", w.is(d.Clip, uint32(i+1)))
				w.arm(d.Timer, length)
				w.line(":: else -> skip; fi;")
			}
		}
	case program.Pause:
		w.line("if :: %s -> %s;", w.is(d.State, program.DeckPlaying), w.set(d.State, program.DeckPaused))
		w.disarm(d.Timer)
		w.line(":: else -> skip;")
	case program.StopDeck:
		w.line("if :: %s -> skip;", or(w.is(d.State, program.DeckEmpty), w.is(d.State, program.DeckLoading)))
		w.line(":: else -> %s;", w.set(d.State, program.DeckCued))
		w.disarm(d.Timer)
	}
	w.line("fi;")
}

// begins is a state that turns into the next after a while.
func (w *writer) begins(v int32, first, next uint32, timer int32, micros int64) {
	if micros <= 0 {
		w.line("%s;", w.set(v, next))
		w.disarm(timer)
		return
	}
	w.line("%s;", w.set(v, first))
	w.arm(timer, micros)
}

// recorder rolls and stops. A full one starts for ever; one that hangs so
// starts anew.
func (w *writer) recorder(a *program.Action) {
	r, hung := &w.p.Recorders[a.A], w.hung(a.A)
	if a.Verb == program.StopRecorder {
		w.line("%s; %s;", w.set(r.State, program.MachineStopped), w.let(hung, 0))
		w.disarm(r.Timer)
		return
	}
	full := no
	if r.Device >= 0 {
		full = w.is(w.p.Devices[r.Device].Health, program.Full)
	}
	w.line("if :: %s -> skip;", or(w.is(r.State, program.MachineRunning), and(w.is(r.State, program.MachineStarting), w.is(hung, 0))))
	w.line(":: else -> if :: %s -> %s; %s;", full, w.set(r.State, program.MachineStarting), w.let(hung, 1))
	w.line(":: else -> %s;", w.let(hung, 0))
	w.begins(r.State, program.MachineStarting, program.MachineRunning, r.Timer, r.Ready)
	w.line("fi; fi;")
}

// let sets the bit of a recorder that hangs. Without faults none does.
func (w *writer) let(hung int32, value uint32) string {
	if w.o.Faults == 0 {
		return "skip"
	}
	return w.set(hung, value)
}

// encoder goes live and stops.
func (w *writer) encoder(a *program.Action) {
	e := &w.p.Encoders[a.A]
	if a.Verb == program.StopEncoder {
		w.line("%s;", w.set(e.State, program.MachineStopped))
		w.disarm(e.Timer)
		return
	}
	w.line("if :: %s ->", w.is(e.State, program.MachineStopped))
	w.begins(e.State, program.MachineStarting, program.MachineRunning, e.Timer, e.Ready)
	w.line(":: else -> skip; fi;")
}
