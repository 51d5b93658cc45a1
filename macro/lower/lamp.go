package lower

import (
	"slices"

	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/syntax"
)

// lowerLamps derives for every button when it is lit and on air, and which
// tasks and devices its lamp looks at.
func (l *lowerer) lowerLamps(pages []*syntax.Page) {
	own := 0
	for _, page := range pages {
		for _, b := range page.Buttons {
			x := &l.p.Buttons[own]
			own++
			if b.Press != nil {
				x.Lit = l.lit(b.Press)
				x.Air = l.air(b.Press)
			}
			for _, lamp := range b.Lamps {
				x.Lamps = append(x.Lamps, program.Lamp{State: lamp.State.Text, Cond: l.condition(lamp.When, &binding{})})
			}
			l.looks(x)
		}
	}
}

// plain lists the actions and page turns of a press that is one straight line
// without waits, and of the salvos it fires. Others have no state of which one
// could say that it holds already.
func (l *lowerer) plain(press *syntax.Block) (line []syntax.Statement, ok bool) {
	for _, st := range press.Statements {
		switch st := st.(type) {
		case *syntax.Action, *syntax.Turn:
			line = append(line, st)
		case *syntax.Run:
			salvo := l.info.Salvos[st.Name.Text]
			if salvo == nil {
				return nil, false
			}
			inside, _ := l.plain(salvo.Body)
			line = append(line, inside...)
		case *syntax.Say:
			if st.Verb == "abandon" {
				return nil, false
			}
		case *syntax.Allow:
		default:
			return nil, false
		}
	}
	return line, true
}

// claims are what a press leaves behind, each thing as it is left last: by the
// variable that says so, and a destination's picture by -1 less its index.
type claims struct {
	*lowerer
	keys   []int32
	conds  map[int32]int32
	preset map[int32]int32 // the pick that the press has put on a bank's preset
}

func (c *claims) set(key, cond int32) {
	if _, again := c.conds[key]; !again {
		c.keys = append(c.keys, key)
	}
	c.conds[key] = cond
}

func (c *claims) forget(key int32) {
	delete(c.conds, key)
	c.keys = slices.DeleteFunc(c.keys, func(k int32) bool { return k == key })
}

// lit is the condition that all that a press leaves behind is so already, or
// -1 where that cannot be said: messages leave nothing behind, and a take or a
// mix only when the press has set preset itself.
func (l *lowerer) lit(press *syntax.Block) int32 {
	line, ok := l.plain(press)
	c := &claims{lowerer: l, conds: map[int32]int32{}, preset: map[int32]int32{}}
	for _, st := range line {
		switch st := st.(type) {
		case *syntax.Turn:
			surface, page := l.turn(st)
			v := l.p.Surfaces[surface].Page
			c.set(v, l.is(v, uint32(page)))
		case *syntax.Action:
			for _, a := range l.actions(st, &binding{}) {
				ok = ok && c.leaves(a, st)
			}
		}
	}
	if !ok || len(c.keys) == 0 {
		return -1
	}
	all := l.constant(true)
	for _, k := range c.keys {
		all = l.and(all, c.conds[k])
	}
	return all
}

// leaves notes what an action leaves behind. It says false when that depends
// on what was before.
func (c *claims) leaves(a program.Action, st *syntax.Action) bool {
	p := c.p
	switch a.Verb {
	case program.CutTo:
		c.set(p.Banks[a.A].Program, c.sameName(p.Banks[a.A].Program, c.rack.Banks[a.A].Picks, a.B))
	case program.PresetTo:
		c.set(p.Banks[a.A].Preset, c.sameName(p.Banks[a.A].Preset, c.rack.Banks[a.A].Picks, a.B))
		c.preset[a.A] = a.B
	case program.Take, program.Mix, program.Wipe:
		pick, known := c.preset[a.A]
		if !known {
			return false
		}
		delete(c.preset, a.A)
		c.forget(p.Banks[a.A].Preset)
		c.set(p.Banks[a.A].Program, c.sameName(p.Banks[a.A].Program, c.rack.Banks[a.A].Picks, pick))
	case program.Fade:
		c.becomes(p.Banks[a.A].Faded, uint32(a.B))
	case program.KeyTo:
		c.becomes(p.Keyers[a.A].On, uint32(a.B))
	case program.Route:
		c.set(-1-a.A, c.shows(a.A, st.Operand("source")[0].Text))
	case program.RouteTie:
		return c.tied(a.A, st.Operand("source")[0].Text)
	case program.Load:
		d := p.Decks[a.A]
		c.set(d.Clip, c.and(c.is(d.Clip, uint32(a.B)+1), c.is(d.State, deckFields["loaded"]...)))
	case program.Play:
		c.becomes(p.Decks[a.A].State, program.DeckPlaying)
	case program.Pause:
		c.becomes(p.Decks[a.A].State, program.DeckPaused)
	case program.StopDeck:
		c.becomes(p.Decks[a.A].State, program.DeckCued, program.DeckEmpty)
	case program.Record:
		c.becomes(p.Recorders[a.A].State, program.MachineRunning)
	case program.StopRecorder:
		c.becomes(p.Recorders[a.A].State, program.MachineStopped)
	case program.Start:
		c.becomes(p.Encoders[a.A].State, program.MachineRunning)
	case program.StopEncoder:
		c.becomes(p.Encoders[a.A].State, program.MachineStopped)
	case program.Recall:
		c.becomes(p.Cameras[a.A].Shot, uint32(a.B)+1)
	case program.SwitchTo:
		c.becomes(p.Outlets[a.A].On, uint32(a.B))
	case program.Protect:
		c.becomes(p.Destinations[a.A].Protect, uint32(a.B))
	}
	return true
}

