package compare

import (
	"cmp"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/story"
)

// fact is a thing of the plan and all that the operator can notice of it.
type fact struct {
	name  string
	at    program.Place
	lines []line
}

// put adds what there is to notice; what is empty is left out.
func (f *fact) put(format string, args ...any) {
	f.lines = append(f.lines, line{fmt.Sprintf(format, args...), f.at})
}

// facts are the things of a version's plan, in its order.
func (v *version) facts() []fact {
	var all []fact
	add := func(kind, name string, at program.Place, fill func(f *fact)) {
		f := fact{name: kind + " " + name, at: at}
		if fill != nil {
			fill(&f)
		}
		all = append(all, f)
	}
	p := v.p
	for i := range p.Banks {
		add("bank", p.Banks[i].Name, p.Banks[i].At, func(f *fact) { v.bankFacts(f, &p.Banks[i]) })
	}
	for _, k := range p.Keyers {
		add("keyer", k.Name, k.At, func(f *fact) { f.put("lays %s over %s", v.origin(k.Fill), p.Banks[k.Bank].Name) })
	}
	for _, t := range p.Ties {
		add("tie line", t.Name, t.At, func(f *fact) { f.put("from %s to %s", p.Switches[t.Switch].Name, p.Nodes[t.Node].Label) })
	}
	for i := range p.Destinations {
		add("destination", p.Destinations[i].Name, p.Destinations[i].At, func(f *fact) { v.destinationFacts(f, &p.Destinations[i]) })
	}
	for _, x := range p.Decks {
		add("deck", x.Name, x.At, func(f *fact) { f.put("cues in %s", v.length(x.Ready)) })
	}
	for _, c := range p.Clips {
		add("clip", fmt.Sprintf("%s %q", p.Decks[c.Deck].Name, c.Name), c.At, func(f *fact) {
			f.put("length %s", map[bool]string{true: "not known", false: v.length(c.Length)}[c.Length == 0])
		})
	}
	for i, r := range p.Recorders {
		add("recorder", r.Name, r.At, func(f *fact) { v.inputFacts(f, r.Ready, func(n program.Input) bool { return n.Recorder == int32(i) }) })
	}
	for i, e := range p.Encoders {
		add("encoder", e.Name, e.At, func(f *fact) { v.inputFacts(f, e.Ready, func(n program.Input) bool { return n.Encoder == int32(i) }) })
	}
	for _, c := range p.Cameras {
		add("camera", c.Name, c.At, func(f *fact) {
			if c.Robotic {
				f.put("robotic")
			}
			for _, s := range c.Shots {
				f.put("shot %d %s", s.Number, s.Name)
			}
		})
	}
	for _, o := range p.Outlets {
		add("outlet", o.Name, o.At, func(f *fact) { f.put("%s outlet %d", p.Devices[o.Device].Name, o.Number) })
	}
	add("rate", "of frames", program.Place{}, func(f *fact) {
		f.put("%s frames a second", strconv.FormatFloat(float64(p.Rate.Num)/float64(max(p.Rate.Den, 1)), 'f', -1, 64)+
			map[bool]string{true: ", drop-frame", false: ""}[p.Rate.Drop])
	})
	return all
}

func (v *version) bankFacts(f *fact, b *program.Bank) {
	f.put("begins with %s, next %s", b.Picks[v.p.Vars[b.Program].Start].Label, b.Picks[v.p.Vars[b.Preset].Start].Label)
	var labels []string
	for _, pick := range b.Picks {
		labels = append(labels, pick.Label)
	}
	slices.Sort(labels)
	for _, label := range slices.Compact(labels) {
		f.put("takes %s", label)
	}
}

func (v *version) destinationFacts(f *fact, x *program.Destination) {
	switch x.OnAir {
	case program.AlwaysOnAir:
		f.put("on air always")
	case program.NeverOnAir:
		f.put("never on air")
	default:
		f.put("on air while %s is live", v.p.Encoders[x.OnAir].Name)
	}
	var refused []string
	for _, s := range x.Refuses {
		refused = append(refused, v.p.Sources[s].Name)
	}
	slices.Sort(refused)
	for _, name := range refused {
		f.put("refuses %s", name)
	}
	if v.p.Vars[x.Protect].Start == 1 {
		f.put("protected")
	}
	switch x.AfterCut {
	case program.Restore:
		f.put("restored after a power cut")
	case program.SafePicture:
		f.put("shows %s after a power cut", v.origin(x.Safe))
	}
	f.put("shows %s at power-on", powerOn(v.p, v.l, x.Node))
}

