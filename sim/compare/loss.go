package compare

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/state"
)

// outcome is how an action goes when a part is dead.
type outcome uint8

const (
	works outcome = iota
	fails
	blind // it is done, and there is no picture
)

// cripple is a rack with a dead part: the same tables, some cables cut.
type cripple struct {
	*rack
	part   *part
	dead   *program.Program
	routes *route.Finder // in dead; nil until there is something to rescue
	seen   *signal.Graph
	how    []outcome // by action
}

func (r *rack) lose(x *part) Loss {
	c := &cripple{rack: r, part: x, how: make([]outcome, len(r.p.Actions))}
	for i := range c.how {
		c.how[i] = c.outcome(int32(i))
	}
	c.dead = cutOff(r.p, x.cut)
	l := Loss{Nothing: []string{}, NoPicture: []string{}, InPart: []Partly{}, Works: []string{}}
	targets := c.targets()
	for i := range r.doers {
		c.sort(&r.doers[i], targets, &l)
	}
	l.Lost = c.lost()
	l.Instead = c.instead()
	return l
}

// cutOff is a program whose nodes in cut have nothing plugged in.
func cutOff(p *program.Program, cut []int32) *program.Program {
	dead := *p
	dead.Nodes = slices.Clone(p.Nodes)
	for _, n := range cut {
		dead.Nodes[n].Up = nil
	}
	return &dead
}

func (c *cripple) outcome(i int32) outcome {
	n := &c.needs[i]
	if c.part.device >= 0 && slices.Contains(n.devices, c.part.device) {
		return fails
	}
	if !slices.ContainsFunc(n.nodes, func(node int32) bool { return slices.Contains(c.part.cut, node) }) {
		return works
	}
	return blind
}

// targets are the things that actions which do not work would have set.
func (c *cripple) targets() map[int32]bool {
	all := map[int32]bool{}
	for i, how := range c.how {
		if how != works && c.needs[i].target >= 0 {
			all[c.needs[i].target] = true
		}
	}
	return all
}

// sort puts a button or cue where it belongs.
func (c *cripple) sort(d *doer, targets map[int32]bool, l *Loss) {
	var bad []string
	dark, near, good := false, false, d.more
	for _, a := range d.actions {
		if c.needs[a].broken {
			continue
		}
		near = near || targets[c.needs[a].target]
		if c.how[a] == works {
			good = true
			continue
		}
		dark = dark || c.how[a] == blind && c.p.Actions[a].Verb != program.Route && c.p.Actions[a].Verb != program.RouteTie
		bad = append(bad, c.action(a))
	}
	switch {
	case len(bad) == 0 && near:
		l.Works = append(l.Works, d.name)
	case len(bad) == 0:
		l.Others++
	case good:
		l.InPart = append(l.InPart, Partly{d.name, compact(bad)})
	case dark:
		l.NoPicture = append(l.NoPicture, d.name)
	default:
		l.Nothing = append(l.Nothing, d.name)
	}
}

