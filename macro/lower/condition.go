package lower

import (
	"slices"
	"strconv"

	"cuewright/macro/bug"
	"cuewright/macro/cond"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/syntax"
)

// condition lowers a condition as it stands in a script with these arguments.
func (l *lowerer) condition(c *syntax.Cond, b *binding) int32 {
	return l.truth(l.info.Conds[c], b)
}

// truth lowers a yes-or-no value. A comparison becomes the set of the values
// of one variable for which it holds, so that nothing is compared on the night.
func (l *lowerer) truth(e *cond.Expr, b *binding) int32 {
	switch e.Op {
	case cond.Yes, cond.No:
		return l.constant(e.Op == cond.Yes)
	case cond.Not:
		return l.not(l.truth(e.Args[0], b))
	case cond.And:
		return l.and(l.truth(e.Args[0], b), l.truth(e.Args[1], b))
	case cond.Or:
		return l.or(l.truth(e.Args[0], b), l.truth(e.Args[1], b))
	case cond.Field:
		return l.asked(b.name(e.Name), e.Text)
	case cond.Shows:
		return l.shows(l.dests[l.rack.Names[b.name(e.Name)].Destination], b.name(e.Args[0].Name))
	case cond.In:
		one := l.constant(false)
		for _, value := range e.Args[1:] {
			one = l.or(one, l.compare(cond.Equal, e.Args[0], value, b))
		}
		return one
	case cond.NotEqual:
		return l.not(l.compare(cond.Equal, e.Args[0], e.Args[1], b))
	case cond.Equal, cond.Less, cond.LessEqual, cond.Greater, cond.GreaterEqual:
		return l.compare(e.Op, e.Args[0], e.Args[1], b)
	}
	bug.Report("a condition of kind %d passed check", e.Op)
	return l.constant(false)
}

// asked lowers a field that is yes or no by itself.
func (l *lowerer) asked(name, field string) int32 {
	if m := l.info.Macros[name]; m != nil {
		return l.askedMacro(m, field)
	}
	e := l.rack.Names[name]
	switch field {
	case "mixing":
		return l.is(l.p.Banks[l.banks[e.Bank]].Transition, program.Mixing, program.Wiping)
	case "black":
		return l.is(l.p.Banks[l.banks[e.Bank]].Faded, 1)
	case "on":
		if e.Keyer != nil {
			return l.is(l.p.Keyers[l.keyers[e.Keyer]].On, 1)
		}
		return l.is(l.p.Outlets[l.outlets[e.Outlet]].On, 1)
	case "on_air":
		return l.cond(program.Cond{Op: program.SourceOnAir, A: l.sources[e.Source]})
	case "protected":
		return l.is(l.p.Destinations[l.dests[e.Destination]].Protect, 1)
	case "away":
		return l.is(l.p.Devices[l.devices[e.Device]].Health, program.Away)
	}
	return l.askedMachine(e.Device, field)
}

// deckFields and machineFields are the states that a field stands for.
var (
	deckFields = map[string][]uint32{
		"empty": {program.DeckEmpty}, "loading": {program.DeckLoading}, "cued": {program.DeckCued},
		"playing": {program.DeckPlaying}, "paused": {program.DeckPaused}, "ended": {program.DeckEnded},
		"loaded": {program.DeckCued, program.DeckPlaying, program.DeckPaused, program.DeckEnded}}
	machineFields = map[string]uint32{
		"stopped": program.MachineStopped, "starting": program.MachineStarting,
		"rolling": program.MachineRunning, "live": program.MachineRunning}
)

func (l *lowerer) askedMachine(d *plan.Device, field string) int32 {
	if i, ok := l.decks[d]; ok {
		return l.is(l.p.Decks[i].State, deckFields[field]...)
	}
	state := machineFields[field]
	if i, ok := l.recorders[d]; ok {
		return l.is(l.p.Recorders[i].State, state)
	}
	if i, ok := l.encoders[d]; ok {
		return l.is(l.p.Encoders[i].State, state)
	}
	bug.Report("the field %q passed check and nothing has it", field)
	return l.constant(false)
}

