package signal

import "cuewright/macro/program"

// Holds says whether condition c holds in this state; -1 never does.
func (g *Graph) Holds(c int32) bool {
	if c < 0 {
		return false
	}
	n := &g.p.Conds[c]
	if g.Ask != nil && n.Op != program.Const && n.Op != program.Not && n.Op != program.And && n.Op != program.Or {
		if holds, known := g.Ask(n); known {
			return holds
		}
	}
	switch n.Op {
	case program.Const:
		return n.A != 0
	case program.Not:
		return !g.Holds(n.L)
	case program.And:
		return g.Holds(n.L) && g.Holds(n.R)
	case program.Or:
		return g.Holds(n.L) || g.Holds(n.R)
	case program.In:
		return inSet(g.p.Sets[n.B], g.l.Get(g.s, n.A))
	case program.Shows:
		return g.At(g.p.Destinations[n.A].Node).Has(n.B)
	case program.ShowsNode:
		return g.ThroughNode(g.p.Destinations[n.A].Node, n.B)
	case program.SourceOnAir:
		return g.OnAir().Has(n.A)
	case program.Running:
		at := g.p.Tasks[n.A].At
		return at >= 0 && g.l.Get(g.s, at) != 0
	}
	return false
}

func inSet(set []uint32, v uint32) bool {
	return int(v/32) < len(set) && set[v/32]>>(v%32)&1 != 0
}
