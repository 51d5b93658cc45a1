package prove

import (
	"math/rand/v2"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// cover is what random walks have seen come about. It only saves questions:
// what no walk has seen is asked about.
type cover struct {
	p *program.Program
	m *step.Machine

	ran     []bool // by instruction: an effect of it, or a rest at it, was seen
	left    []bool // by instruction: a rest at it has ended by itself
	fired   []bool // by cue
	shown   []bool // by page
	changed []bool // by salvo: firing it changed something

	timed []int32 // cues that have a moment
}

// The walks: so many, of so many events, with a fault in every other one.
const (
	walks      = 200
	walkEvents = 80
)

// walk goes through the show at random, the same way each time.
func walk(p *program.Program) *cover {
	c := &cover{p: p, m: step.New(p), ran: make([]bool, len(p.Code)), left: make([]bool, len(p.Code)),
		fired: make([]bool, len(p.Cues)), shown: make([]bool, len(p.Pages)), changed: make([]bool, len(p.Salvos))}
	for i := range p.Cues {
		if p.Cues[i].By != program.NoMoment {
			c.timed = append(c.timed, int32(i))
		}
	}
	chance := rand.New(rand.NewPCG(1, 2))
	for n := range walks {
		s := c.m.Start()
		c.pages(s)
		for range walkEvents {
			c.one(s, c.event(s, chance, n%2 == 1))
		}
	}
	return c
}

// event draws an event.
func (c *cover) event(s *state.State, chance *rand.Rand, faults bool) step.Event {
	timer, due := s.Next()
	switch n := chance.IntN(20); {
	case timer >= 0 && n < 10:
		return step.Event{Kind: step.Expire, A: timer, At: max(due, s.Now)}
	case n < 12:
		return step.Event{Kind: step.Go, A: -1, At: s.Now}
	case n == 13 && len(c.timed) > 0:
		return step.Event{Kind: step.Moment, A: c.timed[chance.IntN(len(c.timed))], At: s.Now}
	case n == 12 && faults && len(c.p.Devices) > 0:
		return step.Event{Kind: step.Fault, A: int32(chance.IntN(len(c.p.Devices))), B: int32(chance.IntN(int(program.Healths))), At: s.Now}
	}
	var shown []int32
	for i := range c.p.Surfaces {
		if f := &c.p.Surfaces[i]; len(f.Pages) > 0 {
			shown = append(shown, c.p.Pages[f.Pages[c.m.L.Get(s, f.Page)]].Buttons...)
		}
	}
	if len(shown) == 0 {
		return step.Event{Kind: step.Go, A: -1, At: s.Now}
	}
	b := shown[chance.IntN(len(shown))]
	kind := step.Down
	if down := c.p.Buttons[b].Down; down >= 0 && c.m.L.Get(s, down) != 0 {
		kind = step.Up
	}
	return step.Event{Kind: kind, A: b, At: s.Now}
}

// one applies an event and notes what came about.
func (c *cover) one(s *state.State, e step.Event) {
	before := s.Clone()
	effects := c.m.Apply(s, e, nil)
	for i := range effects {
		c.effect(before, s, &effects[i])
	}
	for t := range c.p.Tasks {
		k := &c.p.Tasks[t]
		if k.At < 0 {
			continue
		}
		was, is := c.m.L.Get(before, k.At), c.m.L.Get(s, k.At)
		if is > 0 {
			c.ran[k.Rests[is-1]] = true
		}
		if was > 0 && was != is && !starts(effects, int32(t)) {
			c.left[k.Rests[was-1]] = true
		}
	}
	c.pages(s)
}

func (c *cover) effect(before, after *state.State, e *step.Effect) {
	if e.Instr >= 0 {
		c.ran[e.Instr] = true
		if in := &c.p.Code[e.Instr]; in.Op == program.Fire && moves(c.p, e, func(v int32) bool { return c.m.L.Get(before, v) != c.m.L.Get(after, v) }) {
			c.changed[in.A] = true
		}
	}
	if e.Kind == step.Fired {
		c.fired[e.A] = true
	}
}

func (c *cover) pages(s *state.State) {
	for i := range c.p.Surfaces {
		if f := &c.p.Surfaces[i]; len(f.Pages) > 0 {
			c.shown[f.Pages[c.m.L.Get(s, f.Page)]] = true
		}
	}
}

func starts(effects []step.Effect, task int32) bool {
	for i := range effects {
		if effects[i].Kind == step.Started && effects[i].A == task {
			return true
		}
	}
	return false
}

// moves says whether what was sent is a change: of a variable, or of something
// that the state does not know, as a message is.
func moves(p *program.Program, e *step.Effect, changed func(v int32) bool) bool {
	if e.Kind != step.Sent {
		return false
	}
	c := e.Command
	any := func(vars ...int32) bool {
		for _, v := range vars {
			if v >= 0 && changed(v) {
				return true
			}
		}
		return false
	}
	switch c.Verb {
	case program.CutTo, program.PresetTo, program.Take, program.Mix, program.Wipe, program.Fade:
		b := &p.Banks[c.A]
		return any(b.Program, b.Preset, b.Transition, b.Faded)
	case program.KeyTo:
		return any(p.Keyers[c.A].On)
	case program.Crosspoint:
		return any(p.Switches[c.A].Var)
	case program.Load, program.Play, program.Pause, program.StopDeck:
		return any(p.Decks[c.A].State, p.Decks[c.A].Clip)
	case program.Record, program.StopRecorder:
		return any(p.Recorders[c.A].State)
	case program.Start, program.StopEncoder:
		return any(p.Encoders[c.A].State)
	case program.SwitchTo:
		return any(p.Outlets[c.A].On)
	}
	return true // a camera's move and a message are always done
}