func compact(list []string) (out []string) {
	for _, s := range list {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// lost is what cannot be seen or recorded any more.
func (c *cripple) lost() []Lost {
	all := []Lost{}
	after := reachIn(c.book, c.dead.Nodes, func(a int32) bool { return c.how[a] != fails })
	tell := func(name string, node int32) {
		had, has := c.reach.at(node), after.at(node)
		x := Lost{Name: name, All: len(has) == 0 && len(had) > 0}
		for _, s := range had {
			if !after.has(node, s) {
				x.Sources = append(x.Sources, c.p.Sources[s].Name)
			}
		}
		if len(x.Sources) > 0 {
			all = append(all, x)
		}
	}
	for i, d := range c.p.Destinations {
		tell(d.Name, d.Node)
		for _, leaf := range c.leaves[i] {
			if c.cutBetween(leaf, d.Node) {
				all = append(all, Lost{Name: d.Name + " at " + c.p.Devices[c.p.Nodes[leaf].Device].Name, Sources: []string{}, All: true})
			}
		}
	}
	for _, in := range c.p.Inputs {
		switch {
		case slices.ContainsFunc(c.p.Destinations, func(d program.Destination) bool { return d.Node == in.Node }):
		case in.Recorder >= 0:
			tell(c.p.Recorders[in.Recorder].Name, in.Node)
		default:
			tell(c.p.Encoders[in.Encoder].Name, in.Node)
		}
	}
	return all
}

// cutBetween says whether the part cuts the cables from a destination's node
// down to a leaf.
func (c *cripple) cutBetween(leaf, node int32) bool {
	for at := leaf; at != node; at = c.p.Nodes[at].Up[0] {
		if slices.Contains(c.part.cut, at) {
			return true
		}
	}
	return false
}

// instead looks for a way out for each picture that cannot be brought any more
// though both ends are well.
func (c *cripple) instead() []Instead {
	all := []Instead{}
	asked := map[string]bool{}
	for i := range c.p.Actions {
		a := &c.p.Actions[i]
		if c.how[i] == works || c.needs[i].broken || a.Device >= 0 && a.Device == c.part.device {
			continue
		}
		var x Instead
		var found bool
		switch a.Verb {
		case program.Route:
			x, found = c.otherRoute(int32(i))
		case program.CutTo, program.PresetTo:
			x, found = c.otherPick(int32(i))
		case program.RouteTie:
			x, found = c.otherTie(a)
		}
		if !found || asked[x.For] {
			continue
		}
		asked[x.For] = true
		all = append(all, x)
	}
	return all
}

// look makes the dead rack's finder and graph when they are first needed.
func (c *cripple) look() {
	if c.routes == nil {
		c.routes, c.seen = route.New(c.dead, c.l), signal.New(c.dead, c.l)
	}
}

// otherRoute finds another way of a picture to a destination.
func (c *cripple) otherRoute(i int32) (Instead, bool) {
	c.look()
	a := &c.p.Actions[i]
	to := c.p.Destinations[a.A].Node
	plan, no := c.routes.Find(c.start, c.graph, to, a.B)
	if no != nil {
		return Instead{}, false
	}
	dest := c.p.Destinations[a.A].Name
	x := Instead{For: c.node(a.B) + " on " + dest}
	if x.Press = c.press(c.needs[i].target, to, a.B); x.Press != "" {
		return x, true
	}
	last := c.node(a.B)
	for _, t := range plan.Ties {
		x.Salvo = append(x.Salvo, "route "+c.p.Ties[t].Name+" from "+last)
		last = c.p.Ties[t].Name
	}
	if len(plan.Ties) == 0 {
		for _, pt := range plan.Points {
			sw := &c.p.Switches[pt.Switch]
			x.Salvo = append(x.Salvo, "route "+sw.Name+" from "+sw.Picks[pt.Pick].Label)
		}
		return x, len(plan.Points) > 0
	}
	x.Salvo = append(x.Salvo, "route "+dest+" from "+last)
	return x, true
}

// otherPick brings a picture that a bank cannot pick any more over a tie line
// that it can.
func (c *cripple) otherPick(i int32) (Instead, bool) {
	c.look()
	a := &c.p.Actions[i]
	b := &c.p.Banks[a.A]
	nodes := c.chain(b.Picks[a.B].Node)
	if len(nodes) == 0 {
		return Instead{}, false
	}
	picture := nodes[len(nodes)-1]
	if c.p.Nodes[picture].Kind == program.SwitchNode {
		return Instead{}, false // a dead tie line: what was on it is not known
	}
	x := Instead{For: c.node(picture) + " on " + b.Name}
	if x.Press = c.press(c.needs[i].target, b.Node, picture); x.Press != "" {
		return x, true
	}
	for _, spoken := range [...]bool{false, true} { // lines that the show routes itself come last
		for t := range c.p.Ties {
			tie := &c.p.Ties[t]
			if c.spoken(int32(t)) != spoken || !slices.ContainsFunc(b.Picks, func(k program.Pick) bool { return k.Node == tie.Node }) ||
				!c.arrives(tie) {
				continue
			}
			if _, no := c.routes.Tie(c.start, c.graph, int32(t), picture); no == nil {
				x.Salvo = []string{"route " + tie.Name + " from " + c.node(picture), "cut " + b.Name + " to " + tie.Name}
				return x, true
			}
		}
	}
	return x, false
}

// otherTie brings a picture over another tie line to all banks that the show
// puts the dead one on.
func (c *cripple) otherTie(a *program.Action) (Instead, bool) {
	c.look()
	x := Instead{For: c.node(a.B) + " on " + c.p.Ties[a.A].Name}
	picks := func(b *program.Bank, tie int32) bool {
		return slices.ContainsFunc(b.Picks, func(k program.Pick) bool { return k.Node == c.p.Ties[tie].Node })
	}
	var banks []string
	fit := slices.Repeat([]bool{true}, len(c.p.Ties))
	for _, cut := range c.p.Actions {
		if cut.Verb != program.CutTo && cut.Verb != program.PresetTo {
			continue
		}
		b := &c.p.Banks[cut.A]
		if b.Picks[cut.B].Node != c.p.Ties[a.A].Node || slices.Contains(banks, b.Name) {
			continue
		}
		banks = append(banks, b.Name)
		for t := range fit {
			fit[t] = fit[t] && picks(b, int32(t))
		}
	}
	for t := range fit {
		if int32(t) == a.A || !fit[t] || len(banks) == 0 || !c.arrives(&c.p.Ties[t]) {
			continue
		}
		if _, no := c.routes.Tie(c.start, c.graph, int32(t), a.B); no == nil {
			x.Salvo = []string{"route " + c.p.Ties[t].Name + " from " + c.node(a.B)}
			for _, name := range banks {
				x.Salvo = append(x.Salvo, "cut "+name+" to "+c.p.Ties[t].Name)
			}
			return x, true
		}
	}
	return x, false
}

// spoken says whether the show routes a tie line by its name.
func (c *cripple) spoken(tie int32) bool {
	return slices.ContainsFunc(c.p.Actions, func(a program.Action) bool { return a.Verb == program.RouteTie && a.A == tie })
}

// arrives says whether what a tie line's switch shows still comes to its end.
func (c *cripple) arrives(t *program.Tie) bool {
	nodes := (&rack{version: &version{p: c.dead}}).chain(t.Node)
	return len(nodes) > 0 && nodes[len(nodes)-1] == c.p.Switches[t.Switch].Node
}

// press is a button that still works and brings the picture to the node: on a
// bank, to its program.
func (c *cripple) press(target, to, picture int32) string {
	for i := range c.doers {
		d := &c.doers[i]
		if d.isCue || !slices.ContainsFunc(d.actions, func(b int32) bool { return c.needs[b].target == target }) ||
			slices.ContainsFunc(d.actions, func(b int32) bool { return c.how[b] != works }) {
			continue
		}
		s := c.start.Clone()
		c.do(d, s)
		if c.now(s, to) == picture {
			return d.name
		}
	}
	return ""
}

// do does to a state what a button's actions do to pictures.
func (c *cripple) do(d *doer, s *state.State) {
	for _, i := range d.actions {
		switch a := &c.p.Actions[i]; a.Verb {
		case program.Route, program.RouteTie:
			c.set(c.rack.routes, s, a)
		case program.CutTo:
			c.l.Set(s, c.p.Banks[a.A].Program, uint32(a.B))
		}
	}
}

// now is where the picture at a node is made, in the dead rack. A bank's is
// that of its program.
func (c *cripple) now(s *state.State, node int32) int32 {
	c.seen.Look(s)
	if n := &c.p.Nodes[node]; n.Kind == program.BankNode {
		b := &c.p.Banks[n.Owner]
		node = b.Picks[c.l.Get(s, b.Program)].Node
	}
	return c.seen.Origin(node)
}
