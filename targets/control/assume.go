package control

import (
	"cuewright/macro/program"
	"cuewright/targets/surface"
)

// sureness says, of a condition that has come true or not, whether devices say
// so: " (seen)", " (assumed: …)" with the first thing that no device has said,
// or "" when the condition is about the show itself.
func (s *show) sureness(cond int32) string {
	seen := false
	for _, v := range s.asks(cond, nil) {
		switch name := s.p.Vars[v].Name; s.howKnown(v) {
		case surface.Assumed:
			return " (assumed: the plan does not say how `" + name + "` is heard)"
		case surface.Unheard:
			return " (assumed: the device has not said so of `" + name + "`)"
		default:
			seen = true
		}
	}
	if seen {
		return " (seen)"
	}
	return ""
}

// asks appends the variables of devices that a condition depends on now.
func (s *show) asks(cond int32, all []int32) []int32 {
	picture := func(destination int32) {
		for _, p := range s.way(s.p.Destinations[destination].Node, s.value) {
			all = appendNew(all, p.v)
		}
	}
	switch x := &s.p.Conds[cond]; x.Op {
	case program.Not:
		return s.asks(x.L, all)
	case program.And, program.Or:
		return s.asks(x.R, s.asks(x.L, all))
	case program.In:
		if ofDevice(s.p.Vars[x.A].Kind) {
			all = appendNew(all, x.A)
		}
	case program.Shows, program.ShowsNode:
		picture(x.A)
	case program.SourceOnAir:
		for i := range s.p.Destinations {
			if s.p.Destinations[i].OnAir != program.NeverOnAir {
				picture(int32(i))
			}
		}
	}
	return all
}
