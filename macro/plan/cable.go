package plan

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
)

// cable reads one cable and plugs it in.
func (r *reader) cable(n *node) {
	f, ok := r.fields(n, "a cable", "from", "to", "tie", "type", "length")
	if !ok {
		r.loose = true
		return
	}
	c := &Cable{At: n.at}
	if t := f.get("type"); t != nil {
		c.Type, _ = r.words(t, "the type of the cable")
	}
	if t := f.get("length"); t != nil {
		c.Length = r.metres(t)
	}
	from, to := f.need("from", "a cable goes from an output"), f.need("to", "a cable goes to an input")
	if from != nil {
		c.From = r.end(from, true)
	}
	if to != nil {
		c.To = r.end(to, false)
	}
	tie := f.get("tie")
	named := tie != nil && r.fresh(tie)
	r.misnamed[c] = tie != nil && !named
	if !r.plugged(c) {
		return
	}
	r.rack.Cables = append(r.rack.Cables, c)
	if named {
		t := &Tie{Name: tie.text, Index: len(r.rack.Ties), Switch: c.From.Switch, Cable: c, At: tie.at}
		c.Tie = t
		r.rack.Ties = append(r.rack.Ties, t)
		r.rack.Names[t.Name] = &Entry{Name: t.Name, Kind: noun.Tie, At: t.At, Tie: t}
	}
}

// metres is the length of a cable.
func (r *reader) metres(n *node) float64 {
	text, ok := r.words(n, "the length of the cable")
	if !ok {
		return 0
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= 0 && v <= 1e5) {
		r.lose(diag.New("bad-number", n.at, "the length of the cable is `%s`, not a number of metres", text))
		return 0
	}
	return v
}

// plugged puts a cable into its ports. It says false when one is not known or
// taken; then the other is marked, so that nothing more is said about it.
func (r *reader) plugged(c *Cable) bool {
	if c.From == nil || c.To == nil {
		for _, p := range []*Port{c.From, c.To} {
			if p != nil {
				r.ports[p] = true
			}
		}
		return false
	}
	if first := c.To.Cable; first != nil {
		r.lose(diag.New("input-taken", c.At, "a cable from `%s` is in %s already", first.From.short(), c.To.label()).
			With(first.At, "the first cable"))
		r.ports[c.From] = true
		return false
	}
	if first := c.From.Cable; first != nil {
		r.lose(diag.New("output-taken", c.At, "a cable to `%s` is in %s already", first.To.short(), c.From.label()).
			With(first.At, "the first cable").
			Mend("put a splitter between `%s` and the two", c.From.short()))
		r.ports[c.To] = true
		return false
	}
	c.From.Cable, c.To.Cable = c, c
	return true
}

// end reads an end of a cable: `device.3`, or `device` when it has one such
// port.
func (r *reader) end(n *node, output bool) *Port {
	text, ok := r.words(n, "the end of a cable")
	if !ok {
		r.loose = true
		return nil
	}
	name, number, numbered := strings.Cut(text, ".")
	d := r.deviceNamed(n.at, name, "a device")
	switch {
	case d == nil:
		r.loose = r.loose || !output && !r.rack.Lost[name]
		return nil
	case r.broken[d]:
		return nil
	}
	var bad diag.Diagnostic
	side, ports := "input", d.Inputs
	if output {
		side, ports = "output", d.Outputs
	}
	if numbered {
		v, err := strconv.Atoi(number)
		if p := numberedPort(ports, v); err == nil && p != nil {
			return p
		}
		if bad = diag.New("unknown-port", n.at, "`%s` has no %s `%s`", name, side, number); len(ports) > 0 {
			bad = bad.Mend("its %ss are %s", side, runs(ports))
		}
	} else {
		if len(ports) == 1 {
			return ports[0]
		}
		bad = diag.New("unknown-port", n.at, "`%s` has %s", name, count(len(ports), side))
		for _, p := range ports[:min(4, len(ports))] {
			bad = bad.Replace(n.at, p.short(), false, "write `%s`", p.short())
		}
	}
	r.unsure[d] = r.unsure[d] || !output
	r.lose(bad)
	return nil
}

