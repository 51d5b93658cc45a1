package standin

import (
	"slices"
	"time"

	"cuewright/macro/program"
)

// model is what the devices of a plan would be doing: the value of each
// variable after the commands that came in. It knows devices, not shows:
// nothing of tasks, pages or the rundown happens here. A deck that goes on
// after a pause plays its whole length again.
type model struct {
	p      *program.Program
	values []uint32
	due    []later
}

// later is a change that a device will make by itself. Of one owner (a bank's,
// deck's or machine's state variable) there is at most one.
type later struct {
	at    time.Time
	owner int32
	set   []set
}

type set struct {
	v     int32
	value uint32
}

func newModel(p *program.Program) *model {
	m := &model{p: p, values: make([]uint32, len(p.Vars))}
	for i, v := range p.Vars {
		m.values[i] = v.Start
	}
	return m
}

// apply carries out a command and gives the variables that it speaks of,
// whether they changed or not.
func (m *model) apply(c program.Command, now time.Time) []int32 {
	p, value := m.p, uint32(c.B)
	switch c.Verb {
	case program.CutTo:
		b := &p.Banks[c.A]
		return append(m.finish(b.Transition), m.put(set{b.Program, value})...)
	case program.PresetTo:
		return m.put(set{p.Banks[c.A].Preset, value})
	case program.Take:
		b := &p.Banks[c.A]
		return append(m.finish(b.Transition), m.put(m.swapped(b)...)...)
	case program.Mix:
		return m.transition(&p.Banks[c.A], program.Mixing, c.Micros, now)
	case program.Wipe:
		return m.transition(&p.Banks[c.A], program.Wiping, c.Micros, now)
	case program.Fade:
		return m.fade(&p.Banks[c.A], value, c.Micros, now)
	case program.KeyTo:
		return m.put(set{p.Keyers[c.A].On, value})
	case program.Crosspoint:
		return m.put(set{p.Switches[c.A].Var, value})
	case program.Load, program.Play, program.Pause, program.StopDeck:
		return m.deck(c.Verb, &p.Decks[c.A], value, now)
	case program.Record:
		r := &p.Recorders[c.A]
		return m.machine(r.State, r.Ready, now)
	case program.StopRecorder:
		return m.now(p.Recorders[c.A].State, program.MachineStopped)
	case program.Start:
		e := &p.Encoders[c.A]
		return m.machine(e.State, e.Ready, now)
	case program.StopEncoder:
		return m.now(p.Encoders[c.A].State, program.MachineStopped)
	case program.Recall:
		return m.put(set{p.Cameras[c.A].Shot, value + 1})
	case program.SwitchTo:
		return m.put(set{p.Outlets[c.A].On, value})
	}
	return nil // a named message: the plan does not say what it changes
}

// put sets variables; one that the plan does not have (-1) is passed over.
func (m *model) put(all ...set) []int32 {
	var touched []int32
	for _, s := range all {
		if s.v >= 0 && s.value < m.p.Vars[s.v].Size {
			m.values[s.v] = s.value
			touched = append(touched, s.v)
		}
	}
	return touched
}

// now sets an owner's state and forgets what it was going to do.
func (m *model) now(owner int32, state uint32) []int32 {
	m.due = slices.DeleteFunc(m.due, func(l later) bool { return l.owner == owner })
	return m.put(set{owner, state})
}

// after makes an owner do something in a while; at once when micros is 0.
func (m *model) after(owner int32, micros int64, now time.Time, all ...set) []int32 {
	if micros <= 0 {
		return m.put(all...)
	}
	m.due = append(m.due, later{now.Add(time.Duration(micros) * time.Microsecond), owner, all})
	return nil
}

// finish lets an owner do at once what it was going to do.
func (m *model) finish(owner int32) []int32 {
	for i, l := range m.due {
		if l.owner == owner {
			m.due = slices.Delete(m.due, i, i+1)
			return m.put(l.set...)
		}
	}
	return nil
}

func (m *model) swapped(b *program.Bank) []set {
	return []set{{b.Program, m.values[b.Preset]}, {b.Preset, m.values[b.Program]}}
}

func (m *model) transition(b *program.Bank, kind uint32, micros int64, now time.Time) []int32 {
	touched := m.finish(b.Transition)
	touched = append(touched, m.put(set{b.Transition, kind})...)
	end := append(m.swapped(b), set{b.Transition, program.NoTransition})
	return append(touched, m.after(b.Transition, micros, now, end...)...)
}

func (m *model) fade(b *program.Bank, black uint32, micros int64, now time.Time) []int32 {
	kind := program.FadingIn
	if black == 1 {
		kind = program.FadingOut
	}
	touched := m.finish(b.Transition)
	touched = append(touched, m.put(set{b.Transition, kind})...)
	return append(touched, m.after(b.Transition, micros, now,
		set{b.Faded, black}, set{b.Transition, program.NoTransition})...)
}

func (m *model) deck(verb program.Verb, d *program.Deck, clip uint32, now time.Time) []int32 {
	state, loaded := m.values[d.State], m.values[d.Clip]
	switch {
	case verb == program.Load:
		touched := append(m.now(d.State, program.DeckLoading), m.put(set{d.Clip, clip + 1})...)
		return append(touched, m.after(d.State, d.Ready, now, set{d.State, program.DeckCued})...)
	case loaded == 0 || state == program.DeckLoading:
	case verb == program.Play:
		touched := m.now(d.State, program.DeckPlaying)
		if length := m.p.Clips[d.Clips[loaded-1]].Length; length > 0 {
			touched = append(touched, m.after(d.State, length, now, set{d.State, program.DeckEnded})...)
		}
		return touched
	case verb == program.StopDeck:
		return m.now(d.State, program.DeckCued)
	case state == program.DeckPlaying:
		return m.now(d.State, program.DeckPaused)
	}
	return []int32{d.State} // nothing to do: it says how it is
}

func (m *model) machine(state int32, ready int64, now time.Time) []int32 {
	if m.values[state] != program.MachineStopped {
		return []int32{state}
	}
	touched := m.now(state, program.MachineStarting)
	return append(touched, m.after(state, ready, now, set{state, program.MachineRunning})...)
}

// next is when the model changes by itself, and whether it will.
func (m *model) next() (time.Time, bool) {
	if len(m.due) == 0 {
		return time.Time{}, false
	}
	return slices.MinFunc(m.due, func(a, b later) int { return a.at.Compare(b.at) }).at, true
}

// advance makes the changes that are due by now, the earliest first.
func (m *model) advance(now time.Time) []int32 {
	var touched []int32
	for {
		at, some := m.next()
		if !some || at.After(now) {
			return touched
		}
		i := slices.IndexFunc(m.due, func(l later) bool { return l.at.Equal(at) })
		l := m.due[i]
		m.due = slices.Delete(m.due, i, i+1)
		touched = append(touched, m.put(l.set...)...)
	}
}
