package onair

import (
	"fmt"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// seenAt is a destination on air that shows a source after the event, or nil.
func (w *Watch) seenAt(source int32, on scope) *program.Destination {
	if source < 0 {
		return nil
	}
	if w.asking && w.ga.Ask != nil && on.at < 0 {
		if is, known := w.ga.Ask(&program.Cond{Op: program.SourceOnAir, A: source}); known {
			return map[bool]*program.Destination{true: &program.Destination{}}[is]
		}
	}
	for d := range w.p.Destinations {
		if to := &w.p.Destinations[d]; on.sees(d) && w.ga.OnAirDestination(int32(d)) && w.has(w.ga, to.Node, source) {
			return to
		}
	}
	return nil
}

// cameras looks for robotic cameras sent to a shot while the audience sees
// them. A camera that this same event takes off air may move.
func (w *Watch) cameras(on scope) {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Sent || e.Command.Verb != program.Recall || !on.about(e.Command.A) {
			continue
		}
		c := &w.p.Cameras[e.Command.A]
		if !c.Robotic {
			continue
		}
		if to := w.seenAt(c.Source, on); to != nil && !w.answered() {
			shot := c.Shots[e.Command.B]
			w.say("camera-moved-on-air", w.of(e), fmt.Sprintf("`%s` moves to its shot %d `%s` while `%s` shows it on air", c.Name, shot.Number, shot.Name, to.Name),
				Note{to.At, "the destination"})
		}
	}
}

// touched looks for decks loaded or stopped while the audience sees them.
func (w *Watch) touched(on scope) {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Sent || e.Command.Verb != program.Load && e.Command.Verb != program.StopDeck || !on.about(e.Command.A) {
			continue
		}
		did := "loaded"
		if e.Command.Verb == program.StopDeck {
			did = "stopped"
		}
		deck := &w.p.Decks[e.Command.A]
		if to := w.seenAt(deck.Source, on); to != nil && !w.answered() {
			w.say("deck-touched-on-air", w.of(e), fmt.Sprintf("`%s` is %s while `%s` shows it on air", deck.Name, did, to.Name), Note{to.At, "the destination"})
		}
	}
}

// ranOut looks for clips that ended in the picture. A deck that a transition
// is already taking away may end.
func (w *Watch) ranOut(on scope) {
	for i := range w.p.Decks {
		deck := &w.p.Decks[i]
		if !on.about(int32(i)) || deck.Source < 0 || w.was(deck.State) != program.DeckPlaying || w.is(deck.State) != program.DeckEnded {
			continue
		}
		to := w.stays(deck.Source, on)
		if to == nil || w.answered() {
			continue
		}
		why := w.decks[i]
		if why.at.Line == 0 {
			why.at = deck.At
		}
		w.say("deck-ran-out-on-air", why, fmt.Sprintf("the clip on `%s` ends while `%s` shows it on air", deck.Name, to.Name), Note{to.At, "the destination"})
	}
}

// stays is a destination on air that still shows a source when all
// transitions that run now have come to their ends, or nil.
func (w *Watch) stays(source int32, on scope) *program.Destination {
	seen := make([]bool, len(w.p.Nodes))
	var can *way
	if w.asking {
		can = w.wayOf(source, w.p.Sources[source].Node)
	}
	for d := range w.p.Destinations {
		to := &w.p.Destinations[d]
		if on.sees(d) && w.ga.OnAirDestination(int32(d)) && w.leadsTo(to.Node, source, can, seen) {
			return to
		}
	}
	return nil
}

func (w *Watch) leadsTo(node, source int32, can *way, seen []bool) bool {
	if seen[node] || can != nil && !can.from[node] {
		return false
	}
	seen[node] = true
	n := &w.p.Nodes[node]
	if n.Kind == program.SourceNode {
		return n.Owner == source
	}
	from := len(w.buf)
	defer func() { w.buf = w.buf[:from] }()
	w.buf = w.ga.Upstream(node, w.buf)
	if n.Kind == program.BankNode || n.Kind == program.CleanNode {
		switch w.is(w.p.Banks[n.Owner].Transition) {
		case program.FadingOut:
			return false
		case program.Mixing, program.Wiping:
			from = min(from+1, len(w.buf)) // the first one is what goes away
		}
	}
	for i, end := from, len(w.buf); i < end; i++ {
		if w.leadsTo(w.buf[i], source, can, seen) {
			return true
		}
	}
	return false
}

