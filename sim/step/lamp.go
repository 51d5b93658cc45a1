package step

import (
	"cuewright/macro/program"
	"cuewright/sim/state"
)

// LampState is what a button's lamp shows.
type LampState uint8

// The lamp states, in the order in which they win: that of syntax.LampStates.
const (
	LampFault   LampState = iota // its last run failed, or its device is away
	LampPending                  // it runs
	LampAir                      // its source is on air
	LampLit                      // what it does holds already
	LampDark
)

var lampWords = [...]string{"fault", "pending", "air", "lit", "dark"}

// String is the word of the language.
func (l LampState) String() string { return lampWords[l] }

// Lamp is the state of a button's lamp in s. What the show says wins over what
// is derived.
func (m *Machine) Lamp(s *state.State, button int32) LampState {
	m.s, m.looked = s, false
	defer func() { m.s = nil }()
	b := &m.P.Buttons[button]
	for i, word := range lampWords {
		for _, said := range b.Lamps {
			if said.State == word && m.holds(said.Cond) {
				return LampState(i)
			}
		}
	}
	switch {
	case m.faulty(b):
		return LampFault
	case m.pending(b):
		return LampPending
	case b.Air >= 0 && m.holds(b.Air):
		return LampAir
	case b.Lit >= 0 && m.holds(b.Lit):
		return LampLit
	}
	return LampDark
}

func (m *Machine) faulty(b *program.Button) bool {
	for _, t := range b.Runs {
		if m.get(m.P.Tasks[t].Failed) == 1 {
			return true
		}
	}
	for _, d := range b.Uses {
		if m.health(d) == program.Away {
			return true
		}
	}
	return false
}

func (m *Machine) pending(b *program.Button) bool {
	for _, t := range b.Runs {
		if m.running(t) {
			return true
		}
	}
	return false
}
