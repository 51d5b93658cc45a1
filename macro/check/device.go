package check

import (
	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// use is an action that asks of a device what the plan cannot send. Does is
// "" when the device has no control part at all.
type use struct {
	device *plan.Device
	does   string
	at     source.Span
}

// needs notes what an action asks of a device, when the plan does not say how
// to send it.
func (c *checker) needs(a *syntax.Action, g *given, e *plan.Entry) {
	does := a.Verb.Word
	switch a.Verb.ID {
	case syntax.Cut, syntax.Preset, syntax.Take, syntax.Fade:
		c.need(g, e.Bank.Mixer, does)
	case syntax.Mix, syntax.Wipe:
		c.need(g, e.Bank.Mixer, does)
		if len(a.Operands) > 2 && len(a.Operands[2]) > 0 {
			c.need(g, e.Bank.Mixer, "preset")
		}
	case syntax.Key:
		c.need(g, e.Keyer.Bank.Mixer, does)
	case syntax.Route:
		if sw := c.lastSwitch(e); sw != nil {
			c.need(g, sw.Output.Device, "crosspoint")
		}
	case syntax.Switch:
		c.need(g, e.Outlet.Device, does)
	case syntax.Load, syntax.Play, syntax.Pause, syntax.Stop, syntax.Record, syntax.Start:
		c.need(g, e.Device, does)
	case syntax.Recall:
		if e.Device.Robotic {
			c.need(g, e.Device, does)
		}
	}
}

func (c *checker) need(g *given, d *plan.Device, does string) {
	if d == nil || c.rack.Partial || c.env != nil && g.use.IsZero() {
		return
	}
	if d.Control == nil {
		does = ""
	} else if d.Control.Does[does] != nil {
		return
	}
	c.uses = append(c.uses, use{d, does, g.value.At})
}

// tellUses reports each device and action once, at the first use that no
// allowance covers.
func (c *checker) tellUses() {
	type key struct {
		device *plan.Device
		does   string
	}
	told := map[key]bool{}
	for _, u := range c.uses {
		code := diag.Code("action-not-sendable")
		if u.does == "" {
			code = "device-not-controlled"
		}
		if c.allowed(code, u.at) || told[key{u.device, u.does}] {
			continue
		}
		told[key{u.device, u.does}] = true
		if u.does == "" {
			c.add(diag.New(code, u.at, "nothing can be sent to `%s`", u.device.Name).
				With(u.device.At, "the device").
				Mend("say in the plan's `control` part how `%s` is reached", u.device.Name))
			continue
		}
		c.add(diag.New(code, u.at, "the plan does not say how to send `%s` to `%s`", u.does, u.device.Name).
			With(u.device.Control.At, "its `control` part").
			Mend("add `%s:` under `does:` of `%s`", u.does, u.device.Name))
	}
}
