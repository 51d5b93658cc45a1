package route

import (
	"slices"

	"cuewright/macro/program"
)

// Ways are all ways that Find can ever give for a picture and a node, in any
// state: those of one crosspoint when there are any, since one of these is
// always free, else all that come by no switch twice. It says false when there
// are more than most.
func (f *Finder) Ways(to, picture int32, most int) ([]Plan, bool) {
	if f.NoPath(to, picture) {
		return nil, true
	}
	last := f.above(to, picture)
	if last == picture {
		return []Plan{{}}, true
	}
	w := wayFinder{f: f, picture: picture, most: most}
	w.from(f.switchAt(last), 1)
	if len(w.found) == 0 {
		w.from(f.switchAt(last), len(f.p.Switches))
	}
	return w.found, len(w.found) <= most
}

// wayFinder goes up from a switch to a picture by all ways.
type wayFinder struct {
	f       *Finder
	picture int32
	most    int
	points  []Point // so far, from the destination up
	found   []Plan
}

// from goes on at a switch, over so many crosspoints more.
func (w *wayFinder) from(sw int32, left int) {
	if sw < 0 || left == 0 || len(w.found) > w.most || slices.ContainsFunc(w.points, func(p Point) bool { return p.Switch == sw }) {
		return
	}
	for i, pick := range w.f.p.Switches[sw].Picks {
		if !w.f.canBring(w.picture, pick.Node) {
			continue
		}
		w.points = append(w.points, Point{sw, int32(i)})
		if up := w.f.above(pick.Node, w.picture); up == w.picture {
			w.found = append(w.found, w.plan())
		} else {
			w.from(w.f.switchAt(up), left-1)
		}
		w.points = w.points[:len(w.points)-1]
	}
}

// plan is the way found, in the order of a Plan.
func (w *wayFinder) plan() Plan {
	p := Plan{Points: slices.Clone(w.points)}
	for _, point := range p.Points {
		at := w.f.p.Switches[point.Switch].Picks[point.Pick].Node
		for at != w.picture && w.f.p.Nodes[at].Kind == program.PassNode {
			if tie := w.f.p.Nodes[at].Tie; tie >= 0 {
				p.Ties = append(p.Ties, tie)
			}
			at = w.f.p.Nodes[at].Up[0]
		}
	}
	slices.Reverse(p.Points)
	slices.Reverse(p.Ties)
	return p
}
