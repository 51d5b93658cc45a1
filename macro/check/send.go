package check

import (
	"strconv"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/syntax"
)

// send checks send NAME(value: …): each value against what the message takes.
func (c *checker) send(a *syntax.Action) {
	if len(a.Operands) == 0 || len(a.Operands[0]) == 0 {
		return
	}
	name := c.operand(a.Operands[0][0], noun.Message)
	if !name.known() {
		return
	}
	msg := name.entry.Message
	if c.env == nil && msg.Device != nil && msg.Device.Control == nil && !c.rack.Partial {
		c.uses = append(c.uses, use{msg.Device, "", name.value.At})
	}
	var said []syntax.Operand
	if len(a.Operands) > 1 {
		said = a.Operands[1]
	}
	given := make([]syntax.Operand, len(msg.Takes))
	stray := false
	for i := 0; i+1 < len(said); i += 2 {
		stray = !c.sendValue(msg, said, i, given) || stray
	}
	if c.env != nil || stray {
		return
	}
	call := wants{at: a.Operands[0][0].At, way: "send", name: msg.Name}
	for i, t := range msg.Takes {
		call.add(t.Name, t.Kind, t.At, written(given[i]), given[i].At.IsZero())
	}
	call.report(c, "here in the plan")
}

// sendValue checks the value of the name at a place of what is said; it is false when the message takes no such one.
func (c *checker) sendValue(msg *plan.Message, said []syntax.Operand, at int, given []syntax.Operand) bool {
	name, value := said[at], said[at+1]
	for i := range msg.Takes {
		t := &msg.Takes[i]
		if t.Name != name.Text {
			continue
		}
		if !given[i].At.IsZero() && c.env == nil {
			c.add(diag.New("name-taken", name.At, "`%s` is given twice", name.Text).Mend("leave one of the two out"))
		}
		given[i] = value
		if value.At.IsZero() {
			given[i].At = name.At
		}
		if g := c.operand(value, t.Kind); g.known() && t.Kind == noun.Number {
			c.inRange(t, g)
		}
		return true
	}
	if c.env != nil || name.Text == "" {
		return false
	}
	var names []string
	for _, t := range msg.Takes {
		if !saidAlready(said, t.Name) {
			names = append(names, t.Name)
		}
	}
	d := diag.New("unknown-argument", name.At, "`%s` takes no `%s`", msg.Name, name.Text).With(msg.At, "the message in the plan")
	c.add(c.near(d, name.At, name.Text, names, "", "leave it out: `%s` takes nothing more", msg.Name))
	return false
}

// saidAlready says whether one of the names of name: value is that.
func saidAlready(said []syntax.Operand, name string) bool {
	for i := 0; i < len(said); i += 2 {
		if said[i].Text == name {
			return true
		}
	}
	return false
}

// inRange checks a number against the range of the plan.
func (c *checker) inRange(t *plan.Take, g given) {
	v, err := strconv.ParseFloat(g.value.Text, 64)
	if err == nil && v >= t.Low && v <= t.High {
		return
	}
	low, high := strconv.FormatFloat(t.Low, 'f', -1, 64), strconv.FormatFloat(t.High, 'f', -1, 64)
	end := high
	if v < t.Low {
		end = low
	}
	c.report(diag.New("send-value", g.value.At, "`%s` goes from %s to %s, and `%s` does not lie between", t.Name, low, high, g.value.Text).
		With(t.At, "here in the plan").
		Replace(g.value.At, end, false, "write `%s`", end), g)
}