func (c *claims) becomes(v int32, values ...uint32) { c.set(v, c.is(v, values...)) }

// sameName holds while a bus has a pick that shares a name with that one.
func (c *claims) sameName(v int32, picks []*plan.Pick, pick int32) int32 {
	return c.in(v, func(i uint32) bool {
		return int32(i) == pick || slices.ContainsFunc(picks[i].Names, func(name string) bool {
			return slices.Contains(picks[pick].Names, name)
		})
	})
}

// tied is what a tie line is left with, which can be said when its switch
// picks the source itself.
func (c *claims) tied(tie int32, name string) bool {
	s := c.rack.Ties[tie].Switch
	v := c.p.Switches[c.switches[s]].Var
	c.set(v, c.picked(v, s.Picks, name))
	return slices.ContainsFunc(s.Picks, func(p *plan.Pick) bool { return slices.Contains(p.Names, name) })
}

// air is the condition that the picture that a press names is on air, or -1
// when it names none, or several.
func (l *lowerer) air(press *syntax.Block) int32 {
	line, _ := l.plain(press)
	picture := ""
	for _, st := range line {
		a, ok := st.(*syntax.Action)
		if !ok {
			continue
		}
		for _, o := range a.Operand("source") {
			if picture != "" && picture != o.Text {
				return -1
			}
			picture = o.Text
		}
	}
	if picture == "" {
		return -1
	}
	c, known := l.airs[picture]
	if !known {
		c = l.pictureOnAir(picture)
		l.airs[picture] = c
	}
	return c
}

// pictureOnAir holds while a source, a bank's output or what a tie line
// carries is on air.
func (l *lowerer) pictureOnAir(name string) int32 {
	if e := l.rack.Names[name]; e.Bank == nil && e.Source != nil {
		return l.cond(program.Cond{Op: program.SourceOnAir, A: l.sources[e.Source]})
	}
	some := l.constant(false)
	for i, d := range l.p.Destinations {
		switch {
		case d.OnAir == program.AlwaysOnAir:
			some = l.or(some, l.shows(int32(i), name))
		case d.OnAir >= 0:
			live := l.is(l.p.Encoders[d.OnAir].State, program.MachineRunning)
			some = l.or(some, l.and(live, l.shows(int32(i), name)))
		}
	}
	return some
}

// looks fills in which tasks a button starts, itself or by macros, and which
// devices they tell something.
func (l *lowerer) looks(b *program.Button) {
	var tasks, devices []int32
	type way struct{ task, entry int32 }
	var seen []way // few: what one button runs
	var walk func(task, entry int32)
	walk = func(task, entry int32) {
		if slices.Contains(seen, way{task, entry}) {
			return
		}
		seen = append(seen, way{task, entry})
		tasks = add(tasks, task)
		for _, in := range l.codeOf(task, entry) {
			switch in.Op {
			case program.Do:
				devices = add(devices, l.told(in.A))
			case program.Fire:
				for _, a := range l.p.Salvos[in.A].Actions {
					devices = add(devices, l.told(a))
				}
			case program.Run:
				walk(in.A, in.C)
			}
		}
	}
	for _, t := range []int32{b.Press, b.Hold, b.Release} {
		if t >= 0 {
			walk(t, 0)
		}
	}
	b.Runs, b.Uses = tasks, devices
}

// add puts an index into a sorted list that has each once; -1 is none.
func add(to []int32, index int32) []int32 {
	at, there := slices.BinarySearch(to, index)
	if there || index < 0 {
		return to
	}
	return slices.Insert(to, at, index)
}

// codeOf is the code of one entry of a task.
func (l *lowerer) codeOf(task, entry int32) []program.Instr {
	from, to := l.p.CodeOfEntry(task, entry)
	return l.p.Code[from:to]
}

// told is the device that an action tells something, or -1. Of a route it is
// the one before the destination, without which it cannot be done.
func (l *lowerer) told(action int32) int32 {
	a := l.p.Actions[action]
	switch a.Verb {
	case program.Route:
		node := l.p.Destinations[a.A].Node
		for range l.p.Nodes {
			n := l.p.Nodes[node]
			if n.Kind == program.SwitchNode {
				return n.Device
			}
			if n.Kind != program.PassNode || len(n.Up) == 0 {
				return -1
			}
			node = n.Up[0]
		}
		return -1
	case program.RouteTie:
		return l.p.Switches[l.p.Ties[a.A].Switch].Device
	}
	return a.Device
}
