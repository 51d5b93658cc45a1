package step

import (
	"cuewright/macro/program"
	"cuewright/sim/route"
)

// work is an action being done: for which task, by which instruction, in
// which group.
type work struct {
	task, instr, action, group int32
	anew                       bool // a route sends crosspoints that stand already too
}

// act does one action, or says why it cannot be done. A device that does not
// do it leaves the state as it is, and the task goes on as failed.
func (m *Machine) act(w work) {
	a := &m.P.Actions[w.action]
	switch a.Verb {
	case program.Protect:
		m.set(m.P.Destinations[a.A].Protect, uint32(a.B))
		return
	case program.Route, program.RouteTie:
		m.route(w, a)
		return
	}
	c := program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}
	if why := m.declines(a.Device); why != NoReason {
		m.fail(w, a.Device, c, why)
		return
	}
	if a.Verb == program.Play && !m.playable(a.A) {
		m.fail(w, a.Device, c, NothingToDo)
		return
	}
	m.change(a)
	m.send(w, a.Device, c)
}

// declines says why a device would not do anything, if so.
func (m *Machine) declines(device int32) Reason {
	switch m.health(device) {
	case program.Away:
		return DeviceAway
	case program.Refuses:
		return DeviceRefuses
	}
	return NoReason
}

func (m *Machine) health(device int32) uint32 {
	if device < 0 {
		return program.Well
	}
	return m.get(m.P.Devices[device].Health)
}

// takes is how long a device needs for what should take micros.
func (m *Machine) takes(device int32, micros int64) int64 {
	if m.health(device) == program.Slow {
		return min(micros, latest/program.SlowFactor) * program.SlowFactor
	}
	return micros
}

func (m *Machine) send(w work, device int32, c program.Command) {
	e := Effect{Kind: Sent, Task: w.task, Action: w.action, Instr: w.instr, Group: w.group, Device: device, Command: c}
	if c.Verb == program.Record && m.health(device) == program.Full && m.get(m.P.Recorders[c.A].State) != program.MachineRunning {
		e.Reason = RecorderFull // one that rolls already goes on
	}
	m.out = append(m.out, e)
}

func (m *Machine) fail(w work, device int32, c program.Command, why Reason) {
	m.failed(w.task)
	m.out = append(m.out, Effect{Kind: Failed, Reason: why, Task: w.task, Action: w.action, Instr: w.instr,
		Group: w.group, Device: device, Command: c})
}

// failed marks a task, where there is one.
func (m *Machine) failed(task int32) {
	if task >= 0 {
		m.mark(m.P.Tasks[task].Failed, 1)
	}
}

// change is what an action that is done does to the state.
func (m *Machine) change(a *program.Action) {
	switch a.Verb {
	case program.CutTo:
		m.complete(a.A)
		m.set(m.P.Banks[a.A].Program, uint32(a.B))
	case program.PresetTo:
		if m.mixing(a.A) { // what is half on air comes to its end, it does not turn into something else
			m.complete(a.A)
		}
		m.set(m.P.Banks[a.A].Preset, uint32(a.B))
	case program.Take:
		m.complete(a.A)
		m.changeOver(a.A)
	case program.Mix:
		m.transit(a, program.Mixing)
	case program.Wipe:
		m.transit(a, program.Wiping)
	case program.Fade:
		m.fade(a)
	case program.KeyTo:
		m.set(m.P.Keyers[a.A].On, uint32(a.B))
	case program.Load, program.Play, program.Pause, program.StopDeck:
		m.deck(a)
	case program.Record, program.StopRecorder, program.Start, program.StopEncoder:
		m.machine(a)
	case program.Recall:
		m.set(m.P.Cameras[a.A].Shot, uint32(a.B)+1)
	case program.SwitchTo:
		m.set(m.P.Outlets[a.A].On, uint32(a.B))
	}
}

// transit starts a mix or wipe; one that runs completes at once.
func (m *Machine) transit(a *program.Action, how uint32) {
	b := &m.P.Banks[a.A]
	m.complete(a.A)
	if a.Micros <= 0 {
		m.changeOver(a.A)
		return
	}
	m.set(b.Transition, how)
	m.arm(b.Timer, m.takes(b.Device, a.Micros))
}

// fade starts a fade, unless the bank is black, or not, already.
func (m *Machine) fade(a *program.Action) {
	b := &m.P.Banks[a.A]
	m.complete(a.A)
	if m.get(b.Faded) == uint32(a.B) {
		return
	}
	if a.Micros <= 0 {
		m.set(b.Faded, uint32(a.B))
		return
	}
	how := program.FadingOut
	if a.B == 0 {
		how = program.FadingIn
	}
	m.set(b.Transition, how)
	m.arm(b.Timer, m.takes(b.Device, a.Micros))
}

// mixing says whether a bank's preset is on air by a mix or wipe.
func (m *Machine) mixing(bank int32) bool {
	now := m.get(m.P.Banks[bank].Transition)
	return now == program.Mixing || now == program.Wiping
}

// changeOver swaps a bank's program and preset.
func (m *Machine) changeOver(bank int32) {
	b := &m.P.Banks[bank]
	was := m.get(b.Program)
	m.set(b.Program, m.get(b.Preset))
	m.set(b.Preset, was)
}

// complete brings a bank's running transition to its end.
func (m *Machine) complete(bank int32) {
	b := &m.P.Banks[bank]
	running := m.get(b.Transition)
	m.set(b.Transition, program.NoTransition)
	m.disarm(b.Timer)
	switch running {
	case program.Mixing, program.Wiping:
		m.changeOver(bank)
	case program.FadingOut:
		m.set(b.Faded, 1)
	case program.FadingIn:
		m.set(b.Faded, 0)
	}
}

