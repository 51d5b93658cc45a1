package lower

import (
	"slices"
	"strings"

	"cuewright/macro/bug"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/syntax"
)

// actions are what one statement does, in order: a list gives one action for
// each of its things, and a transition to a named picture sets preset first.
func (l *lowerer) actions(st *syntax.Action, b *binding) []program.Action {
	v := verb{lowerer: l, st: st, bound: b}
	switch st.Verb.ID {
	case syntax.Cut:
		return v.toPick(program.CutTo)
	case syntax.Preset:
		return v.toPick(program.PresetTo)
	case syntax.Take:
		return v.onBank(program.Take, 0, 0)
	case syntax.Mix:
		return append(v.toPick(program.PresetTo), v.onBank(program.Mix, 0, v.time())...)
	case syntax.Wipe:
		return append(v.toPick(program.PresetTo), v.onBank(program.Wipe, 0, v.time())...)
	case syntax.Fade:
		return v.onBank(program.Fade, v.chosen("direction", "to"), v.time())
	case syntax.Key:
		k := v.entry("keyer").Keyer
		return v.one(program.KeyTo, l.keyers[k], v.chosen("state", "on"), l.devices[k.Bank.Mixer])
	case syntax.Route:
		return v.each("destination", v.route)
	case syntax.Load:
		return v.load()
	case syntax.Recall:
		return v.recall()
	case syntax.Switch:
		on := v.chosen("state", "on")
		return v.each("outlet", func(e *plan.Entry) program.Action {
			return v.make(program.SwitchTo, l.outlets[e.Outlet], on, l.devices[e.Outlet.Device])
		})
	case syntax.Send:
		return v.send()
	case syntax.Protect:
		return v.protect(1)
	case syntax.Release:
		return v.protect(0)
	}
	return v.machines()
}

// verb is one statement with what its operands stand for.
type verb struct {
	*lowerer
	st    *syntax.Action
	bound *binding
}

func (v verb) make(what program.Verb, a, b, device int32) program.Action {
	return program.Action{Verb: what, A: a, B: b, Device: device, At: v.place(v.st.At)}
}

func (v verb) one(what program.Verb, a, b, device int32) []program.Action {
	return []program.Action{v.make(what, a, b, device)}
}

// operand is what stands in the slot of that role; Kind Bad when nothing does.
func (v verb) operand(role string) syntax.Operand {
	for _, o := range v.st.Operand(role) {
		return v.bound.operand(o)
	}
	return syntax.Operand{Kind: syntax.Bad}
}

// entry is the thing of the plan that stands in the slot of that role.
func (v verb) entry(role string) *plan.Entry { return v.rack.Names[v.operand(role).Text] }

// each makes an action for each thing of a list.
func (v verb) each(role string, do func(*plan.Entry) program.Action) []program.Action {
	return list(v.st.Operand(role), func(o syntax.Operand) program.Action {
		return do(v.rack.Names[v.bound.operand(o).Text])
	})
}

// chosen is 1 when that word was chosen in the slot, else 0.
func (v verb) chosen(role, word string) int32 {
	if v.st.Choice(role) == word {
		return 1
	}
	return 0
}

func (v verb) time() int64 { return v.micros(v.operand("time").Text) }

func (v verb) onBank(what program.Verb, b int32, micros int64) []program.Action {
	bank := v.entry("bank").Bank
	a := v.make(what, v.banks[bank], b, v.devices[bank.Mixer])
	a.Micros = micros
	return []program.Action{a}
}

// toPick puts the named picture on a bus, and does nothing where none is named.
func (v verb) toPick(what program.Verb) []program.Action {
	picture := v.operand("source")
	if picture.Kind == syntax.Bad {
		return nil
	}
	return v.onBank(what, pick(v.entry("bank").Bank.Picks, picture.Text), 0)
}

// pick is the pick by that name, the one of the lowest number.
func pick(picks []*plan.Pick, name string) int32 {
	best := int32(-1)
	for i, p := range picks {
		if slices.Contains(p.Names, name) && (best < 0 || p.Number < picks[best].Number) {
			best = int32(i)
		}
	}
	if best < 0 {
		bug.Report("%q passed check and is not among the picks", name)
		return 0
	}
	return best
}

// route leaves its device open: which crosspoints it needs is known when it
// is done.
func (v verb) route(e *plan.Entry) program.Action {
	from := v.picture(v.operand("source").Text)
	if e.Destination != nil {
		return v.make(program.Route, v.dests[e.Destination], from, -1)
	}
	return v.make(program.RouteTie, v.ties[e.Tie], from, -1)
}

// picture is the node of a source, a bank's output, or a tie line's end.
func (l *lowerer) picture(name string) int32 {
	switch e := l.rack.Names[name]; {
	case e.Bank != nil:
		return l.graph.banks[e.Bank]
	case e.Source != nil:
		return l.graph.sources[e.Source]
	default:
		return l.graph.ties[e.Tie]
	}
}

func (v verb) load() []program.Action {
	d, name := v.entry("deck").Device, v.operand("clip").Text
	for _, c := range d.Clips {
		if c.Name == name {
			return v.one(program.Load, v.decks[d], int32(c.Index), v.devices[d])
		}
	}
	bug.Report("clip %q passed check and is not on %q", name, d.Name)
	return nil
}

func (v verb) recall() []program.Action {
	d := v.entry("camera").Device
	if n := shot(d, v.operand("shot").Text); n >= 0 {
		return v.one(program.Recall, v.cameras[d], n, v.devices[d])
	}
	bug.Report("a shot of %q passed check and is not there", d.Name)
	return nil
}

// machines are the verbs on decks, recorders and encoders.
func (v verb) machines() []program.Action {
	role, which := "machine", [3]program.Verb{program.StopDeck, program.StopRecorder, program.StopEncoder}
	switch v.st.Verb.ID {
	case syntax.Play:
		role, which[0] = "deck", program.Play
	case syntax.Pause:
		role, which[0] = "deck", program.Pause
	case syntax.Record:
		role, which[1] = "recorder", program.Record
	case syntax.Start:
		role, which[2] = "encoder", program.Start
	}
	return v.each(role, func(e *plan.Entry) program.Action {
		d := e.Device
		for i, of := range []map[*plan.Device]int32{v.decks, v.recorders, v.encoders} {
			if n, ok := of[d]; ok {
				return v.make(which[i], n, 0, v.devices[d])
			}
		}
		bug.Report("%q passed check and is no machine", e.Name)
		return program.Action{Device: -1}
	})
}

func (v verb) protect(on int32) []program.Action {
	return v.each("destination", func(e *plan.Entry) program.Action {
		return v.make(program.Protect, v.dests[e.Destination], on, -1)
	})
}

// send says a named message. Its values stand in the plan's order.
func (v verb) send() []program.Action {
	m := v.entry("message").Message
	given := map[string]syntax.Operand{}
	values := v.st.Operand("values")
	for i := 0; i+1 < len(values); i += 2 {
		given[values[i].Text] = v.bound.operand(values[i+1])
	}
	s := program.Send{Name: m.Name, Device: v.devices[m.Device]}
	var words []string
	for _, t := range m.Takes {
		if o, ok := given[t.Name]; ok {
			s.Values = append(s.Values, program.Value{Name: t.Name, Text: text(o.Text)})
			words = append(words, t.Name+": "+written(o))
		}
	}
	if s.Text = m.Name; len(words) > 0 {
		s.Text += "(" + strings.Join(words, ", ") + ")"
	}
	return v.one(program.SendTo, v.sendIndex(s), 0, s.Device)
}
