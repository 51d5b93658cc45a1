package control

import (
	"slices"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
)

// fact is what is known of a variable besides its value: what it was last set
// to by the show, and what its device last said.
type fact struct {
	wanted   uint32
	wantedAt int64 // show time
	set      bool  // the show has set it at all
	said     uint32
	saidAt   int64 // show time at which the device was asked
	heard    bool  // the device has said something
	waits    bool  // said may be from before the device was told: look again at wantedAt+settling
	told     bool  // that it drifted
	toldAt   int64 // when that was told last; show time
	saidTime int64 // when said was said first, by the wall clock, in microseconds since 1970
	sent     sending
}

// settling is how long a device may take from being told something to saying
// so, in microseconds. Until then, what it says else is old news.
const settling int64 = 300_000

// driftAgain is how long the same thing is not said again of a device that goes
// to and fro, in microseconds.
const driftAgain int64 = 10_000_000

// letters takes what devices say.
func (c *Controller) letters(l *line) {
	ours := slices.Contains(c.show.lines, l) // not of a show that has gone
	for _, x := range l.mailbox.take(time.Now(), func() { l.boss.mail(l) }) {
		if ours && x.table == l.table.Load() && !c.stopping {
			c.hear(l, x, c.clock.now()-time.Since(x.asked).Microseconds())
		}
	}
}

// hear takes a device's word for a variable, from a moment of the show. What
// comes early is kept until settling is over, in case it is the last word; the
// answer to a poll is not, since there will be another.
func (c *Controller) hear(l *line, x letter, at int64) {
	s, f := c.show, &c.show.facts[x.Var]
	stands := x.Value == s.m.L.Get(s.state, x.Var)
	early := f.set && at < f.wantedAt+settling
	if f.set && at < f.wantedAt || early && x.polled && !stands {
		return
	}
	if !f.heard || f.said != x.Value {
		c.note(journal.Record{Kind: journal.Heard, A: int32(slices.Index(s.lines, l)), B: x.Var, C: int32(x.Value)})
		f.saidTime, c.dirty = time.Now().UnixMicro(), true
	}
	f.heard, f.said, f.saidAt, f.waits = true, x.Value, at, early && !stands
	if !stands && !early {
		c.apply(step.Event{Kind: step.Observe, A: x.Var, B: int32(x.Value), At: s.state.Now})
	}
}

// settle looks again at what devices have said too early to be believed, and
// says what has drifted.
func (c *Controller) settle() {
	s := c.show
	for _, v := range s.heard {
		f := &s.facts[v]
		if f.waits && s.state.Now >= f.wantedAt+settling {
			f.waits = false
			if f.said != s.m.L.Get(s.state, v) {
				c.apply(step.Event{Kind: step.Observe, A: v, B: int32(f.said), At: s.state.Now})
			}
		}
		drifted := c.drifted(v)
		if drifted && !f.told && (f.toldAt == 0 || s.state.Now >= f.toldAt+driftAgain) {
			f.told, f.toldAt = true, s.state.Now
			c.alert("device", s.p.Vars[v].Name+" is "+s.tell.Value(v, f.said)+", and was set to "+s.tell.Value(v, f.wanted)+": somebody else has changed it")
		}
		f.told = f.told && drifted
	}
}

// settles is when settle has something to do, or -1.
func (c *Controller) settles() int64 {
	next := int64(-1)
	for _, v := range c.show.heard {
		if f := &c.show.facts[v]; f.waits && (next < 0 || f.wantedAt+settling < next) {
			next = f.wantedAt + settling
		}
	}
	return next
}

// drifted says whether a device stands otherwise than the show last set it. A
// deck goes on by itself, and so does a machine that starts: that is no drift.
func (c *Controller) drifted(v int32) bool {
	s := c.show
	f := &s.facts[v]
	if !f.set || !f.heard || f.waits || f.said == f.wanted || f.saidAt < f.wantedAt {
		return false
	}
	switch s.p.Vars[v].Kind {
	case program.DeckState:
		return false
	case program.RecorderState, program.EncoderState:
		return (f.said == program.MachineStopped) != (f.wanted == program.MachineStopped)
	}
	return true
}

// want notes what an event of the show has set: what it changed, and what it
// sent, even when that stood already.
func (s *show) want(e step.Event, effects []step.Effect) {
	if e.Kind == step.Observe {
		s.completed(e.A)
		return
	}
	for _, v := range s.follows {
		if s.m.L.Get(s.state, v) != s.m.L.Get(s.before, v) {
			s.wants(v)
		}
	}
	for i := range effects {
		if effects[i].Kind == step.Sent {
			for _, v := range setBy(s.p, effects[i].Command) {
				s.wants(v)
			}
		}
	}
}

func (s *show) wants(v int32) {
	if v < 0 {
		return
	}
	f := &s.facts[v]
	f.wanted, f.wantedAt, f.set = s.m.L.Get(s.state, v), s.state.Now, true
}

// completed is a mix that a device has brought to its end a little before our
// clock did: what it shows now is what was wanted.
func (s *show) completed(v int32) {
	if k := s.p.Vars[v].Kind; k != program.BankProgram && k != program.BankPreset {
		return
	}
	b := &s.p.Banks[s.p.Vars[v].Owner]
	mixing := s.m.L.Get(s.before, b.Transition)
	if (mixing == program.Mixing || mixing == program.Wiping) &&
		s.m.L.Get(s.state, b.Program) == s.m.L.Get(s.before, b.Preset) && s.m.L.Get(s.state, b.Preset) == s.m.L.Get(s.before, b.Program) {
		s.wants(b.Program)
		s.wants(b.Preset)
	}
}

// setBy is the variables that a command sets, -1 for none.
func setBy(p *program.Program, c program.Command) [2]int32 {
	switch c.Verb {
	case program.CutTo:
		return [2]int32{p.Banks[c.A].Program, -1}
	case program.PresetTo:
		return [2]int32{p.Banks[c.A].Preset, -1}
	case program.Take, program.Mix, program.Wipe:
		return [2]int32{p.Banks[c.A].Program, p.Banks[c.A].Preset}
	case program.Fade:
		return [2]int32{p.Banks[c.A].Faded, -1}
	case program.KeyTo:
		return [2]int32{p.Keyers[c.A].On, -1}
	case program.Crosspoint:
		return [2]int32{p.Switches[c.A].Var, -1}
	case program.Load:
		return [2]int32{p.Decks[c.A].State, p.Decks[c.A].Clip}
	case program.Play, program.Pause, program.StopDeck:
		return [2]int32{p.Decks[c.A].State, -1}
	case program.Record, program.StopRecorder:
		return [2]int32{p.Recorders[c.A].State, -1}
	case program.Start, program.StopEncoder:
		return [2]int32{p.Encoders[c.A].State, -1}
	case program.Recall:
		return [2]int32{p.Cameras[c.A].Shot, -1}
	case program.SwitchTo:
		return [2]int32{p.Outlets[c.A].On, -1}
	}
	return [2]int32{-1, -1}
}
