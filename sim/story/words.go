package story

import (
	"fmt"
	"strconv"

	"cuewright/macro/program"
	"cuewright/macro/timecode"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Place is a place of the sources: "small.show:37", or "" for nowhere.
func Place(p *program.Program, at program.Place) string {
	if at.Line == 0 {
		return ""
	}
	return fmt.Sprintf("%s:%d", p.Files[at.File].Name, at.Line)
}

// cueWords is a cue with its label: cue 2 "Titles".
func cueWords(p *program.Program, cue int32) string {
	return fmt.Sprintf("cue %s %q", p.Cues[cue].Number, p.Cues[cue].Label)
}

// buttonWords is a button with its label: cameras 2.1 "Replay".
func buttonWords(p *program.Program, button int32) string {
	b := &p.Buttons[button]
	return fmt.Sprintf("%s %d.%d %q", p.Pages[b.Page].Name, b.Row, b.Column, b.Label)
}

// title says what an event is, and where what it is about stands.
func (t *Teller) title(before *state.State, e step.Event) (title, place string) {
	p := t.m.P
	switch e.Kind {
	case step.Down:
		return t.on(before, e.A) + buttonWords(p, e.A), Place(p, p.Buttons[e.A].At)
	case step.Up:
		return t.on(before, e.A) + buttonWords(p, e.A) + " let go", Place(p, p.Buttons[e.A].At)
	case step.Go:
		cue := e.A
		if cue < 0 {
			cue = int32(t.m.L.Get(before, p.StandbyVar()))
		}
		if int(cue) >= len(p.Cues) {
			return "go, with nothing on standby", ""
		}
		return "go: " + cueWords(p, cue), Place(p, p.Cues[cue].At)
	case step.Expire:
		return t.expiry(before, p.Timers[e.A])
	case step.Fault:
		return p.Devices[e.A].Name + " is " + [program.Healths]string{"well", "away", "refusing", "slow", "full"}[e.B], Place(p, p.Devices[e.A].At)
	case step.Observe:
		return "heard: " + t.what(e.A) + " is " + t.Value(e.A, uint32(e.B)), ""
	case step.StopAll:
		return "stop everything that runs", ""
	case step.Stand:
		if int(e.A) < len(p.Cues) {
			return "on standby: " + cueWords(p, e.A), Place(p, p.Cues[e.A].At)
		}
		return "nothing on standby", ""
	case step.Moment:
		told := "by the clock, "
		if p.Cues[e.A].By == program.ByTimecode {
			told = "by the timecode, "
		}
		return told + MomentOf(p, e.A) + ": " + cueWords(p, e.A), Place(p, p.Cues[e.A].At)
	case step.Safe:
		return "after the power cut: the safe picture to " + p.Destinations[e.A].Name, Place(p, p.Destinations[e.A].At)
	case step.Declined:
		return "a device answered no to " + p.Tasks[e.A].Name, Place(p, p.Tasks[e.A].Place)
	}
	return "", ""
}

// Title says what an event is that is neither a press nor a go nor a timer that
// runs out: those depend on where the show is.
func (t *Teller) Title(e step.Event) string {
	switch e.Kind {
	case step.Down, step.Up, step.Go, step.Expire:
		return ""
	}
	title, _ := t.title(nil, e)
	return title
}

// MomentOf is the moment of a cue as the language writes it: a time of the day
// or a timecode.
func MomentOf(p *program.Program, cue int32) string {
	if c := &p.Cues[cue]; c.By == program.ByClock {
		return timecode.Clock(c.Moment)
	}
	return timecode.Rate(p.Rate).Code().Label(p.Cues[cue].Moment)
}

// on is the surface that a button is pressed on: the first that shows it.
func (t *Teller) on(s *state.State, button int32) string {
	page := t.m.P.Buttons[button].Page
	for i := range t.m.P.Surfaces {
		f := &t.m.P.Surfaces[i]
		if len(f.Pages) > 0 && f.Pages[t.m.L.Get(s, f.Page)] == page {
			return f.Name + ": "
		}
	}
	return ""
}

// expiry says what a timer that ran out was.
func (t *Teller) expiry(before *state.State, x program.Timer) (title, place string) {
	p, l := t.m.P, t.m.L
	switch x.Kind {
	case program.TaskTimer:
		return t.waited(before, x.Owner)
	case program.BankTimer:
		ends := [program.Transitions]string{"nothing", "the mix", "the wipe", "the fade to black", "the fade from black"}
		return p.Banks[x.Owner].Name + ": " + ends[l.Get(before, p.Banks[x.Owner].Transition)] + " is complete", Place(p, p.Banks[x.Owner].At)
	case program.DeckTimer:
		d := &p.Decks[x.Owner]
		if l.Get(before, d.State) == program.DeckLoading {
			return d.Name + ": the clip is cued", Place(p, d.At)
		}
		return d.Name + ": the clip has ended", Place(p, d.At)
	case program.MachineTimer:
		if n := int32(len(p.Recorders)); x.Owner >= n {
			return p.Encoders[x.Owner-n].Name + ": live", Place(p, p.Encoders[x.Owner-n].At)
		}
		return p.Recorders[x.Owner].Name + ": rolling", Place(p, p.Recorders[x.Owner].At)
	case program.FollowTimer:
		c := &p.Cues[x.Owner]
		return fmt.Sprintf("%s follows cue %s", cueWords(p, x.Owner), p.Cues[c.Follow].Number), Place(p, c.At)
	case program.HoldTimer:
		b := &p.Buttons[x.Owner]
		return t.on(before, x.Owner) + buttonWords(p, x.Owner) + " held for " + Length(p, b.HoldAfter), Place(p, b.At)
	default:
		return "cover of " + buttonWords(p, x.Owner) + " falls shut", Place(p, p.Buttons[x.Owner].At)
	}
}

// waited says what kind of wait of a task is over.
func (t *Teller) waited(before *state.State, task int32) (title, place string) {
	p := t.m.P
	k := &p.Tasks[task]
	rest := t.m.L.Get(before, k.At)
	if rest == 0 {
		return k.Name + ": a wait is over", Place(p, k.Place)
	}
	in := &p.Code[k.Rests[rest-1]]
	switch {
	case in.Op == program.Until && in.C == 1:
		return k.Name + ": what it expects has not come true in " + Length(p, in.Micros), Place(p, in.At)
	case in.Op == program.Until:
		return k.Name + ": what it waits for has not come true in " + Length(p, in.Micros), Place(p, in.At)
	}
	return k.Name + ": a wait of " + Length(p, in.Micros) + " is over", Place(p, in.At)
}

// Command is a command or an action in the words of the language: "cut main to
// wide". A crosspoint reads as the route that it is a part of: "route aux1
// from main".
func Command(p *program.Program, c program.Command) string {
	switch c.Verb {
	case program.CutTo:
		return "cut " + p.Banks[c.A].Name + " to " + p.Banks[c.A].Picks[c.B].Label
	case program.PresetTo:
		return "preset " + p.Banks[c.A].Name + " to " + p.Banks[c.A].Picks[c.B].Label
	case program.Take:
		return "take " + p.Banks[c.A].Name
	case program.Mix:
		return "mix " + p.Banks[c.A].Name + " over " + Length(p, c.Micros)
	case program.Wipe:
		return "wipe " + p.Banks[c.A].Name + " over " + Length(p, c.Micros)
	case program.Fade:
		return "fade " + p.Banks[c.A].Name + [2]string{" from", " to"}[c.B&1] + " black over " + Length(p, c.Micros)
	case program.KeyTo:
		return "key " + p.Keyers[c.A].Name + " " + offOn[c.B&1]
	case program.Route:
		return "route " + p.Destinations[c.A].Name + " from " + nodeWords(p, c.B)
	case program.RouteTie:
		return "route " + p.Ties[c.A].Name + " from " + nodeWords(p, c.B)
	case program.Crosspoint:
		return "route " + p.Switches[c.A].Name + " from " + p.Switches[c.A].Picks[c.B].Label
	case program.Recall:
		return "recall " + p.Cameras[c.A].Name + " shot " + strconv.Itoa(int(p.Cameras[c.A].Shots[c.B].Number))
	case program.SwitchTo:
		return "switch " + p.Outlets[c.A].Name + " " + offOn[c.B&1]
	case program.SendTo:
		return "send " + p.Sends[c.A].Text
	case program.Protect:
		return [2]string{"release ", "protect "}[c.B&1] + p.Destinations[c.A].Name
	}
	return machineCommand(p, c)
}

// machineCommand is a command to a deck, a recorder or an encoder.
func machineCommand(p *program.Program, c program.Command) string {
	switch c.Verb {
	case program.Load:
		return "load " + p.Decks[c.A].Name + " with " + strconv.Quote(p.Clips[p.Decks[c.A].Clips[c.B]].Name)
	case program.Play:
		return "play " + p.Decks[c.A].Name
	case program.Pause:
		return "pause " + p.Decks[c.A].Name
	case program.StopDeck:
		return "stop " + p.Decks[c.A].Name
	case program.Record:
		return "record " + p.Recorders[c.A].Name
	case program.StopRecorder:
		return "stop " + p.Recorders[c.A].Name
	case program.Start:
		return "start " + p.Encoders[c.A].Name
	case program.StopEncoder:
		return "stop " + p.Encoders[c.A].Name
	}
	return "nothing"
}

// nodeWords names a picture that can be routed: a source or a bank, else the
// node's label.
func nodeWords(p *program.Program, node int32) string {
	switch n := &p.Nodes[node]; n.Kind {
	case program.SourceNode:
		return p.Sources[n.Owner].Name
	case program.BankNode:
		return p.Banks[n.Owner].Name
	default:
		return n.Label
	}
}
