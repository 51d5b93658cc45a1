package story

import (
	"strconv"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// changes tells which variables are not what they were.
func (t *Teller) changes(b *Beat, before, after *state.State) {
	for i := range t.m.P.Vars {
		v := int32(i)
		was, is := t.m.L.Get(before, v), t.m.L.Get(after, v)
		if was == is {
			continue
		}
		from, to := t.Value(v, was), t.Value(v, is)
		if from != to {
			b.Changes = append(b.Changes, Change{t.what(v), from, to})
		}
	}
}

// what names a variable: "main program".
func (t *Teller) what(v int32) string {
	p, x := t.m.P, &t.m.P.Vars[v]
	switch x.Kind {
	case program.BankProgram:
		return p.Banks[x.Owner].Name + " program"
	case program.BankPreset:
		return p.Banks[x.Owner].Name + " preset"
	case program.BankTransition:
		return p.Banks[x.Owner].Name + " transition"
	case program.BankFaded:
		return p.Banks[x.Owner].Name + " faded to black"
	case program.KeyerOn:
		return p.Keyers[x.Owner].Name
	case program.SwitchPick:
		return p.Switches[x.Owner].Name
	case program.DeckState:
		return p.Decks[x.Owner].Name
	case program.DeckClip:
		return p.Decks[x.Owner].Name + " clip"
	case program.RecorderState:
		return p.Recorders[x.Owner].Name
	case program.EncoderState:
		return p.Encoders[x.Owner].Name
	case program.CameraShot:
		return p.Cameras[x.Owner].Name + " shot"
	case program.OutletOn:
		return p.Outlets[x.Owner].Name
	case program.DestinationProtected:
		return p.Destinations[x.Owner].Name + " protected"
	case program.TaskAt:
		return p.Tasks[x.Owner].Name
	case program.TaskFailed:
		return p.Tasks[x.Owner].Name + " failed"
	case program.TaskQueued:
		return p.Tasks[x.Owner].Name + " queued"
	case program.SurfacePage:
		return p.Surfaces[x.Owner].Name + " page"
	case program.Standby:
		return "standby"
	case program.CueFollow:
		return cueWords(p, x.Owner)
	case program.ButtonDown:
		return buttonWords(p, x.Owner)
	case program.ButtonCover:
		return "cover of " + buttonWords(p, x.Owner)
	case program.DeviceHealth:
		return p.Devices[x.Owner].Name + " health"
	}
	return x.Name
}

var (
	yesNo         = [2]string{"no", "yes"}
	offOn         = [2]string{"off", "on"}
	deckWords     = [program.DeckStates]string{"empty", "loading", "cued", "playing", "paused", "ended"}
	recorderWords = [program.MachineStates]string{"stopped", "starting", "rolling"}
	encoderWords  = [program.MachineStates]string{"stopped", "starting", "live"}
	healthWords   = [program.Healths]string{"well", "away", "refuses", "slow", "full"}
	downWords     = [3]string{"up", "down", "held"}
	followWords   = [program.FollowStates]string{"does not follow", "will follow", "waits to follow"}
	coverWords    = [2]string{"shut", "open"}
)

// Value is a value of variable v in words: "wide", "playing", "on". Where a
// script rests within is one word, "running": the instructions are not told.
func (t *Teller) Value(v int32, value uint32) string {
	p, x := t.m.P, &t.m.P.Vars[v]
	switch x.Kind {
	case program.BankProgram, program.BankPreset:
		return p.Banks[x.Owner].Picks[value].Label
	case program.SwitchPick:
		return p.Switches[x.Owner].Picks[value].Label
	case program.BankTransition:
		return transitions[value]
	case program.BankFaded, program.DestinationProtected, program.TaskFailed:
		return yesNo[value]
	case program.CueFollow:
		return followWords[value]
	case program.KeyerOn, program.OutletOn:
		return offOn[value]
	case program.DeckState:
		return deckWords[value]
	case program.DeckClip:
		if value == 0 {
			return "none"
		}
		return p.Clips[p.Decks[x.Owner].Clips[value-1]].Name
	case program.RecorderState:
		return recorderWords[value]
	case program.EncoderState:
		return encoderWords[value]
	case program.CameraShot:
		if value == 0 {
			return "not known"
		}
		shot := p.Cameras[x.Owner].Shots[value-1]
		return strconv.Itoa(int(shot.Number)) + " " + shot.Name
	case program.TaskAt:
		return [2]string{"idle", "running"}[min(value, 1)]
	case program.TaskQueued:
		return yesNo[min(value, 1)]
	case program.SurfacePage:
		return p.Pages[p.Surfaces[x.Owner].Pages[value]].Name
	case program.Standby:
		if int(value) == len(p.Cues) {
			return "the end"
		}
		return cueWords(p, int32(value))
	case program.ButtonDown:
		return downWords[value]
	case program.ButtonCover:
		return coverWords[value]
	case program.DeviceHealth:
		return healthWords[value]
	}
	return strconv.Itoa(int(value))
}
