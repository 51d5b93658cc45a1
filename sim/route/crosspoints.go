package route

import (
	"cmp"
	"slices"

	"cuewright/macro/program"
)

// Crosspoints lists every crosspoint that any route of the program, or safe
// picture after a power cut, can ever send, in rising order of switch and pick: their messages are rendered
// ahead.
func (f *Finder) Crosspoints() []program.Command {
	type pair struct{ own, picture int32 }
	asked := map[pair]bool{}
	could := map[Point]bool{}
	ask := func(to, picture int32) {
		if f.NoPath(to, picture) {
			return
		}
		own := f.switchAt(f.above(to, picture))
		if own >= 0 && !asked[pair{own, picture}] {
			asked[pair{own, picture}] = true
			f.everyWay(own, picture, could)
		}
	}
	for _, a := range f.p.Actions {
		switch a.Verb {
		case program.Route:
			ask(f.p.Destinations[a.A].Node, a.B)
		case program.RouteTie:
			ask(f.tieEnd(a.A), a.B)
		}
	}
	for _, d := range f.p.Destinations {
		if d.AfterCut == program.SafePicture {
			ask(d.Node, d.Safe)
		}
	}
	all := make([]program.Command, 0, len(could))
	for pt := range could {
		all = append(all, program.Command{Verb: program.Crosspoint, A: pt.Switch, B: pt.Pick})
	}
	slices.SortFunc(all, func(a, b program.Command) int { return cmp.Or(cmp.Compare(a.A, b.A), cmp.Compare(a.B, b.B)) })
	return all
}

// everyWay adds each crosspoint that can bring a picture towards a switch.
func (f *Finder) everyWay(own, picture int32, could map[Point]bool) {
	seen := map[int32]bool{own: true}
	for todo := []int32{own}; len(todo) > 0; {
		sw := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for i, pick := range f.p.Switches[sw].Picks {
			if !f.canBring(picture, pick.Node) {
				continue
			}
			could[Point{sw, int32(i)}] = true
			if up := f.switchAt(f.above(pick.Node, picture)); up >= 0 && !seen[up] {
				seen[up] = true
				todo = append(todo, up)
			}
		}
	}
}
