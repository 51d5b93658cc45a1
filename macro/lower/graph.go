package lower

import (
	"fmt"

	"cuewright/macro/plan"
	"cuewright/macro/program"
)

// noSignal is the node of "no signal", which comes before all others.
const noSignal int32 = 0

// graph says which node stands for what.
type graph struct {
	ports   map[*plan.Port]int32 // inputs, and outputs of every sort
	sources map[*plan.Source]int32
	banks   map[*plan.Bank]int32
	cleans  map[*plan.Bank]int32 // those that something shows
	presets map[*plan.Bank]int32
	ties    map[*plan.Tie]int32 // where the line ends
}

// feed is the node that a feed comes from.
func (g *graph) feed(f plan.Feed) int32 {
	switch {
	case f.Input != nil:
		return g.ports[f.Input]
	case f.Source != nil:
		return g.sources[f.Source]
	case f.Clean:
		return g.cleans[f.Bank]
	case f.Preset:
		return g.presets[f.Bank]
	case f.Bank != nil:
		return g.banks[f.Bank]
	}
	return noSignal
}

func (g *graph) fill(k *plan.Keyer) int32 {
	if k.Fill == nil {
		return noSignal
	}
	return g.feed(k.Fill.Feed)
}

// lowerGraph makes the nodes: device by device the inputs, the pictures made
// inside, the banks, the outputs. A port has a node when a cable is in it or
// something depends on it.
func (l *lowerer) lowerGraph() {
	l.graph = graph{ports: map[*plan.Port]int32{}, sources: map[*plan.Source]int32{}, banks: map[*plan.Bank]int32{},
		cleans: map[*plan.Bank]int32{}, presets: map[*plan.Bank]int32{}, ties: map[*plan.Tie]int32{}}
	need := l.needed()
	l.node(program.SourceNode, "no signal", 0, nil)
	for _, d := range l.rack.Devices {
		for _, in := range d.Inputs {
			if need.ports[in] {
				l.graph.ports[in] = l.node(program.PassNode, label(in), -1, d)
			}
		}
		l.inside(d, need)
		for _, out := range d.Outputs {
			if need.ports[out] {
				l.graph.ports[out] = l.output(out)
			}
		}
	}
	l.connect()
	l.endTies()
}

// node adds a node; what comes in is known later.
func (l *lowerer) node(kind program.NodeKind, label string, owner int32, d *plan.Device) int32 {
	l.p.Nodes = append(l.p.Nodes, program.Node{Kind: kind, Label: label, Owner: owner, Device: at(l.devices, d), Tie: -1})
	return int32(len(l.p.Nodes) - 1)
}

// label is a port in words: "mixer input 3".
func label(p *plan.Port) string {
	side := "input"
	if p.Output {
		side = "output"
	}
	return fmt.Sprintf("%s %s %d", p.Device.Name, side, p.Number)
}

// inside makes the nodes of what a device makes itself.
func (l *lowerer) inside(d *plan.Device, need needs) {
	for _, s := range l.rack.Sources {
		if s.Device == d && s.Port == nil {
			l.graph.sources[s] = l.node(program.SourceNode, s.Name, l.sources[s], d)
		}
	}
	for _, b := range l.rack.Banks {
		if b.Mixer != d {
			continue
		}
		own := l.banks[b]
		l.graph.banks[b] = l.node(program.BankNode, b.Name, own, d)
		if need.cleans[b] {
			l.graph.cleans[b] = l.node(program.CleanNode, b.Name+" clean", own, d)
		}
		if need.presets[b] {
			l.graph.presets[b] = l.node(program.PresetNode, b.Name+" preset", own, d)
		}
	}
}

// output makes the node of an output: its switch, its source, or a port that
// passes something on.
func (l *lowerer) output(out *plan.Port) int32 {
	switch {
	case out.Switch != nil:
		return l.node(program.SwitchNode, out.Switch.Name, l.switches[out.Switch], out.Device)
	case out.Source != nil:
		n := l.node(program.SourceNode, out.Source.Name, l.sources[out.Source], out.Device)
		l.graph.sources[out.Source] = n
		return n
	}
	return l.node(program.PassNode, label(out), -1, out.Device)
}

// needs is what must have a node.
type needs struct {
	ports           map[*plan.Port]bool
	cleans, presets map[*plan.Bank]bool
}