// playable says whether a deck has something to play.
func (m *Machine) playable(deck int32) bool {
	switch m.get(m.P.Decks[deck].State) {
	case program.DeckEmpty, program.DeckLoading:
		return false
	}
	return true
}

// deck does load, play, pause and stop. A clip that is played on after a pause
// is taken to run its whole length again: how much is left is not kept.
func (m *Machine) deck(a *program.Action) {
	d := &m.P.Decks[a.A]
	now := m.get(d.State)
	switch a.Verb {
	case program.Load:
		m.set(d.Clip, uint32(a.B)+1)
		m.begins(d.State, program.DeckLoading, program.DeckCued, d.Timer, m.takes(d.Device, d.Ready))
	case program.Play:
		if now != program.DeckPlaying {
			m.set(d.State, program.DeckPlaying)
			m.timeClip(d)
		}
	case program.Pause:
		if now == program.DeckPlaying {
			m.set(d.State, program.DeckPaused)
			m.disarm(d.Timer)
		}
	case program.StopDeck:
		if now != program.DeckEmpty && now != program.DeckLoading {
			m.set(d.State, program.DeckCued)
			m.disarm(d.Timer)
		}
	}
}

// timeClip lets the timer of a deck run to the end of its clip, if that is known.
func (m *Machine) timeClip(d *program.Deck) {
	m.disarm(d.Timer)
	if clip := m.get(d.Clip); clip > 0 {
		if length := m.P.Clips[d.Clips[clip-1]].Length; length > 0 {
			m.arm(d.Timer, length)
		}
	}
}

// begins sets a state that turns into the next after micros.
func (m *Machine) begins(v int32, first, next uint32, timer int32, micros int64) {
	if micros <= 0 {
		m.set(v, next)
		m.disarm(timer)
		return
	}
	m.set(v, first)
	m.arm(timer, micros)
}

// machine starts and stops recorders and encoders. Starting one that runs or
// starts changes nothing; one that hangs in starting starts anew. A full
// recorder starts for ever.
func (m *Machine) machine(a *program.Action) {
	v, timer, device, ready := int32(-1), int32(-1), int32(-1), int64(0)
	if a.Verb == program.Record || a.Verb == program.StopRecorder {
		r := &m.P.Recorders[a.A]
		v, timer, device, ready = r.State, r.Timer, r.Device, r.Ready
	} else {
		e := &m.P.Encoders[a.A]
		v, timer, device, ready = e.State, e.Timer, e.Device, e.Ready
	}
	switch now := m.get(v); {
	case a.Verb == program.StopRecorder || a.Verb == program.StopEncoder:
		m.set(v, program.MachineStopped)
		m.disarm(timer)
	case now == program.MachineRunning || now == program.MachineStarting && timer >= 0 && m.s.Due[timer] >= 0:
	case a.Verb == program.Record && m.health(device) == program.Full:
		m.set(v, program.MachineStarting)
		m.disarm(timer)
	default:
		m.begins(v, program.MachineStarting, program.MachineRunning, timer, m.takes(device, ready))
	}
}

// route finds a path and sends its crosspoints as one salvo: those that do not
// stand, and always the last, so that a press mends what has drifted.
func (m *Machine) route(w work, a *program.Action) {
	m.look()
	var plan route.Plan
	var no *route.Refusal
	if a.Verb == program.RouteTie {
		plan, no = m.Routes.Tie(m.s, m.Graph, a.A, a.B)
	} else {
		d := &m.P.Destinations[a.A]
		if m.get(d.Protect) == 1 {
			m.fail(w, -1, program.Command{Verb: a.Verb, A: a.A, B: a.B}, IsProtected)
			return
		}
		plan, no = m.Routes.Find(m.s, m.Graph, d.Node, a.B)
	}
	if no != nil {
		m.blocked(w, a, no)
		return
	}
	if w.group == 0 {
		m.group++
		w.group = m.group
	}
	own := len(plan.Points) - 1
	for i, p := range plan.Points {
		if i == own || w.anew || m.get(m.P.Switches[p.Switch].Var) != uint32(p.Pick) {
			m.point(w, p)
		}
	}
}

// safe routes a destination's safe picture to it, for nobody. The devices may
// have forgotten everything, so all crosspoints on the way are sent.
func (m *Machine) safe(destination int32) {
	if d := &m.P.Destinations[destination]; d.AfterCut == program.SafePicture {
		m.route(work{task: -1, instr: -1, action: -1, anew: true},
			&program.Action{Verb: program.Route, A: destination, B: d.Safe, Device: -1, At: d.At})
	}
}

// point sets one crosspoint of a route.
func (m *Machine) point(w work, p route.Point) {
	sw := &m.P.Switches[p.Switch]
	c := program.Command{Verb: program.Crosspoint, A: p.Switch, B: p.Pick}
	if why := m.declines(sw.Device); why != NoReason {
		m.fail(w, sw.Device, c, why)
		return
	}
	m.set(sw.Var, uint32(p.Pick))
	m.send(w, sw.Device, c)
}

// blocked is a route that found no path.
func (m *Machine) blocked(w work, a *program.Action, no *route.Refusal) {
	m.failed(w.task)
	e := Effect{Kind: Blocked, Reason: TiesTaken, Task: w.task, Action: w.action, Instr: w.instr, Group: w.group,
		Device: -1, Command: program.Command{Verb: a.Verb, A: a.A, B: a.B}, Holders: no.Holders}
	if no.NoPath {
		e.Reason = NoPath
	}
	m.out = append(m.out, e)
}
