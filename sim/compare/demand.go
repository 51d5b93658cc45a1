package compare

import (
	"cmp"
	"slices"
	"strconv"

	"cuewright/macro/program"
)

// Demand is a picture that the show routes to a destination, or onto a tie
// line that it names. Destinations that are fed by one switch share their
// demands, and never want two at once.
type Demand struct {
	Destinations []int32 // Program.Destinations
	Tie          int32   // or Program.Ties, when it is named; else -1
	Picture      int32   // Program.Nodes
	Actions      []int32 // Program.Actions that ask for it
	own          int32   // Program.Switches: the last before the destination
}

// Demands lists what a show routes, in the order of its actions. Routes that
// need no switch, or have no way at all, are none.
func Demands(p *program.Program) []Demand {
	var all []Demand
	for i := range p.Actions {
		a := &p.Actions[i]
		to := int32(-1)
		d := Demand{Tie: -1, Picture: a.B, Actions: []int32{int32(i)}}
		switch a.Verb {
		case program.Route:
			to = p.Destinations[a.A].Node
			d.Destinations = []int32{a.A}
		case program.RouteTie:
			to = p.Switches[p.Ties[a.A].Switch].Node
			d.Tie = a.A
		default:
			continue
		}
		last := above(p, to, a.B)
		if last < 0 || last == a.B || p.Nodes[last].Kind != program.SwitchNode || len(ways(p, to, a.B)) == 0 {
			continue
		}
		d.own = p.Nodes[last].Owner
		same := slices.IndexFunc(all, func(x Demand) bool { return x.own == d.own && x.Picture == d.Picture && x.Tie == d.Tie })
		if same < 0 {
			all = append(all, d)
			continue
		}
		x := &all[same]
		x.Actions = append(x.Actions, int32(i))
		if len(d.Destinations) > 0 && !slices.Contains(x.Destinations, d.Destinations[0]) {
			x.Destinations = append(x.Destinations, d.Destinations[0])
		}
	}
	return all
}

// Independent says that any two demands can be live together but those on one
// switch: what is assumed when nothing better is known of a show.
func Independent(demands []Demand) func(a, b int) bool {
	return func(a, b int) bool { return demands[a].own != demands[b].own }
}

// hop is one switch of a way and what it shows there: the switch before it as
// -1-switch, or for the first of the way the number of its pick.
type hop struct{ sw, shows int32 }

// mostWays is the most ways that are looked at for one demand. Where there are
// more, nothing is said to be impossible.
const mostWays = 2048

// waysOf lists every way of a picture to a switch, from the switch up, short
// ones first; where the switch has the picture by a cable, that one way alone.
// All is false when there are more than are listed.
func waysOf(p *program.Program, own, picture int32) (list [][]hop, all bool) {
	all = true
	used := map[int32]bool{}
	var way []hop
	steps := 64 * mostWays
	var climb func(sw int32)
	climb = func(sw int32) {
		if steps--; steps < 0 || len(list) > mostWays {
			all = false
			return
		}
		used[sw] = true
		for i, up := range p.Nodes[p.Switches[sw].Node].Up {
			at := above(p, up, picture)
			switch {
			case at == picture:
				list = append(list, append(slices.Clone(way), hop{sw, int32(i)}))
			case at >= 0 && p.Nodes[at].Kind == program.SwitchNode && !used[p.Nodes[at].Owner]:
				way = append(way, hop{sw, -1 - p.Nodes[at].Owner})
				climb(p.Nodes[at].Owner)
				way = way[:len(way)-1]
			}
		}
		used[sw] = false
	}
	climb(own)
	slices.SortStableFunc(list, func(a, b []hop) int { return cmp.Compare(len(a), len(b)) })
	if len(list) > 0 && len(list[0]) == 1 {
		return list[:1], true
	}
	return list, all
}

// kinds numbers the switches so that two of one number can stand in for each
// other: they take the same pictures to the same switches.
func kinds(p *program.Program) []int32 {
	out := make([]int32, len(p.Switches))
	known := map[string]int32{}
	for s := range p.Switches {
		name := ""
		add := func(n int32) { name += strconv.Itoa(int(n)) + "," }
		for _, up := range p.Nodes[p.Switches[s].Node].Up {
			add(up)
		}
		name += ";"
		for t := range p.Switches {
			if slices.ContainsFunc(p.Nodes[p.Switches[t].Node].Up, func(up int32) bool { return above(p, up, -1) == p.Switches[s].Node }) {
				add(int32(t))
			}
		}
		k, ok := known[name]
		if !ok {
			k = int32(len(known))
			known[name] = k
		}
		out[s] = k
	}
	return out
}
