package check

import (
	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/syntax"
)

// assumes tells of an expectation or a wait for something that no device is
// heard about: on the night it comes true when it should have, whatever the
// device does. What a call gives for a parameter is not looked into.
func (c *checker) assumes(n *syntax.Until) {
	e := c.info.Conds[n.Cond]
	if c.env != nil || c.rack.Partial || e == nil {
		return
	}
	word := "wait"
	if n.Expect {
		word = "expect"
	}
	for _, leaf := range leaves(e, nil) {
		field, d := c.heardAs(leaf)
		if d == nil || d.Control == nil || c.hears(field) {
			continue
		}
		c.add(diag.New("only-assumed", leaf.At, "the plan does not say how `%s` is heard, so this `%s` only assumes it", field, word).
			With(d.Control.At, "what is told and heard").
			Mend("say under `hears:` of `%s` what `sets: %s`", d.Name, field))
		return
	}
}

// leaves appends what a condition asks of things.
func leaves(e *cond.Expr, all []*cond.Expr) []*cond.Expr {
	if (e.Op == cond.Field || e.Op == cond.Shows) && !e.Param && e.Type != cond.Unknown {
		return append(all, e)
	}
	for _, a := range e.Args {
		all = leaves(a, all)
	}
	return all
}

// heardAs is what `sets:` would say to have a device report what is asked, and
// the device; nil when the show knows by itself, or no device can report it. Of
// a destination it is what decides first about its picture.
func (c *checker) heardAs(e *cond.Expr) (string, *plan.Device) {
	t := c.rack.Names[e.Name]
	if t == nil {
		return "", nil
	}
	name := e.Name + "."
	switch {
	case e.Op == cond.Shows && t.Destination != nil:
		switch f := c.feedOf(t.Destination); {
		case f.sw != nil:
			return f.sw.Name, f.sw.Output.Device
		case f.hard != nil && f.hard.From != nil && f.hard.From.Bank != nil:
			return f.hard.From.Bank.Name + ".program", f.hard.Device
		}
		return "", nil
	case e.Text == "away" || e.Text == "on_air" || e.Text == "mixing" || e.Text == "protected":
		return "", nil
	case t.Bank != nil:
		return name + e.Text, t.Bank.Mixer
	case t.Keyer != nil:
		return name + "on", t.Keyer.Bank.Mixer
	case t.Outlet != nil:
		return name + "on", t.Outlet.Device
	case t.Device == nil || e.Text == "page":
		return "", nil
	case e.Text == "clip" || e.Text == "shot":
		return name + e.Text, t.Device
	case t.Kind.Has(noun.Deck | noun.Recorder | noun.Encoder):
		return name + "state", t.Device
	}
	return "", nil
}

// hears says whether the plan says how a field is heard.
func (c *checker) hears(field string) bool {
	for _, d := range c.rack.Devices {
		if d.Control == nil {
			continue
		}
		for _, o := range d.Control.Hears {
			if o.Sets.Text == field {
				return true
			}
		}
	}
	return false
}
