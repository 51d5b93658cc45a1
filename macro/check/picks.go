package check

import (
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/syntax"
)

// pick checks that a bank can select a source, and otherwise says which tie
// lines could bring it.
func (c *checker) pick(a *syntax.Action, bank, src given) {
	b := bank.entry.Bank
	if c.selects(b, src.value.Text) || c.rack.Partial {
		return
	}
	name := src.value.Text
	d := diag.New("not-a-pick", src.value.At, "`%s` cannot select `%s`", b.Name, name).With(b.At, "what it takes, in the plan")
	if name == b.Name {
		d.What = "`" + name + "` cannot be put on itself"
		c.report(d.Mend("put one of its sources on it, or `%s` on another bank", name), src, bank)
		return
	}
	for _, t := range c.bringing(b, name) {
		if !src.use.IsZero() {
			d = d.Mend("write `route %s from %s` first, and give `%[1]s` here", t.Name, name)
			continue
		}
		text, i := a.At.Text(), int(src.value.At.Start-a.At.Start)
		rest := text[:i] + t.Name + text[i+len(name):]
		d = d.Replace(a.At, "route "+t.Name+" from "+name+"; "+rest, false,
			"bring it by a tie line: `route %s from %s`, then `%s`", t.Name, name, rest)
	}
	if len(d.Mends) == 0 {
		for _, n := range c.nearest(name, c.pickNames(b)) {
			d = d.Replace(src.value.At, n, false, "write `%s`", n)
		}
	}
	switch e := src.entry; {
	case len(d.Mends) > 0:
	case e.Bank != nil || e.Source != nil && e.Source.Port == nil:
		d = d.Mend("add `%s` to what `%s` takes in the plan", name, b.Name)
	default:
		d = d.Mend("plug `%s` into a spare input of `%s`, or add it to what `%s` takes in the plan", name, b.Mixer.Name, b.Name)
	}
	c.report(d, src, bank)
}

// selects says whether one of a bank's picks has that name.
func (c *checker) selects(b *plan.Bank, name string) bool {
	names, ok := c.banks[b]
	if !ok {
		names = make(map[string]bool, len(b.Picks))
		for _, p := range b.Picks {
			for _, n := range p.Names {
				names[n] = true
			}
		}
		c.banks[b] = names
	}
	return names[name]
}

// pickNames lists a bank's picks by name, in the plan's order.
func (c *checker) pickNames(b *plan.Bank) []string {
	var names []string
	for _, p := range b.Picks {
		names = append(names, p.Names...)
	}
	return names
}

// bringing lists up to four tie lines that end at the bank and can bring the
// source, over further tie lines if need be.
func (c *checker) bringing(b *plan.Bank, name string) []*plan.Tie {
	var ties []*plan.Tie
	for _, t := range c.rack.Ties {
		if len(ties) < 4 && c.selects(b, t.Name) && c.brings(t, name, map[*plan.Tie]bool{}) {
			ties = append(ties, t)
		}
	}
	return ties
}

// brings says whether a tie line can carry a source, itself or from another
// line; passed are the lines already looked at.
func (c *checker) brings(t *plan.Tie, name string, passed map[*plan.Tie]bool) bool {
	if t.Switch == nil || passed[t] {
		return false
	}
	passed[t] = true
	for _, p := range t.Switch.Picks {
		if slices.Contains(p.Names, name) {
			return true
		}
		for _, n := range p.Names {
			if e := c.rack.Names[n]; e != nil && e.Tie != nil && c.brings(e.Tie, name, passed) {
				return true
			}
		}
	}
	return false
}
