package control

import (
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// Who asked for a message, as the journal has it in D of Sent.
const (
	byShow     int32 = iota // an event of the show
	byOperator              // somebody at a surface
	byPlan                  // the plan, after a power cut
)

// point is a variable of a device and the command that sets it to a value.
type point struct {
	v       int32
	value   uint32
	command program.Command
}

// resend tells the devices again what an output should show: the buses that a
// destination's picture comes through, as the show last set them, from the
// source on down to the destination; or one field. A bank in a transition is
// left alone. Where a device stood otherwise, the state is as wanted again.
func (c *Controller) resend(output int32) surface.Answer {
	s := c.show
	points := s.wantedPoints(output)
	for i, p := range points {
		if s.between(p.v) {
			points = points[:i]
			break
		}
	}
	sent, left, away := c.again(points, byOperator)
	name := surface.OutputNames(s.p)[output]
	switch {
	case away >= 0:
		return refused(step.DeviceAway, s.p.Devices[away].Name+" does not answer")
	case sent == 0:
		return refused(step.NothingToDo, "nothing that this show can send leads to "+name)
	}
	c.settled(output, "sent again by hand")
	if len(left) > 0 {
		return surface.Answer{Text: "sent again, but for what this show never sends: " + left[0]}
	}
	return surface.Answer{Text: "sent again"}
}

// again sends what sets variables, the last first. It gives how many messages
// were sent, what the show has no message for, and the device that is away and
// at which it stopped, or -1.
func (c *Controller) again(points []point, by int32) (sent int, left []string, away int32) {
	s := c.show
	for i := len(points) - 1; i >= 0; i-- {
		p := points[i]
		message, ok := s.index[p.command]
		if !ok {
			left = append(left, s.words(p))
			continue
		}
		device := s.p.Messages[message].Device
		if s.m.L.Get(s.state, s.p.Devices[device].Health) == program.Away {
			return sent, left, device
		}
		if s.m.L.Get(s.state, p.v) != p.value {
			c.apply(step.Event{Kind: step.Observe, A: p.v, B: int32(p.value), At: s.state.Now})
		}
		s.wants(p.v)
		b := batch{device: device, indexes: []int32{message}}
		c.give(&b)
		c.given(&b, by)
		sent++
	}
	return sent, left, -1
}

// words are what a point sets, and to what.
func (s *show) words(p point) string {
	if p.command == unsaid {
		return s.p.Vars[p.v].Name
	}
	return story.Command(s.p, p.command)
}

// adopt makes what an output was seen to be what the show wants.
func (c *Controller) adopt(output int32) surface.Answer {
	s := c.show
	var adopted []string
	for _, v := range s.varsOf(output) {
		f, is := &s.facts[v], s.m.L.Get(s.state, v)
		if !f.heard || f.set && f.wanted == is || s.between(v) {
			continue
		}
		s.wants(v)
		c.note(journal.Record{Kind: journal.Adopted, B: v, C: int32(is)})
		adopted = append(adopted, s.p.Vars[v].Name+" is "+s.tell.Value(v, is))
	}
	if c.settled(output, "left as it is, by hand") && len(adopted) == 0 {
		return surface.Answer{Text: "left as it is"}
	}
	if len(adopted) == 0 {
		return refused(step.NothingToDo, "nothing there was seen to be otherwise than the show wants it")
	}
	c.dirty = true
	return surface.Answer{Text: "adopted: " + strings.Join(adopted, ", ")}
}

// way is the buses that a picture comes through on its way to a node, from
// there up, as get has them.
func (s *show) way(node int32, get func(v int32) uint32) []point {
	var all []point
	for range s.p.Nodes {
		n := &s.p.Nodes[node]
		var v int32
		var picks []program.Pick
		switch n.Kind {
		case program.PassNode:
			if len(n.Up) == 0 {
				return all
			}
			node = n.Up[0]
			continue
		case program.SwitchNode:
			v, picks = s.p.Switches[n.Owner].Var, s.p.Switches[n.Owner].Picks
		case program.BankNode, program.CleanNode:
			v, picks = s.p.Banks[n.Owner].Program, s.p.Banks[n.Owner].Picks
		case program.PresetNode:
			v, picks = s.p.Banks[n.Owner].Preset, s.p.Banks[n.Owner].Picks
		default:
			return all
		}
		value := get(v)
		all = append(all, point{v, value, s.puts(v, value)})
		node = picks[value].Node
	}
	return all
}

// wantedPoints are the variables that make an output what it should be, from
// the destination up.
func (s *show) wantedPoints(output int32) []point {
	if n := int32(len(s.p.Destinations)); output >= n {
		v := s.heard[output-n]
		return []point{{v, s.should(v), s.puts(v, s.should(v))}}
	}
	return s.way(s.p.Destinations[output].Node, s.should)
}

// varsOf are the variables that an output hangs on: as it should be, and as it
// is.
func (s *show) varsOf(output int32) []int32 {
	if n := int32(len(s.p.Destinations)); output >= n {
		return s.heard[output-n : output-n+1]
	}
	node := s.p.Destinations[output].Node
	var all []int32
	for _, p := range append(s.way(node, s.should), s.way(node, s.value)...) {
		all = appendNew(all, p.v)
	}
	return all
}

// should is what the show last set a variable to, or its value when it never
// did.
func (s *show) should(v int32) uint32 {
	if f := &s.facts[v]; f.set {
		return f.wanted
	}
	return s.value(v)
}

// value is a variable's value.
func (s *show) value(v int32) uint32 { return s.m.L.Get(s.state, v) }
