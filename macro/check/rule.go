package check

import (
	"strings"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/syntax"
)

// rule checks a rule's conditions, and whether it has been said before.
func (c *checker) rule(n *syntax.Rule) {
	c.macro = nil
	c.cond(n.Cond)
	c.cond(n.While)
	if n.Cond == nil || n.Cond.Text == "" || n.While != nil && n.While.Text == "" {
		return // not to be read
	}
	said := n.Verb + "\n" + squeezed(n.Cond)
	if n.While != nil {
		said += "\n" + squeezed(n.While)
	}
	if first, dup := c.rules[said]; dup {
		c.add(diag.New("rule-twice", n.Cond.At, "this is the same rule as `%s`", first.Name.Text).
			With(first.Cond.At, "the first one").Mend("leave one of the two out"))
		return
	}
	if c.rules == nil {
		c.rules = map[string]*syntax.Rule{}
	}
	c.rules[said] = n
}

// squeezed is a condition's text with single blanks.
func squeezed(n *syntax.Cond) string { return strings.Join(strings.Fields(n.Text), " ") }

// rehearsal checks each step of a rehearsal.
func (c *checker) rehearsal(n *syntax.Rehearsal) {
	c.macro, c.at = nil, inButton
	for _, s := range n.Steps {
		switch s.Verb {
		case "go", "standby":
			if s.Cue.Text != "" {
				c.cueNamed(s.Cue)
			}
		case "press":
			c.pressed(s)
		case "hold":
			c.pressed(s)
			c.time(s.Time, stepHoldTime)
		case "after":
			c.time(s.Time, freeTime)
		case "clock", "timecode":
			c.shown(s)
		case "expect finding":
			if s.Code.Text != "" {
				c.code(s.Code)
			}
		case "fault":
			c.fault(s)
		default:
			c.cond(s.Cond)
		}
	}
}

// pressed checks that there is a button where a step presses.
func (c *checker) pressed(s *syntax.Step) {
	if s.Page.Text == "" || s.Cell.Row == 0 || s.Cell.Column == 0 {
		return
	}
	p, ok := c.pages[s.Page.Text]
	if !ok {
		c.noPage(s.Page)
		return
	}
	if p.buttons == nil {
		p.buttons = make(map[[2]int]*syntax.Button, len(p.node.Buttons))
		for _, b := range p.node.Buttons {
			p.buttons[[2]int{b.Cell.Row, b.Cell.Column}] = b
		}
	}
	if p.buttons[[2]int{s.Cell.Row, s.Cell.Column}] == nil {
		c.add(diag.New("no-button-there", s.Cell.At, "page `%s` has no button at %d.%d", s.Page.Text, s.Cell.Row, s.Cell.Column).
			With(p.node.Name.At, "the page").
			Mend("press a button of the page, or add one there"))
	}
}

// fault checks that a device can have a fault.
func (c *checker) fault(s *syntax.Step) {
	e := c.planName(s.Device, noun.Device)
	if e == nil || e.Device == nil || s.Fault.Text != "full" || e.Device.Kind == plan.Recorder {
		return
	}
	c.add(diag.New("fault-unfit", s.Fault.At, "`%s` is %s, and only a recorder can be full", e.Name, cond.Describe(e.Kind)).
		With(e.At, "here in the plan").
		Mend("name a recorder, or write `away`, `refuses` or `slow`"))
}
