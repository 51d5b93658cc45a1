package render

import (
	"maps"
	"slices"
	"strconv"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/timecode"
	"cuewright/sim/route"
	"cuewright/sim/state"
)

// actions are the names of plan.Does, in alphabetical order.
var actions = slices.Sorted(maps.Keys(plan.Does))

// actionOf is the name in plan.Does of each verb that is sent by an action.
var actionOf = map[program.Verb]string{
	program.CutTo: "cut", program.PresetTo: "preset", program.Take: "take", program.Mix: "mix", program.Wipe: "wipe",
	program.Fade: "fade", program.KeyTo: "key", program.Crosspoint: "crosspoint", program.Load: "load",
	program.Play: "play", program.Pause: "pause", program.StopDeck: "stop", program.Record: "record",
	program.StopRecorder: "stop", program.Start: "start", program.StopEncoder: "stop", program.Recall: "recall",
	program.SwitchTo: "switch",
}

// namesOf are the names that an action's template may use. All numbers but
// seconds are whole.
func namesOf(action string) names {
	out := names{}
	for name, letter := range plan.Does[action] {
		switch {
		case letter == 's':
			out[name] = text
		case letter == 'b':
			out[name] = truth
		case name == "seconds":
			out[name] = number
		default:
			out[name] = whole
		}
	}
	return out
}

// namesOfTakes are the names that a named message's template may use.
func namesOfTakes(takes []plan.Take) names {
	out := names{}
	for _, t := range takes {
		if out[t.Name] = number; t.Kind == noun.Text {
			out[t.Name] = text
		}
	}
	return out
}

// sent is a command with the device that it goes to and who asks for it.
type sent struct {
	command program.Command
	device  int32
	at      program.Place
}

// commands renders every command that the program can send.
func (r *renderer) commands() {
	devices := map[string]*plan.Device{}
	for _, d := range r.rack.Devices {
		devices[d.Name] = d
	}
	messages := map[string]*plan.Message{}
	for _, m := range r.rack.Messages {
		messages[m.Name] = m
	}
	mute, silent := map[int32]bool{}, map[string]bool{}
	for _, s := range r.all() {
		if s.device < 0 || int(s.device) >= len(r.p.Devices) {
			continue
		}
		device := devices[r.p.Devices[s.device].Name]
		if device == nil {
			continue
		}
		if device.Control == nil {
			if !mute[s.device] {
				mute[s.device] = true
				r.found.Add(diag.New(unreached, device.At, "%s%s is for `%s`, but the plan does not say how to reach it",
					r.words(s.command), r.where(s.at), device.Name).
					Mend("add `%s:` to the plan's `control`", device.Name))
			}
			continue
		}
		given := r.values(s.command)
		if s.command.Verb == program.SendTo {
			if m := messages[r.p.Sends[s.command.A].Name]; m != nil && m.Template != nil {
				r.message(s.command, s.device, m.Template, given)
			}
			continue
		}
		action := actionOf[s.command.Verb]
		t := device.Control.Does[action]
		if t == nil {
			if key := device.Name + "." + action; !silent[key] {
				silent[key] = true
				r.found.Add(diag.New(unsaid, device.Control.At, "the plan does not say how `%s` is told to %s, which %s%s needs",
					device.Name, action, r.words(s.command), r.where(s.at)).
					Mend("add `%s:` to its `does`", action))
			}
			continue
		}
		r.message(s.command, s.device, t, given)
	}
}

// all is every command that the program can send, once each, in order.
func (r *renderer) all() []sent {
	var out []sent
	known := map[program.Command]bool{}
	add := func(c program.Command, device int32, at program.Place) {
		if !known[c] {
			known[c] = true
			out = append(out, sent{c, device, at})
		}
	}
	for _, a := range r.p.Actions {
		switch a.Verb {
		case program.Route, program.RouteTie, program.Protect:
		default:
			add(program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}, a.Device, a.At)
		}
	}
	for _, c := range route.New(r.p, state.NewLayout(r.p)).Crosspoints() {
		add(c, r.p.Switches[c.A].Device, program.Place{})
	}
	slices.SortStableFunc(out, func(a, b sent) int { return compare(a.command, b.command) })
	return out
}

