package compare

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/state"
)

// Loss is what happens when one part of the rack dies and the show goes on as
// if it had not. Parts are those with these very consequences: any one of
// them. Its JSON field names are stable, and lists are in the order of the
// files.
type Loss struct {
	Parts     []string  `json:"parts"`
	Nothing   []string  `json:"do_nothing"`       // buttons and cues that do nothing
	NoPicture []string  `json:"bring_no_picture"` // that put nothing in the place of a picture
	InPart    []Partly  `json:"in_part"`
	Lost      []Lost    `json:"lost"`
	Works     []string  `json:"still_work"` // on the same banks and destinations
	Others    int       `json:"others"`     // buttons and cues that have nothing to do with it
	Instead   []Instead `json:"instead"`
}

// Partly is a button or cue that does a part of what it should.
type Partly struct {
	Name  string   `json:"name"`
	Fails []string `json:"fails"`
}

// Lost is a destination, recorder or encoder and the sources that cannot be
// there any more. All says that none can.
type Lost struct {
	Name    string   `json:"name"`
	Sources []string `json:"sources"`
	All     bool     `json:"all"`
}

// Instead rescues something that does not work: a button to press, or a salvo
// to write. Neither means that the rack has no other way.
type Instead struct {
	For   string   `json:"for"`
	Press string   `json:"press,omitempty"`
	Salvo []string `json:"salvo,omitempty"`
}

// Harmless says that nothing is lost and every button works.
func (l *Loss) Harmless() bool {
	return len(l.Nothing)+len(l.NoPicture)+len(l.InPart)+len(l.Lost) == 0
}

// part is a thing that can die: nodes whose cable is cut, and a device that
// does not answer.
type part struct {
	name   string
	device int32
	cut    []int32
}

// doer is a button or cue and all that it can do.
type doer struct {
	name    string
	actions []int32
	more    bool // it also turns pages or fires whatever cue is next
	isCue   bool
}

// rack is a program at power-on, with what is worked out once for all parts.
type rack struct {
	*version
	start  *state.State
	routes *route.Finder
	graph  *signal.Graph
	doers  []doer
	needs  []need // by action
	book   *wayBook
	reach  *reach
	leaves [][]int32 // by destination: where its picture goes on to by cables
}

// need is what an action needs: devices that obey, and nodes with a cable.
// Target is the variable that it sets, so that two actions on one thing are
// known; it is -1 for none.
type need struct {
	devices []int32
	nodes   []int32
	target  int32
	broken  bool // it cannot be done even when all is well
}

// Spare says what each single device, cable and tie line takes with it when
// it dies, in the order of the plan: devices, then tie lines, then cables.
// What has the same consequences is told once. Routes are taken as they would
// be found at power-on.
func Spare(p *program.Program) []Loss {
	v := newVersion(p)
	r := &rack{version: v, start: v.l.Start(p), routes: route.New(p, v.l), graph: signal.New(p, v.l)}
	for i := range p.Actions {
		r.needs = append(r.needs, r.need(int32(i)))
	}
	r.doers = v.doers()
	r.book = newWayBook(p)
	r.reach = reachIn(r.book, p.Nodes, everything)
	r.leaves = r.allLeaves()
	var all []Loss
	same := map[string]int{}
	for _, x := range v.allParts() {
		l := r.lose(&x)
		key := fmt.Sprintf("%q", []any{l.Nothing, l.NoPicture, l.InPart, l.Lost, l.Instead})
		if i, ok := same[key]; ok {
			all[i].Parts = append(all[i].Parts, x.name)
			continue
		}
		same[key] = len(all)
		l.Parts = []string{x.name}
		all = append(all, l)
	}
	return all
}

// allLeaves are the last nodes that each destination's picture goes on to by
// cables: displays behind a splitter that is the destination.
func (r *rack) allLeaves() [][]int32 {
	goesOn := make([]bool, len(r.p.Nodes))
	for _, n := range r.p.Nodes {
		for _, up := range n.Up {
			goesOn[up] = true
		}
	}
	all := make([][]int32, len(r.p.Destinations))
	for n := range r.p.Nodes {
		if goesOn[n] || r.p.Nodes[n].Device < 0 {
			continue
		}
		chain := r.chain(int32(n))
		for d := range r.p.Destinations {
			if node := r.p.Destinations[d].Node; node != int32(n) && slices.Contains(chain, node) {
				all[d] = append(all[d], int32(n))
			}
		}
	}
	return all
}

// allParts are all things that can die.
func (v *version) allParts() (all []part) {
	ties := v.tieCables()
	for d := range v.p.Devices {
		x := part{name: v.p.Devices[d].Name, device: int32(d)}
		for n := range v.p.Nodes {
			if up := v.cable(int32(n)); up >= 0 && (v.p.Nodes[n].Device == int32(d) || v.p.Nodes[up].Device == int32(d)) {
				x.cut = append(x.cut, int32(n))
			}
		}
		all = append(all, x)
	}
	for t := range v.p.Ties {
		x := part{name: "tie line " + v.p.Ties[t].Name, device: -1}
		for n := range v.p.Nodes {
			if ties[int32(n)] == int32(t)+1 {
				x.cut = append(x.cut, int32(n))
			}
		}
		all = append(all, x)
	}
	for n := range v.p.Nodes {
		if up := v.cable(int32(n)); up >= 0 && ties[int32(n)] == 0 {
			all = append(all, part{name: "cable " + v.p.Nodes[up].Label + " → " + v.p.Nodes[n].Label, device: -1, cut: []int32{int32(n)}})
		}
	}
	return all
}

