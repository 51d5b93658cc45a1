package control

import (
	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/surface"
)

// resend tells the devices again what a destination should show: the buses
// that its picture comes through, as the show last set them, from the source
// on down to the destination. A bank in a transition is left alone. Where a
// device stood otherwise, the state is as wanted again.
func (c *Controller) resend(destination int32) surface.Answer {
	s := c.show
	commands := s.standingOf(destination)
	var left []string
	sent := 0
	for i := len(commands) - 1; i >= 0; i-- {
		command := commands[i]
		message, ok := s.index[command]
		if !ok {
			left = append(left, story.Command(s.p, command))
			continue
		}
		if device := s.p.Messages[message].Device; s.m.L.Get(s.state, s.p.Devices[device].Health) == program.Away {
			return refused(step.DeviceAway, s.p.Devices[device].Name+" does not answer")
		}
		v := setBy(s.p, command)[0]
		if s.m.L.Get(s.state, v) != uint32(command.B) {
			c.apply(step.Event{Kind: step.Observe, A: v, B: command.B, At: s.state.Now})
		}
		s.wants(v)
		b := batch{device: s.p.Messages[message].Device, indexes: []int32{message}}
		c.give(&b)
		c.given(&b, 1)
		sent++
	}
	switch {
	case sent == 0:
		return refused(step.NothingToDo, "nothing that this show can send leads to "+s.p.Destinations[destination].Name)
	case len(left) > 0:
		return surface.Answer{Text: "sent again, but for what this show never sends: " + left[0]}
	}
	return surface.Answer{Text: "sent again"}
}

// standingOf is the crosspoints and cuts that make a destination show what it
// should, from the destination up.
func (s *show) standingOf(destination int32) []program.Command {
	var all []program.Command
	node := s.p.Destinations[destination].Node
	for range s.p.Nodes {
		n := &s.p.Nodes[node]
		switch {
		case n.Kind == program.PassNode && len(n.Up) > 0:
			node = n.Up[0]
			continue
		case n.Kind == program.SwitchNode:
			pick := s.should(s.p.Switches[n.Owner].Var)
			all = append(all, program.Command{Verb: program.Crosspoint, A: n.Owner, B: int32(pick)})
			node = s.p.Switches[n.Owner].Picks[pick].Node
			continue
		case n.Kind == program.BankNode || n.Kind == program.CleanNode:
			b := &s.p.Banks[n.Owner]
			if s.m.L.Get(s.state, b.Transition) != program.NoTransition {
				return all
			}
			pick := s.should(b.Program)
			all = append(all, program.Command{Verb: program.CutTo, A: n.Owner, B: int32(pick)})
			node = b.Picks[pick].Node
			continue
		}
		break
	}
	return all
}

// should is what the show last set a variable to, or its value when it never
// did.
func (s *show) should(v int32) uint32 {
	if f := &s.facts[v]; f.set {
		return f.wanted
	}
	return s.m.L.Get(s.state, v)
}
