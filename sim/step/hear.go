package step

import "cuewright/macro/program"

// expire is a timer running out.
func (m *Machine) expire(timer int32) {
	if m.s.Due[timer] < 0 {
		return
	}
	m.disarm(timer)
	x := m.P.Timers[timer]
	switch x.Kind {
	case program.TaskTimer:
		m.timeUp(x.Owner)
	case program.BankTimer:
		m.complete(x.Owner)
	case program.DeckTimer:
		m.deckTimer(x.Owner)
	case program.MachineTimer:
		if v := m.machineState(x.Owner); m.get(v) == program.MachineStarting {
			m.set(v, program.MachineRunning)
		}
	case program.FollowTimer:
		m.mark(m.P.Cues[x.Owner].FollowVar, program.NoFollow)
		m.fireCue(x.Owner, -1)
	case program.HoldTimer:
		m.held(x.Owner)
	case program.CoverTimer:
		m.mark(m.P.Buttons[x.Owner].Cover, 0)
	}
}

// timeUp is the end of a wait, or of the time of a wait until.
func (m *Machine) timeUp(task int32) {
	at := m.restingAt(task)
	if at < 0 {
		return
	}
	if m.P.Code[at].Op == program.Until {
		m.late(task, at)
		return
	}
	m.goOn(task, at+1)
}

func (m *Machine) deckTimer(deck int32) {
	switch d := &m.P.Decks[deck]; m.get(d.State) {
	case program.DeckLoading:
		m.set(d.State, program.DeckCued)
	case program.DeckPlaying:
		m.set(d.State, program.DeckEnded)
	}
}

// machineState is the variable of a machine timer's owner: a recorder, or
// after them an encoder.
func (m *Machine) machineState(owner int32) int32 {
	if n := int32(len(m.P.Recorders)); owner >= n {
		return m.P.Encoders[owner-n].State
	}
	return m.P.Recorders[owner].State
}

// fault gives a device a health. What it has done stays; only a recorder that
// was about to roll does not when it is full.
func (m *Machine) fault(device int32, health uint32) {
	d := &m.P.Devices[device]
	if health >= m.P.Vars[d.Health].Size {
		return
	}
	m.set(d.Health, health)
	if health != program.Full {
		return
	}
	for i := range m.P.Recorders {
		if r := &m.P.Recorders[i]; r.Device == device && m.get(r.State) == program.MachineStarting {
			m.disarm(r.Timer)
		}
	}
}

// observe takes a device's word for a variable, with the timers that follow.
// The scripts' own variables cannot be heard.
func (m *Machine) observe(v int32, value uint32) {
	x := &m.P.Vars[v]
	if value >= x.Size || m.get(v) == value {
		return
	}
	switch x.Kind {
	case program.BankProgram, program.BankPreset, program.BankTransition, program.BankFaded:
		m.hearBank(x, v, value)
	case program.DeckState:
		m.hearDeck(x.Owner, value)
	case program.RecorderState:
		m.set(v, value)
		m.disarm(m.P.Recorders[x.Owner].Timer)
	case program.EncoderState:
		m.set(v, value)
		m.disarm(m.P.Encoders[x.Owner].Timer)
	case program.DeviceHealth:
		m.fault(x.Owner, value)
	case program.KeyerOn, program.SwitchPick, program.DeckClip, program.CameraShot, program.OutletOn, program.SurfacePage:
		m.set(v, value)
	}
}

// hearBank hears of a bank, perhaps in the middle of a transition. When what
// is heard is what the transition was to bring, it has completed, early or
// late; anything else ends it where it is.
func (m *Machine) hearBank(x *program.Var, v int32, value uint32) {
	b := &m.P.Banks[x.Owner]
	mixing := m.get(b.Transition) == program.Mixing || m.get(b.Transition) == program.Wiping
	switch {
	case x.Kind == program.BankTransition && value == program.NoTransition,
		x.Kind == program.BankProgram && mixing && value == m.get(b.Preset),
		x.Kind == program.BankPreset && mixing && value == m.get(b.Program):
		m.complete(x.Owner)
	case x.Kind == program.BankPreset:
		m.set(v, value)
	case x.Kind == program.BankTransition: // its time is not known
		m.set(v, value)
		m.disarm(b.Timer)
	default:
		if mixing == (x.Kind == program.BankProgram) {
			m.set(b.Transition, program.NoTransition)
			m.disarm(b.Timer)
		}
		m.set(v, value)
	}
}

// hearDeck hears what a deck does. Heard playing, the clip is taken to start
// now; every other state has no end of its own.
func (m *Machine) hearDeck(deck int32, value uint32) {
	d := &m.P.Decks[deck]
	m.set(d.State, value)
	if value == program.DeckPlaying {
		m.timeClip(d)
		return
	}
	m.disarm(d.Timer)
}
