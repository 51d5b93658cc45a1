package promela

import (
	"encoding/binary"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// census is what a plain search over step.Machine finds: a map of states, any
// running timer forced to run out. It is slow and has nothing to hide in, so
// it is the third voice for small shows.
type census struct {
	states int
	whole  bool   // no bound was hit
	seen   []bool // by label, see rules
}

// known is a state with which timers run and how many faults are left.
type known struct {
	s    *state.State
	left int
}

func (k known) key() string {
	var b []byte
	for _, w := range k.s.Words {
		b = binary.LittleEndian.AppendUint64(b, w)
	}
	for _, d := range k.s.Due {
		if d == state.Off {
			b = append(b, 0)
		} else {
			b = append(b, 1)
		}
	}
	return string(append(b, byte(k.left)))
}

// count finds every state, but at most so many.
func count(p *program.Program, faults, most int) census {
	m := step.New(p)
	c := census{seen: make([]bool, 2*len(p.Rules)), whole: true}
	events := outside(p, faults)
	first := known{m.Start(), faults}
	been := map[string]bool{first.key(): true}
	var effects []step.Effect
	for todo := []known{first}; len(todo) > 0 && c.whole; {
		now := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for i := range p.Rules {
			r := &p.Rules[i]
			c.seen[i] = c.seen[i] || decides(m, now.s, r)
			while := len(p.Rules) + i
			c.seen[while] = c.seen[while] || r.While >= 0 && m.Holds(now.s, r.While)
		}
		for _, e := range events {
			left, can := now.after(m, e)
			if !can || !m.Enabled(now.s, e) {
				continue
			}
			next := known{now.s.Clone(), left}
			effects = m.Apply(next.s, e, effects[:0])
			key := next.key()
			if been[key] {
				continue
			}
			been[key] = true
			todo = append(todo, next)
		}
		c.whole = len(been) <= most
	}
	c.states = len(been)
	return c
}

// after is how many faults are left after an event, and whether it can be.
func (k known) after(m *step.Machine, e step.Event) (left int, can bool) {
	switch e.Kind {
	case step.Stand: // by skip or back
		at := int32(m.L.Get(k.s, m.P.StandbyVar()))
		return k.left, at+1 == e.A || at == e.A+1
	case step.Fault:
	default:
		return k.left, true
	}
	well := m.L.Get(k.s, m.P.Devices[e.A].Health) == program.Well
	if uint32(e.B) == program.Well {
		return k.left, !well
	}
	return k.left - 1, well && k.left > 0
}

// outside is everything that can happen from outside.
func outside(p *program.Program, faults int) []step.Event {
	var all []step.Event
	for b := range p.Buttons {
		all = append(all, step.Event{Kind: step.Down, A: int32(b)}, step.Event{Kind: step.Up, A: int32(b)})
	}
	for t := range p.Timers {
		all = append(all, step.Event{Kind: step.Expire, A: int32(t)})
	}
	if len(p.Cues) > 0 {
		all = append(all, step.Event{Kind: step.Go, A: -1}, step.Event{Kind: step.Stand, A: int32(len(p.Cues))})
	}
	for i := range p.Cues {
		all = append(all, step.Event{Kind: step.Go, A: int32(i)}, step.Event{Kind: step.Stand, A: int32(i)})
		if p.Cues[i].By != program.NoMoment {
			all = append(all, step.Event{Kind: step.Moment, A: int32(i)})
		}
	}
	if faults == 0 {
		return all
	}
	can := map[int32][]int32{}
	for d := range p.Devices {
		can[int32(d)] = []int32{int32(program.Well), int32(program.Away), int32(program.Refuses)}
	}
	for _, d := range p.Decks {
		can[d.Device] = append(can[d.Device], int32(program.Slow))
	}
	for _, r := range p.Recorders {
		can[r.Device] = append(can[r.Device], int32(program.Full))
	}
	for d := range p.Devices {
		for _, h := range can[int32(d)] {
			all = append(all, step.Event{Kind: step.Fault, A: int32(d), B: h})
		}
	}
	return all
}

// decides says that a state breaks a rule, or, of possible, shows it.
func decides(m *step.Machine, s *state.State, r *program.Rule) bool {
	holds := m.Holds(s, r.Cond)
	if r.Kind != program.Always {
		return holds
	}
	return !holds && (r.While < 0 || m.Holds(s, r.While))
}