// unrecorded looks for an encoder that is live while no recorder rolls.
func (w *Watch) unrecorded(on scope) {
	for i := range w.p.Encoders {
		e := &w.p.Encoders[i]
		if !on.about(int32(i)) || !w.liveAlone(e, w.is) || w.liveAlone(e, w.was) || w.answered() {
			continue
		}
		what := "goes live while no recorder rolls"
		if w.was(e.State) == program.MachineRunning {
			what = "is live and the last recorder stops"
		}
		why := w.blame(func(c program.Command) bool {
			return c.Verb == program.StopRecorder || c.Verb == program.Start && c.A == int32(i)
		})
		if why.at.Line == 0 {
			why.at = e.At
		}
		w.say("live-without-recording", why, fmt.Sprintf("`%s` %s", e.Name, what))
	}
}

// liveAlone says whether an encoder is live while no recorder rolls.
func (w *Watch) liveAlone(e *program.Encoder, get func(int32) uint32) bool {
	if len(w.p.Recorders) == 0 || get(e.State) != program.MachineRunning {
		return false
	}
	for i := range w.p.Recorders {
		if get(w.p.Recorders[i].State) == program.MachineRunning {
			return false
		}
	}
	return true
}

// failures looks for devices that did not do what they were told; once for
// each device and action.
func (w *Watch) failures(on scope) {
	for i := range w.effects {
		e := &w.effects[i]
		why := ""
		switch {
		case e.Kind == step.Failed && e.Reason == step.DeviceAway:
			why = "does not answer"
		case e.Kind == step.Failed && e.Reason == step.DeviceRefuses:
			why = "refuses"
		case e.Reason == step.RecorderFull && (e.Kind == step.Failed || e.Kind == step.Sent):
			why = "is full and cannot roll"
		}
		if why == "" || e.Device < 0 || !on.about(e.Device) || w.saidBefore(i) || w.answered() {
			continue
		}
		d := &w.p.Devices[e.Device]
		w.say("device-did-not-act", w.of(e), fmt.Sprintf("`%s` %s: %s", d.Name, why, w.inWords(e)), Note{d.At, "the device"})
	}
}

// saidBefore says whether an effect before effect i is the same failure.
func (w *Watch) saidBefore(i int) bool {
	e := &w.effects[i]
	for _, o := range w.effects[:i] {
		if o.Kind == e.Kind && o.Reason == e.Reason && o.Device == e.Device && o.Action == e.Action && o.Task == e.Task {
			return true
		}
	}
	return false
}

// inWords says what should have happened.
func (w *Watch) inWords(e *step.Effect) string {
	p, c := w.p, e.Command
	switch c.Verb {
	case program.CutTo:
		return fmt.Sprintf("`%s` is not cut to `%s`", p.Banks[c.A].Name, p.Banks[c.A].Picks[c.B].Label)
	case program.PresetTo:
		return fmt.Sprintf("the preset of `%s` is not set to `%s`", p.Banks[c.A].Name, p.Banks[c.A].Picks[c.B].Label)
	case program.Take, program.Mix, program.Wipe, program.Fade:
		return fmt.Sprintf("`%s` stays as it is", p.Banks[c.A].Name)
	case program.KeyTo:
		return fmt.Sprintf("keyer `%s` stays as it is", p.Keyers[c.A].Name)
	case program.Crosspoint:
		return fmt.Sprintf("`%s` does not change to `%s`", p.Switches[c.A].Name, p.Switches[c.A].Picks[c.B].Label)
	case program.Load:
		return fmt.Sprintf("clip `%s` is not loaded", p.Clips[p.Decks[c.A].Clips[c.B]].Name)
	case program.Play:
		return "it does not play"
	case program.Pause, program.StopDeck, program.StopRecorder, program.StopEncoder:
		return "it does not stop"
	case program.Record:
		return "it does not record"
	case program.Start:
		return "it does not go live"
	case program.Recall:
		return fmt.Sprintf("it does not move to shot %d", p.Cameras[c.A].Shots[c.B].Number)
	case program.SwitchTo:
		return fmt.Sprintf("`%s` is not switched", p.Outlets[c.A].Name)
	case program.SendTo:
		return fmt.Sprintf("`%s` is not sent", p.Sends[c.A].Name)
	}
	return "nothing happens"
}