func (v *version) inputFacts(f *fact, ready int64, mine func(program.Input) bool) {
	f.put("starts in %s", v.length(ready))
	for _, in := range v.p.Inputs {
		if mine(in) {
			f.put("fed by %s", v.origin(in.Node))
		}
	}
}

// origin names what a node's picture comes from by cables alone.
func (v *version) origin(node int32) string {
	for range v.p.Nodes {
		n := &v.p.Nodes[node]
		if n.Kind != program.PassNode {
			return v.node(node)
		}
		if len(n.Up) == 0 || n.Up[0] < 0 {
			return "nothing"
		}
		node = n.Up[0]
	}
	return "a circle"
}

// plan tells what is new, gone or otherwise in the plan.
func (d *differ) plan() {
	was, is := d.was.facts(), d.is.facts()
	find := func(all []fact, name string) int {
		return slices.IndexFunc(all, func(f fact) bool { return f.name == name })
	}
	for _, y := range is {
		a := find(was, y.name)
		if a < 0 {
			d.add(OfPlan, []Hunk{{Is: texts(y.lines), IsAt: d.is.place(y.at)}}, nil, "%s is new", y.name)
			continue
		}
		if h := d.hunks(was[a].lines, y.lines, was[a].at, y.at); len(h) > 0 {
			d.add(OfPlan, h, nil, "%s is otherwise", y.name)
		}
	}
	for _, x := range was {
		if find(is, x.name) < 0 {
			d.add(OfPlan, []Hunk{{Was: texts(x.lines), WasAt: d.was.place(x.at)}}, nil, "%s is gone", x.name)
		}
	}
}

// messages tells, one change a device, where it is, what it is told in other
// bytes for the same command, and what is heard from it.
func (d *differ) messages() {
	for i := range d.is.p.Devices {
		y := &d.is.p.Devices[i]
		a := slices.IndexFunc(d.was.p.Devices, func(x program.Device) bool { return x.Name == y.Name })
		if a < 0 {
			continue
		}
		x := &d.was.p.Devices[a]
		old, now := d.was.wire(int32(a)), d.is.wire(int32(i))
		// A command that only one version can send is no other way of telling it.
		known := func(lines []line) map[string]bool {
			words := map[string]bool{}
			for _, l := range lines {
				words[command(l.text)] = true
			}
			return words
		}
		inOld, inNow := known(old), known(now)
		old = slices.DeleteFunc(old, func(l line) bool { return !inNow[command(l.text)] })
		now = slices.DeleteFunc(now, func(l line) bool { return !inOld[command(l.text)] })
		if h := d.hunks(old, now, x.At, y.At); len(h) > 0 {
			d.add(OfMessages, h, nil, "%s is spoken to otherwise", y.Name)
		}
	}
}

// command is what a line of wire is about.
func command(text string) string {
	words, _, _ := strings.Cut(text, " => ")
	return words
}

// wire is how a device is spoken to.
func (v *version) wire(device int32) []line {
	x := &v.p.Devices[device]
	var out []line
	put := func(what, how string) { out = append(out, line{what + " => " + how, x.At}) }
	put("reached", fmt.Sprintf("%s %s login %q token %q within %s", x.Wire, x.Address, x.Login, x.Token, v.length(x.Deadline)))
	for _, m := range v.p.Messages {
		if m.Device != device {
			continue
		}
		how := m.Text
		switch {
		case m.HTTP != nil:
			how = fmt.Sprintf("%s %s %v %s", m.HTTP.Method, m.HTTP.Target, m.HTTP.Header, m.HTTP.Body)
		case how == "":
			how = hex.EncodeToString(m.OSC)
		}
		put(story.Command(v.p, m.Command), how)
	}
	for _, o := range v.p.Observations {
		if o.Device != device {
			continue
		}
		how := fmt.Sprintf("%s%s %d %s %s every %s", o.Path, o.Target, o.Arg, o.Method, o.Pointer, v.length(o.Every))
		for _, m := range o.Means {
			how += fmt.Sprintf(", %s is %s", m.Heard, v.value(o.Var, m.Value))
		}
		put("hears "+v.variable(o.Var), how)
	}
	slices.SortStableFunc(out[1:], func(a, b line) int { return cmp.Compare(a.text, b.text) })
	return out
}