// askedMacro: a macro that nothing runs neither runs nor fails.
func (l *lowerer) askedMacro(m *syntax.Macro, field string) int32 {
	s := l.macros[m]
	switch {
	case s == nil:
		return l.constant(false)
	case field == "failed":
		return l.is(l.p.Tasks[s.task].Failed, 1)
	}
	return l.cond(program.Cond{Op: program.Running, A: s.task})
}

// shows holds while a destination shows a source as a part of its picture, or
// while its picture comes through a bank (with or without keyers) or a tie
// line.
func (l *lowerer) shows(dest int32, name string) int32 {
	through := func(node int32) int32 { return l.cond(program.Cond{Op: program.ShowsNode, A: dest, B: node}) }
	switch e := l.rack.Names[name]; {
	case e.Bank != nil:
		c := through(l.graph.banks[e.Bank])
		if clean, ok := l.graph.cleans[e.Bank]; ok {
			c = l.or(c, through(clean))
		}
		return c
	case e.Source != nil:
		return l.cond(program.Cond{Op: program.Shows, A: dest, B: l.sources[e.Source]})
	default: // a line behind a splitter has several ends
		some := l.constant(false)
		for i, n := range l.p.Nodes {
			if n.Tie == l.ties[e.Tie] {
				some = l.or(some, through(int32(i)))
			}
		}
		return some
	}
}

// compare lowers a field compared with a fixed value.
func (l *lowerer) compare(op cond.Op, field, value *cond.Expr, b *binding) int32 {
	e, name := l.rack.Names[b.name(field.Name)], value.Text
	if value.Op == cond.NameValue {
		name = b.name(value.Name)
	}
	switch {
	case field.Type == cond.CueType:
		if i, ok := l.info.Cues[name]; ok {
			return l.is(l.standby, uint32(i))
		}
		return l.constant(false)
	case field.Type == cond.PageType:
		surface := l.p.Surfaces[l.surfaces[e.Surface]]
		return l.in(surface.Page, func(v uint32) bool {
			return int(v) < len(surface.Pages) && l.p.Pages[surface.Pages[v]].Name == name
		})
	case field.Type == cond.ClipType:
		return l.in(l.p.Decks[l.decks[e.Device]].Clip, func(v uint32) bool {
			return v > 0 && e.Device.Clips[v-1].Name == name
		})
	case field.Type == cond.NumberType:
		return l.shotIs(op, e.Device, name)
	case field.Text == "preset":
		return l.picked(l.p.Banks[l.banks[e.Bank]].Preset, e.Bank.Picks, name)
	}
	return l.picked(l.p.Banks[l.banks[e.Bank]].Program, e.Bank.Picks, name)
}

// picked holds while a bus has a pick of that name, whichever its number.
func (l *lowerer) picked(v int32, picks []*plan.Pick, name string) int32 {
	return l.in(v, func(i uint32) bool { return int(i) < len(picks) && slices.Contains(picks[i].Names, name) })
}

// shotIs compares a camera's shot with a number, or its name with a text. A
// camera whose shot is not known yet fits no comparison.
func (l *lowerer) shotIs(op cond.Op, d *plan.Device, value string) int32 {
	camera := l.p.Cameras[l.cameras[d]]
	if camera.Shot < 0 {
		return l.constant(false)
	}
	want, err := strconv.ParseFloat(value, 64)
	return l.in(camera.Shot, func(v uint32) bool {
		if v == 0 {
			return false
		}
		s := d.Shots[v-1]
		has := float64(s.Number)
		switch {
		case err != nil:
			return s.Name == value
		case op == cond.Less:
			return has < want
		case op == cond.LessEqual:
			return has <= want
		case op == cond.Greater:
			return has > want
		case op == cond.GreaterEqual:
			return has >= want
		}
		return has == want
	})
}

// shot is the place of a shot by its number or name, or -1.
func shot(d *plan.Device, value string) int32 {
	return int32(slices.IndexFunc(d.Shots, func(s plan.Shot) bool {
		return s.Name == value || strconv.Itoa(s.Number) == value
	}))
}