// values are the values of a command by the names of plan.Does, or of a named
// message by those that it takes.
func (r *renderer) values(c program.Command) map[string]value {
	p, given := r.p, map[string]value{}
	thing := func(role, name string, number int32) {
		given[role+".name"], given[role+".number"] = name, int64(number)
	}
	switch c.Verb {
	case program.CutTo, program.PresetTo:
		pick := p.Banks[c.A].Picks[c.B]
		thing("pick", pick.Label, pick.Number)
		fallthrough
	case program.Take, program.Mix, program.Wipe, program.Fade:
		thing("bank", p.Banks[c.A].Name, p.Banks[c.A].Number)
	case program.KeyTo:
		k := p.Keyers[c.A]
		thing("keyer", k.Name, k.Number)
		given["bank.number"], given["on"] = int64(p.Banks[k.Bank].Number), c.B == 1
	case program.Crosspoint:
		s := p.Switches[c.A]
		thing("output", s.Name, s.Number)
		thing("pick", s.Picks[c.B].Label, s.Picks[c.B].Number)
	case program.Load:
		clip := p.Clips[p.Decks[c.A].Clips[c.B]]
		thing("clip", clip.Name, clip.Number)
		given["clip.file"] = clip.File
	case program.Recall:
		shot := p.Cameras[c.A].Shots[c.B]
		thing("shot", shot.Name, shot.Number)
	case program.SwitchTo:
		thing("outlet", p.Outlets[c.A].Name, p.Outlets[c.A].Number)
		given["on"] = c.B == 1
	case program.SendTo:
		r.taken(p.Sends[c.A], given)
	}
	switch c.Verb {
	case program.Fade:
		given["black"] = c.B == 1
		fallthrough
	case program.Mix, program.Wipe:
		rate := timecode.Rate{Num: p.Rate.Num, Den: p.Rate.Den, Drop: p.Rate.Drop}
		given["frames"] = rate.ToFrames(timecode.Micros(c.Micros))
		given["seconds"] = float64(c.Micros) / 1e6
	}
	return given
}

// taken are the values of a named message.
func (r *renderer) taken(s program.Send, given map[string]value) {
	kinds := names{}
	for _, m := range r.rack.Messages {
		if m.Name == s.Name {
			kinds = namesOfTakes(m.Takes)
		}
	}
	for _, v := range s.Values {
		if given[v.Name] = v.Text; kinds[v.Name] == number {
			n, _ := strconv.ParseFloat(v.Text, 64) // check has read it as a number
			given[v.Name] = n
		}
	}
}

// where says where in the sources an action stands, when it is known.
func (r *renderer) where(at program.Place) string {
	if at.Line == 0 || int(at.File) >= len(r.p.Files) {
		return ""
	}
	return " in " + r.p.Files[at.File].Name + ":" + strconv.Itoa(int(at.Line))
}

// words is a command in the words of the language, in backticks.
func (r *renderer) words(c program.Command) string { return "`" + Words(r.p, c) + "`" }

// Words is a command in the words of the language: "cut main to wide",
// "lights(level: 40)". A crosspoint reads as the route that it is a part of:
// "route aux1 from main".
func Words(p *program.Program, c program.Command) string {
	seconds := func() string { return strconv.FormatFloat(float64(c.Micros)/1e6, 'f', -1, 64) + "s" }
	onOff := [...]string{"off", "on"}
	switch c.Verb {
	case program.CutTo:
		return "cut " + p.Banks[c.A].Name + " to " + p.Banks[c.A].Picks[c.B].Label
	case program.PresetTo:
		return "preset " + p.Banks[c.A].Name + " to " + p.Banks[c.A].Picks[c.B].Label
	case program.Take:
		return "take " + p.Banks[c.A].Name
	case program.Mix:
		return "mix " + p.Banks[c.A].Name + " over " + seconds()
	case program.Wipe:
		return "wipe " + p.Banks[c.A].Name + " over " + seconds()
	case program.Fade:
		return "fade " + p.Banks[c.A].Name + [...]string{" from", " to"}[c.B&1] + " black over " + seconds()
	case program.KeyTo:
		return "key " + p.Keyers[c.A].Name + " " + onOff[c.B&1]
	case program.Crosspoint:
		return "route " + p.Switches[c.A].Name + " from " + p.Switches[c.A].Picks[c.B].Label
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
	case program.Recall:
		shot := p.Cameras[c.A].Shots[c.B]
		return "recall " + p.Cameras[c.A].Name + " shot " + strconv.Itoa(int(shot.Number))
	case program.SwitchTo:
		return "switch " + p.Outlets[c.A].Name + " " + onOff[c.B&1]
	case program.SendTo:
		return "send " + p.Sends[c.A].Text
	}
	return "nothing"
}