// cable is the node at the near end of the cable that is plugged in at a
// node, or -1. Ports of one device are joined inside it, but for a switch,
// whose node is the port itself.
func (v *version) cable(node int32) int32 {
	n := &v.p.Nodes[node]
	if n.Kind != program.PassNode || len(n.Up) == 0 || n.Up[0] < 0 {
		return -1
	}
	up := &v.p.Nodes[n.Up[0]]
	if up.Device == n.Device && up.Kind != program.SwitchNode {
		return -1
	}
	return n.Up[0]
}

// tieCables says of each node at the end of a tie line's cable which line it
// is of, counted from 1.
func (v *version) tieCables() map[int32]int32 {
	of := map[int32]int32{}
	for n := range v.p.Nodes {
		tie := v.p.Nodes[n].Tie
		for at := int32(n); tie >= 0 && v.p.Nodes[at].Kind == program.PassNode && len(v.p.Nodes[at].Up) > 0; at = v.p.Nodes[at].Up[0] {
			if v.cable(at) >= 0 {
				of[at] = tie + 1
			}
		}
	}
	return of
}

// doers are the buttons and cues with the actions that they can do.
func (v *version) doers() (all []doer) {
	for i, b := range v.p.Buttons {
		d := doer{name: strings.TrimPrefix(v.button(int32(i)), "button ")}
		seen := map[[2]int32]bool{}
		for _, t := range []int32{b.Press, b.Hold, b.Release} {
			v.gather(&d, t, 0, seen)
		}
		all = append(all, d)
	}
	for i, c := range v.p.Cues {
		d := doer{name: v.cueWords(int32(i)), isCue: true}
		v.gather(&d, c.Task, 0, map[[2]int32]bool{})
		all = append(all, d)
	}
	return all
}

// gather adds what one entry of a task can do, and all that it runs.
func (v *version) gather(d *doer, task, entry int32, seen map[[2]int32]bool) {
	if task < 0 || seen[[2]int32{task, entry}] {
		return
	}
	seen[[2]int32{task, entry}] = true
	add := func(actions ...int32) {
		for _, a := range actions {
			if !slices.Contains(d.actions, a) {
				d.actions = append(d.actions, a)
			}
		}
	}
	from, to := v.p.CodeOfEntry(task, entry)
	for _, in := range v.p.Code[from:to] {
		switch in.Op {
		case program.Do:
			add(in.A)
		case program.Fire:
			add(v.p.Salvos[in.A].Actions...)
		case program.Run:
			v.gather(d, in.A, in.C, seen)
		case program.GoCue:
			if in.A >= 0 {
				v.gather(d, v.p.Cues[in.A].Task, 0, seen)
			} else {
				d.more = true
			}
		case program.Turn:
			d.more = true
		}
	}
}

// need works out what an action needs while all is well.
func (r *rack) need(i int32) need {
	a := &r.p.Actions[i]
	n := need{target: -1}
	if a.Device >= 0 {
		n.devices = []int32{a.Device}
	}
	switch a.Verb {
	case program.CutTo, program.PresetTo:
		n.target = r.p.Banks[a.A].Program
		n.nodes = r.chain(r.p.Banks[a.A].Picks[a.B].Node)
	case program.Take, program.Mix, program.Wipe, program.Fade:
		n.target = r.p.Banks[a.A].Program
	case program.KeyTo:
		n.target = r.p.Keyers[a.A].On
		if a.B == 1 {
			n.nodes = r.chain(r.p.Keyers[a.A].Fill)
		}
	case program.Route, program.RouteTie:
		r.needRoute(&n, a)
	}
	return n
}

// needRoute is what a route needs on the way that it takes at power-on.
func (r *rack) needRoute(n *need, a *program.Action) {
	to := int32(0)
	if a.Verb == program.Route {
		n.target = r.p.Destinations[a.A].Protect
		to = r.p.Destinations[a.A].Node
	} else {
		n.target = r.p.Switches[r.p.Ties[a.A].Switch].Var
		to = r.p.Ties[a.A].Node
	}
	s := r.start.Clone()
	if !r.set(r.routes, s, a) {
		n.broken = true
		return
	}
	for range r.p.Nodes {
		n.nodes = append(n.nodes, to)
		x := &r.p.Nodes[to]
		if to == a.B {
			return
		}
		switch {
		case x.Kind == program.SwitchNode:
			sw := &r.p.Switches[x.Owner]
			n.devices = append(n.devices, sw.Device)
			to = sw.Picks[r.l.Get(s, sw.Var)].Node
		case x.Kind == program.PassNode && len(x.Up) > 0:
			to = x.Up[0]
		default:
			return
		}
	}
}

// set does a route to a state. It says false where there is no way.
func (r *rack) set(f *route.Finder, s *state.State, a *program.Action) bool {
	var plan route.Plan
	var no *route.Refusal
	if a.Verb == program.RouteTie {
		plan, no = f.Tie(s, r.graph, a.A, a.B)
	} else {
		plan, no = f.Find(s, r.graph, r.p.Destinations[a.A].Node, a.B)
	}
	if no != nil {
		return false
	}
	for _, pt := range plan.Points {
		r.l.Set(s, r.p.Switches[pt.Switch].Var, uint32(pt.Pick))
	}
	return true
}

// chain is the nodes from one up along cables to where its picture comes
// from; none where nothing is plugged in.
func (r *rack) chain(node int32) (nodes []int32) {
	for range r.p.Nodes {
		nodes = append(nodes, node)
		x := &r.p.Nodes[node]
		if x.Kind != program.PassNode {
			return nodes
		}
		if len(x.Up) == 0 || x.Up[0] < 0 {
			return nil
		}
		node = x.Up[0]
	}
	return nil
}