func (l *lowerer) needed() needs {
	n := needs{map[*plan.Port]bool{}, map[*plan.Bank]bool{}, map[*plan.Bank]bool{}}
	for _, d := range l.rack.Devices {
		for _, in := range d.Inputs {
			if in.Cable != nil || d.Kind == plan.Recorder || d.Kind == plan.Encoder {
				n.ports[in] = true
			}
		}
		for _, out := range d.Outputs {
			if out.Cable == nil && out.Switch == nil && out.Source == nil {
				continue
			}
			n.ports[out] = true
			if out.Switch != nil {
				n.picks(out.Switch.Picks)
			} else if out.From != nil {
				n.feed(*out.From)
			}
		}
	}
	for _, b := range l.rack.Banks {
		n.picks(b.Picks)
	}
	for _, k := range l.rack.Keyers {
		if k.Fill != nil {
			n.feed(k.Fill.Feed)
		}
	}
	for _, d := range l.rack.Destinations {
		n.ports[d.Input] = true
	}
	for _, t := range l.rack.Ties {
		n.ports[farEnds(t)[0]] = true
	}
	return n
}

func (n needs) picks(picks []*plan.Pick) {
	for _, p := range picks {
		n.feed(p.Feed)
	}
}

func (n needs) feed(f plan.Feed) {
	switch {
	case f.Input != nil:
		n.ports[f.Input] = true
	case f.Clean:
		n.cleans[f.Bank] = true
	case f.Preset:
		n.presets[f.Bank] = true
	}
}

// connect says where the picture at each node can come from.
func (l *lowerer) connect() {
	up := func(node int32, from ...int32) {
		l.p.Nodes[node].Up = append(l.p.Nodes[node].Up, from...)
	}
	picks := func(node int32, picks []*plan.Pick) {
		for _, p := range l.picks(picks) {
			up(node, p.Node)
		}
	}
	for _, d := range l.rack.Devices {
		for _, in := range d.Inputs {
			if node, ok := l.graph.ports[in]; ok && in.Cable != nil {
				up(node, l.graph.ports[in.Cable.From])
			}
		}
		for _, out := range d.Outputs {
			node, ok := l.graph.ports[out]
			switch {
			case !ok || out.Source != nil:
			case out.Switch != nil:
				picks(node, out.Switch.Picks)
			case out.From != nil:
				up(node, l.graph.feed(*out.From))
			}
		}
	}
	for _, b := range l.rack.Banks {
		picks(l.graph.banks[b], b.Picks)
		for _, k := range b.Keyers {
			up(l.graph.banks[b], l.graph.fill(k))
		}
		for _, others := range []map[*plan.Bank]int32{l.graph.cleans, l.graph.presets} {
			if node, ok := others[b]; ok {
				picks(node, b.Picks)
			}
		}
	}
	for _, s := range l.rack.Sources {
		if s.Picture != plan.Multiview {
			continue
		}
		for _, in := range s.Device.Inputs {
			if node, ok := l.graph.ports[in]; ok {
				up(l.graph.sources[s], node)
			}
		}
	}
}

// endTies marks the nodes where tie lines end.
func (l *lowerer) endTies() {
	for _, t := range l.rack.Ties {
		ends := farEnds(t)
		l.graph.ties[t] = l.graph.ports[ends[0]]
		for _, end := range ends {
			if node, ok := l.graph.ports[end]; ok {
				l.p.Nodes[node].Tie = l.ties[t]
			}
		}
	}
}

// farEnds are the inputs of switching devices that a tie line reaches, through
// panels, converters and splitters; where there are none, the cable's end.
func farEnds(t *plan.Tie) []*plan.Port {
	var ends []*plan.Port
	seen := map[*plan.Port]bool{}
	var walk func(in *plan.Port)
	walk = func(in *plan.Port) {
		if seen[in] {
			return
		}
		seen[in] = true
		if in.Device.Kind == plan.Mixer || in.Device.Kind == plan.Router {
			ends = append(ends, in)
			return
		}
		for _, out := range in.Device.Outputs {
			if out.From != nil && out.From.Input == in && out.Cable != nil {
				walk(out.Cable.To)
			}
		}
	}
	walk(t.Cable.To)
	if len(ends) == 0 {
		ends = append(ends, t.Cable.To)
	}
	return ends
}
