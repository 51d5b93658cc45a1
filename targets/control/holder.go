package control

import (
	"cuewright/sim/step"
	"cuewright/targets/surface"
)

// A surface that was taken over is one on which only the taker's presses
// count. Everybody may take it over in turn, and sees what it shows.

// mayPress says whether nobody else has taken the surface of a press over.
// Fingers may always come up, and what helps in need is for everybody.
func (c *Controller) mayPress(p *surface.Press) bool {
	switch p.Kind {
	case surface.Up, surface.StopAll, surface.Resume, surface.Keep, surface.Return, surface.TakeOver, surface.GiveBack:
		return true
	}
	by := c.holders[c.show.p.Surfaces[p.Surface].Name]
	return by == "" || by == p.By
}

func (c *Controller) takenWords(on int32) string {
	name := c.show.p.Surfaces[on].Name
	return name + " has been taken over by " + c.holders[name]
}

// takeOver lets only By's presses count on a surface.
func (c *Controller) takeOver(p *surface.Press) surface.Answer {
	if p.Surface < 0 {
		return refused(step.NoReason, "no surface was named")
	}
	name := c.show.p.Surfaces[p.Surface].Name
	if c.holders[name] == p.By {
		return refused(step.NothingToDo, name+" is yours already")
	}
	if c.holders == nil {
		c.holders = map[string]string{}
	}
	c.holders[name] = p.By
	c.alert("controller", name+" has been taken over by "+p.By)
	return surface.Answer{}
}

// giveBack lets everybody's presses count again: on a surface, or on all that
// By has taken over.
func (c *Controller) giveBack(p *surface.Press) surface.Answer {
	gave := false
	for i := range c.show.p.Surfaces {
		name := c.show.p.Surfaces[i].Name
		if c.holders[name] == p.By && (p.Surface < 0 || p.Surface == int32(i)) {
			delete(c.holders, name)
			c.alert("controller", name+" is everybody's again")
			gave = true
		}
	}
	if !gave {
		return refused(step.NothingToDo, "nothing here was taken over by "+p.By)
	}
	return surface.Answer{}
}
