package onair

import (
	"fmt"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// seenAt names a destination on air that shows a source after the event.
func (w *Watch) seenAt(source int32) (name string, at program.Place, ok bool) {
	if source < 0 || !w.ga.OnAir().Has(source) {
		return "", program.Place{}, false
	}
	for d, to := range w.p.Destinations {
		if w.ga.OnAirDestination(int32(d)) && w.ga.At(to.Node).Has(source) {
			return to.Name, to.At, true
		}
	}
	return "", program.Place{}, false
}

// cameras looks for robotic cameras sent to a shot while the audience sees
// them. A camera that this same event takes off air may move.
func (w *Watch) cameras() {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Sent || e.Command.Verb != program.Recall {
			continue
		}
		c := &w.p.Cameras[e.Command.A]
		if name, at, seen := w.seenAt(c.Source); seen && c.Robotic {
			shot := c.Shots[e.Command.B]
			w.say("camera-moved-on-air", w.of(e), fmt.Sprintf("`%s` moves to its shot %d `%s` while `%s` shows it on air", c.Name, shot.Number, shot.Name, name),
				Note{at, "the destination"})
		}
	}
}

// touched looks for decks loaded or stopped while the audience sees them.
func (w *Watch) touched() {
	for i := range w.effects {
		e := &w.effects[i]
		if e.Kind != step.Sent || e.Command.Verb != program.Load && e.Command.Verb != program.StopDeck {
			continue
		}
		did := "loaded"
		if e.Command.Verb == program.StopDeck {
			did = "stopped"
		}
		deck := &w.p.Decks[e.Command.A]
		if name, at, seen := w.seenAt(deck.Source); seen {
			w.say("deck-touched-on-air", w.of(e), fmt.Sprintf("`%s` is %s while `%s` shows it on air", deck.Name, did, name), Note{at, "the destination"})
		}
	}
}

// ranOut looks for clips that ended in the picture. A deck that a transition
// is already taking away may end.
func (w *Watch) ranOut() {
	for i := range w.p.Decks {
		deck := &w.p.Decks[i]
		if w.was(deck.State) != program.DeckPlaying || w.is(deck.State) != program.DeckEnded {
			continue
		}
		name, at, seen := w.seenAt(deck.Source)
		if !seen || !w.stays(deck.Source) {
			continue
		}
		why := w.decks[i]
		if why.at.Line == 0 {
			why.at = deck.At
		}
		w.say("deck-ran-out-on-air", why, fmt.Sprintf("the clip on `%s` ends while `%s` shows it on air", deck.Name, name), Note{at, "the destination"})
	}
}

// stays says whether a source is still on air when all transitions that run
// now have come to their ends.
func (w *Watch) stays(source int32) bool {
	seen := make([]bool, len(w.p.Nodes))
	for d := range w.p.Destinations {
		if w.ga.OnAirDestination(int32(d)) && w.leadsTo(w.p.Destinations[d].Node, source, seen) {
			return true
		}
	}
	return false
}

func (w *Watch) leadsTo(node, source int32, seen []bool) bool {
	if seen[node] {
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
		if w.leadsTo(w.buf[i], source, seen) {
			return true
		}
	}
	return false
}

// unrecorded looks for an encoder that is live while no recorder rolls.
func (w *Watch) unrecorded() {
	if len(w.p.Recorders) == 0 || w.rolling(w.is) {
		return
	}
	nobodyWas := !w.rolling(w.was)
	for i := range w.p.Encoders {
		e := &w.p.Encoders[i]
		if w.is(e.State) != program.MachineRunning || nobodyWas && w.was(e.State) == program.MachineRunning {
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

func (w *Watch) rolling(get func(int32) uint32) bool {
	for i := range w.p.Recorders {
		if get(w.p.Recorders[i].State) == program.MachineRunning {
			return true
		}
	}
	return false
}

// failures looks for devices that did not do what they were told; once for
// each device and action.
func (w *Watch) failures() {
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
		if why == "" || e.Device < 0 || w.saidBefore(i) {
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
