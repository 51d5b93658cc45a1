package onair

import (
	"cuewright/macro/program"
	"cuewright/sim/step"
)

// cause is where a finding stands: what in the show did it, for which task.
type cause struct {
	at   program.Place
	task int32
}

// of is the cause that an effect is: its action, else its instruction.
func (w *Watch) of(e *step.Effect) cause {
	c := cause{task: e.Task}
	switch {
	case e.Action >= 0:
		c.at = w.p.Actions[e.Action].At
	case e.Instr >= 0:
		c.at = w.p.Code[e.Instr].At
	case e.Task >= 0:
		c.at = w.p.Tasks[e.Task].Place
	default:
		return w.outside()
	}
	if c.at.Line == 0 && e.Instr >= 0 { // a salvo's action may have no place of its own
		c.at = w.p.Code[e.Instr].At
	}
	return c
}

// remember keeps who started what runs out later.
func (w *Watch) remember(e *step.Effect) {
	if e.Kind != step.Sent {
		return
	}
	switch a := e.Command.A; e.Command.Verb {
	case program.Mix, program.Wipe, program.Fade:
		w.banks[a] = w.of(e)
	case program.Load, program.Play:
		w.decks[a] = w.of(e)
	case program.Record, program.StopRecorder:
		w.machines[a] = w.of(e)
	case program.Start, program.StopEncoder:
		w.machines[len(w.p.Recorders)+int(a)] = w.of(e)
	}
}

// blame is the cause of what this event changed: the first thing sent that
// fits, else what the event itself stands for.
func (w *Watch) blame(fits func(c program.Command) bool) cause {
	for i := range w.effects {
		if e := &w.effects[i]; e.Kind == step.Sent && fits(e.Command) {
			return w.of(e)
		}
	}
	return w.outside()
}

// onPicture says whether a command does something to the picture at a node,
// as it was or as it is.
func (w *Watch) onPicture(node int32) func(program.Command) bool {
	through := func(via int32) bool { return w.ga.ThroughNode(node, via) || w.gb.ThroughNode(node, via) }
	bank := func(b int32) bool {
		x := &w.p.Banks[b]
		return through(x.Node) || through(x.Clean) || through(x.PresetNode)
	}
	return func(c program.Command) bool {
		switch c.Verb {
		case program.CutTo, program.PresetTo, program.Take, program.Mix, program.Wipe, program.Fade:
			return bank(c.A)
		case program.KeyTo:
			return bank(w.p.Keyers[c.A].Bank)
		case program.Crosspoint:
			return through(w.p.Switches[c.A].Node)
		}
		return false
	}
}

// outside is the cause that the event itself is.
func (w *Watch) outside() cause {
	p, nobody := w.p, cause{task: -1}
	switch e := w.event; e.Kind {
	case step.Down, step.Up:
		nobody.at = p.Buttons[e.A].At
	case step.Go:
		if e.A >= 0 {
			nobody.at = p.Cues[e.A].At
		}
	case step.Moment:
		nobody.at = p.Cues[e.A].At
	case step.Fault:
		nobody.at = p.Devices[e.A].At
	case step.Safe:
		nobody.at = p.Destinations[e.A].At
	case step.Declined:
		nobody.at = p.Tasks[e.A].Place
	case step.Observe:
		nobody.at = w.placeOf(&p.Vars[e.A])
	case step.Expire:
		return w.ranDown(p.Timers[e.A])
	}
	return nobody
}

// ranDown is who started the timer that runs out.
func (w *Watch) ranDown(t program.Timer) cause {
	started := cause{task: -1}
	switch t.Kind {
	case program.TaskTimer:
		return cause{w.p.Tasks[t.Owner].Place, t.Owner}
	case program.BankTimer:
		started = w.banks[t.Owner]
		if started.at.Line == 0 {
			started.at = w.p.Banks[t.Owner].At
		}
	case program.DeckTimer:
		started = w.decks[t.Owner]
		if started.at.Line == 0 {
			started.at = w.p.Decks[t.Owner].At
		}
	case program.MachineTimer:
		started = w.machines[t.Owner]
	case program.FollowTimer:
		started.at = w.p.Cues[t.Owner].At
	case program.HoldTimer, program.CoverTimer:
		started.at = w.p.Buttons[t.Owner].At
	}
	return started
}

// placeOf is where the plan has the thing that a variable belongs to.
func (w *Watch) placeOf(v *program.Var) program.Place {
	p, i := w.p, v.Owner
	switch v.Kind {
	case program.BankProgram, program.BankPreset, program.BankTransition, program.BankFaded:
		return p.Banks[i].At
	case program.KeyerOn:
		return p.Keyers[i].At
	case program.SwitchPick:
		return p.Switches[i].At
	case program.DeckState, program.DeckClip:
		return p.Decks[i].At
	case program.RecorderState:
		return p.Recorders[i].At
	case program.EncoderState:
		return p.Encoders[i].At
	case program.CameraShot:
		return p.Cameras[i].At
	case program.OutletOn:
		return p.Outlets[i].At
	}
	return program.Place{}
}
