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
	"cuewright/sim/story"
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

// sent is a command with the device that it goes to, or -1.
type sent struct {
	command program.Command
	device  int32
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
	covered := r.ownSwitches()
	for _, s := range r.all() {
		if s.device < 0 {
			continue
		}
		device := devices[r.p.Devices[s.device].Name]
		if device == nil {
			continue
		}
		t := saying(device, messages, r.p, s.command)
		switch {
		case t != nil:
			r.message(s.command, s.device, t, r.values(s.command))
		case s.command.Verb == program.Crosspoint && !covered[s.device]:
			covered[s.device] = true
			r.found.Add(diag.New(unsaid, device.At, "a route needs %s, and the plan does not say how `%s` is told",
				r.words(s.command), device.Name).Mend("add `crosspoint:` to its `does` in the plan's `control`"))
		}
	}
}

// saying is how the plan says a command, or nil.
func saying(d *plan.Device, messages map[string]*plan.Message, p *program.Program, c program.Command) *plan.Template {
	if c.Verb == program.SendTo {
		if m := messages[p.Sends[c.A].Name]; m != nil {
			return m.Template
		}
		return nil
	}
	if d.Control == nil {
		return nil
	}
	return d.Control.Does[actionOf[c.Verb]]
}

// ownSwitches are the devices of the last switch before each destination and
// of each tie line that the show routes: check has told of those.
func (r *renderer) ownSwitches() map[int32]bool {
	out := map[int32]bool{}
	for _, a := range r.p.Actions {
		switch a.Verb {
		case program.RouteTie:
			out[r.p.Switches[r.p.Ties[a.A].Switch].Device] = true
		case program.Route:
			node := r.p.Destinations[a.A].Node
			for r.p.Nodes[node].Kind == program.PassNode && len(r.p.Nodes[node].Up) > 0 {
				node = r.p.Nodes[node].Up[0]
			}
			if n := r.p.Nodes[node]; n.Kind == program.SwitchNode {
				out[r.p.Switches[n.Owner].Device] = true
			}
		}
	}
	return out
}

// all is every command that the program can send, once each, in order.
func (r *renderer) all() []sent {
	var out []sent
	known := map[program.Command]bool{}
	add := func(c program.Command, device int32) {
		if !known[c] {
			known[c] = true
			out = append(out, sent{c, device})
		}
	}
	for _, a := range r.p.Actions {
		switch a.Verb {
		case program.Route, program.RouteTie, program.Protect:
		default:
			add(program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}, a.Device)
		}
	}
	restored := r.restored()
	for _, a := range r.p.Actions { // what a mix brought on air is cut to again
		if a.Verb == program.PresetTo && restored[a.A] {
			add(program.Command{Verb: program.CutTo, A: a.A, B: a.B}, a.Device)
		}
	}
	for _, c := range route.New(r.p, state.NewLayout(r.p)).Crosspoints() {
		add(c, r.p.Switches[c.A].Device)
	}
	slices.SortStableFunc(out, func(a, b sent) int { return compare(a.command, b.command) })
	return out
}

// restored are the banks that a destination may show which is restored after a
// power cut.
func (r *renderer) restored() map[int32]bool {
	banks, been := map[int32]bool{}, map[int32]bool{}
	var up func(node int32)
	up = func(node int32) {
		if node < 0 || been[node] {
			return
		}
		been[node] = true
		n := &r.p.Nodes[node]
		if n.Kind == program.BankNode || n.Kind == program.CleanNode {
			banks[n.Owner] = true
		}
		for _, next := range n.Up {
			up(next)
		}
	}
	for _, d := range r.p.Destinations {
		if d.AfterCut == program.Restore {
			up(d.Node)
		}
	}
	return banks
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

// words is a command in the words of the language, in backticks.
func (r *renderer) words(c program.Command) string { return "`" + story.Command(r.p, c) + "`" }
