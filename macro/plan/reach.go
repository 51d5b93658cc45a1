package plan

import (
	"fmt"
	"slices"

	"cuewright/macro/diag"
)

// Trace follows what arrives at an input upstream, through cables,
// converters, splitters, panels and loop-throughs, to the output where it is
// made, mixed or switched. It is nil when a cable is missing on the way or
// the way goes in a circle.
func Trace(in *Port) *Port {
	behind, step := in, 0
	for in.Cable != nil {
		out := in.Cable.From
		if out.Switch != nil || out.From == nil || out.From.Input == nil {
			return out
		}
		in = out.From.Input
		// One follows at half the pace; whoever goes in a circle meets it.
		if step++; step%2 == 0 {
			behind = behind.Cable.From.From.Input
		}
		if in == behind {
			return nil
		}
	}
	return nil
}

// naming gives every pick its names, and then reads the keyers' fills.
func (r *reader) naming() {
	for _, p := range r.picks {
		r.label(p)
	}
	for _, fill := range r.fills {
		fill()
	}
}

// label gives a pick its names and what people call it.
func (r *reader) label(p *Pick) {
	switch {
	case p.Feed.Source != nil:
		p.Names = []string{p.Feed.Source.Name}
	case p.Feed.Bank != nil:
		p.Names = []string{p.Feed.Bank.Name}
	default:
		p.Names = r.namesOf(p.Feed.Input)
		p.Label = fmt.Sprintf("input %d", p.Feed.Input.Number)
	}
	if len(p.Names) > 0 {
		p.Label = p.Names[0]
	}
}

// namesOf is what a show may call what reaches an input: the source or bank
// that is there whatever is switched, or the tie line that ends there.
func (r *reader) namesOf(in *Port) []string {
	if names, known := r.reach[in]; known {
		return names
	}
	var names []string
	switch out := Trace(in); {
	case out == nil:
	case out.Switch != nil:
		if out.Cable.Tie != nil {
			names = []string{out.Cable.Tie.Name}
		}
	case out.From == nil:
	case out.From.Source != nil:
		names = []string{out.From.Source.Name}
	case !out.From.Clean && !out.From.Preset:
		names = []string{out.From.Bank.Name}
	}
	r.reach[in] = names
	return names
}

// loops reports circles of cables with no switch and no bank in them.
func (r *reader) loops() {
	state := map[*Port]int{} // 1: on the way, 2: done
	var way []*Port
	var visit func(in *Port)
	visit = func(in *Port) {
		if state[in] == 1 {
			r.loop(way[slices.Index(way, in):])
		}
		if state[in] != 0 || in.Cable == nil {
			return
		}
		state[in] = 1
		way = append(way, in)
		for _, up := range dependsOn(in.Cable.From) {
			visit(up)
		}
		way = way[:len(way)-1]
		state[in] = 2
	}
	for _, c := range r.rack.Cables {
		visit(c.To)
	}
}

// dependsOn are the inputs that an output always shows: the one it passes on,
// and for a multiview every input of its mixer.
func dependsOn(out *Port) []*Port {
	switch {
	case out.From == nil || out.Switch != nil:
		return nil
	case out.From.Input != nil:
		return []*Port{out.From.Input}
	case out.From.Source != nil && out.From.Source.Picture == Multiview && out.From.Source.Port == nil:
		return out.From.Source.Device.Inputs
	}
	return nil
}

// loop reports one circle at its first cable.
func (r *reader) loop(circle []*Port) {
	first := circle[0]
	for _, in := range circle {
		if in.Cable.At.Start < first.Cable.At.Start {
			first = in
		}
	}
	d := diag.New("hard-loop", first.Cable.At, "this cable is part of a circle that no switch can open")
	for _, in := range circle {
		if in != first && len(d.Also) < 8 {
			d = d.With(in.Cable.At, "and so is this one")
		}
	}
	r.add(d.Mend("unplug one of them, or put a switch in between"))
}