// count is "no output", "3 outputs".
func count(n int, what string) string {
	if n == 0 {
		return "no " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// runs lists port numbers: "1-6, 8".
func runs(ports []*Port) string {
	var parts []string
	for i := 0; i < len(ports); {
		j := i
		for j+1 < len(ports) && ports[j+1].Number == ports[j].Number+1 {
			j++
		}
		if i == j {
			parts = append(parts, strconv.Itoa(ports[i].Number))
		} else {
			parts = append(parts, fmt.Sprintf("%d-%d", ports[i].Number, ports[j].Number))
		}
		i = j + 1
	}
	return strings.Join(parts, ", ")
}

// deviceNamed is the device of a name; wanted says what should stand there.
func (r *reader) deviceNamed(at source.Span, name, wanted string) *Device {
	e := r.rack.Names[name]
	if e != nil && e.Device != nil {
		return e.Device
	}
	if r.rack.Lost[name] && e == nil {
		r.rack.Partial = true
		return nil
	}
	d := diag.New("unknown-device", at, "there is no device `%s`", name)
	if e != nil {
		d = diag.New("unknown-device", at, "`%s` is %s, not %s", name, e.Kind.A(), wanted).With(e.At, "here")
	}
	for _, near := range r.near(name, r.named(noun.Device)) {
		d = d.Replace(r.src.At(int(at.Start), int(at.Start)+len(name)), near, false, "write `%s`", near)
	}
	r.lose(d)
	return nil
}

// ties checks that each tie line is one, and that each line between two
// switching devices has a name.
func (r *reader) ties() {
	excused := map[*Cable]bool{} // its name stands on another cable
	for _, c := range r.rack.Cables {
		switch {
		case c.Tie == nil:
		case c.From.Switch == nil && c.From.From == nil: // after a mistake
			r.untie(c)
		case c.From.Switch == nil:
			if up := Trace(c.To); up != nil && up.Switch != nil {
				excused[up.Cable] = true
			}
			r.misplaced(c, fmt.Sprintf("%s cannot be switched", c.From.label()))
		case switching(c.To, map[*Port]bool{}) == nil:
			r.misplaced(c, "it does not lead to a mixer or router")
		}
	}
	for _, c := range r.rack.Cables {
		if c.Tie != nil || c.From.Switch == nil || excused[c] {
			continue
		}
		if end := switching(c.To, map[*Port]bool{}); end != nil && !r.misnamed[c] {
			r.add(diag.New("tie-unnamed", c.At, "this cable brings what `%s` selects to %s, and has no name", c.From.Switch.Name, end.label()).
				Mend("write `tie: %s_to_%s`, or a better name", c.From.Device.Name, end.Device.Name))
		}
	}
}

func (r *reader) misplaced(c *Cable, because string) {
	d := diag.New("tie-misplaced", c.Tie.At, "`%s` is no tie line: %s", c.Tie.Name, because)
	if up := Trace(c.To); up != nil && up.Switch != nil && up.Cable != c {
		d = d.With(up.Cable.At, "the name belongs to this cable")
	}
	r.lose(d.Mend("delete `tie: %s`", c.Tie.Name))
	r.untie(c)
}

// untie takes a tie line out of the rack; its cable stays.
func (r *reader) untie(c *Cable) {
	r.rack.Partial = true
	r.rack.Ties = removed(r.rack.Ties, c.Tie)
	delete(r.rack.Names, c.Tie.Name)
	c.Tie = nil
}

// removed is ties without one, numbered anew.
func removed(ties []*Tie, one *Tie) []*Tie {
	var rest []*Tie
	for _, t := range ties {
		if t != one {
			t.Index = len(rest)
			rest = append(rest, t)
		}
	}
	return rest
}

// switching is the input of a mixer or router that a signal at an input
// reaches without being switched again, or nil.
func switching(in *Port, seen map[*Port]bool) *Port {
	if in.Device.Kind == Mixer || in.Device.Kind == Router {
		return in
	}
	if seen[in] {
		return nil
	}
	seen[in] = true
	for _, out := range in.Device.Outputs {
		if out.From != nil && out.From.Input == in && out.Cable != nil {
			if end := switching(out.Cable.To, seen); end != nil {
				return end
			}
		}
	}
	return nil
}
