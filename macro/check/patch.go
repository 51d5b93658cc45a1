package check

import (
	"fmt"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
)

// feed is where a destination's picture comes from: its own switch, or else
// the output that always shows the same, or nothing.
type feed struct {
	sw   *plan.Switch
	hard *plan.Port
}

// feedOf follows the cables back from a destination to the first output that
// is switched or makes a picture.
func (c *checker) feedOf(d *plan.Destination) feed {
	if f, ok := c.feeds[d]; ok {
		return f
	}
	var f feed
	in := d.Input
	for steps := 0; in != nil && in.Cable != nil && steps <= len(c.rack.Cables); steps++ {
		out := in.Cable.From
		if out == nil {
			break
		}
		if out.Switch != nil {
			f = feed{sw: out.Switch}
			break
		}
		f = feed{hard: out}
		if out.From == nil || out.From.Input == nil {
			break
		}
		in = out.From.Input
	}
	c.feeds[d] = f
	return f
}

// lastSwitch is the switch that a route to a destination or tie line ends at.
func (c *checker) lastSwitch(e *plan.Entry) *plan.Switch {
	if e.Destination != nil {
		return c.feedOf(e.Destination).sw
	}
	if e.Tie != nil {
		return e.Tie.Switch
	}
	return nil
}

// routed checks a route: that the destination can be switched, and that it
// does not refuse the picture.
func (c *checker) routed(dest, src given) {
	d := dest.entry.Destination
	if c.feedOf(d).sw == nil && !c.rack.Partial {
		c.hardPatched(dest)
	}
	if !src.known() || src.entry.Source == nil || !d.Refuses[src.entry.Source] {
		return
	}
	s := src.entry.Source
	c.report(diag.New("refused-picture", src.value.At, "`%s` refuses `%s`", d.Name, s.Name).
		With(d.RefusedBy, "it refuses it here").
		Mend("route another picture, or take `%s` out of what `%s` refuses in the plan", s.Name, d.Name), src, dest)
}

// hardPatched says that a destination always shows one thing, and what could
// be plugged where to change that.
func (c *checker) hardPatched(dest given) {
	d := dest.entry.Destination
	out := c.feedOf(d).hard
	if out == nil {
		c.report(diag.New("hard-patched", dest.value.At, "nothing is plugged into `%s`, so it cannot be routed", d.Name).
			With(d.At, "the destination in the plan").
			Mend("add a cable to it in the plan, from an output that can be switched"), dest)
		return
	}
	f := diag.New("hard-patched", dest.value.At, "`%s` always shows %s: no switch stands before it", d.Name, shownBy(out)).
		With(out.At, "this output never changes").With(d.At, "the destination")
	for _, sp := range c.spares(out) {
		f = f.Mend("%s", sp.words(d, out))
	}
	if len(f.Mends) == 0 {
		f = f.Mend("no switched output is spare: free one of a router or an aux bus for `%s`", d.Name)
	}
	c.report(f, dest)
}

// spare is a switched output with nothing plugged in, and how what a hard
// output shows can be had there: already, or through the spare input in.
type spare struct {
	out, in *plan.Port
	already bool
}

// spares lists up to three devices where a destination could be switched
// instead of hanging on a hard output, in the plan's order.
func (c *checker) spares(hard *plan.Port) []spare {
	var all []spare
	for _, dev := range c.rack.Devices {
		var s spare
		for _, o := range dev.Outputs {
			if s.out == nil && o.Switch != nil && o.Cable == nil && sameSignal(o, hard) {
				s.out, s.already = o, selectable(o.Switch, hard)
			}
		}
		for _, i := range dev.Inputs {
			if s.in == nil && i.Cable == nil && dev != hard.Device && sameSignal(i, hard) {
				s.in = i
			}
		}
		if s.out != nil && len(all) < 3 {
			all = append(all, s)
		}
	}
	return all
}

// words says what to plug where.
func (s spare) words(d *plan.Destination, hard *plan.Port) string {
	do := fmt.Sprintf("plug `%s` into the spare output `%s`", d.Name, portName(s.out))
	switch {
	case s.already:
		return do + ", which can show " + shownBy(hard) + " and more"
	case s.in != nil:
		return do + fmt.Sprintf(", and loop `%s` through to the spare input `%s`, so that it can still be shown", portName(hard), portName(s.in))
	}
	return do + fmt.Sprintf(" instead of `%s`", portName(hard))
}

// selectable says whether a switch has the picture of a hard output already.
func selectable(sw *plan.Switch, hard *plan.Port) bool {
	f := hard.From
	if f == nil || f.Clean || f.Preset {
		return false
	}
	for _, p := range sw.Picks {
		for _, n := range p.Names {
			if f.Source != nil && n == f.Source.Name || f.Bank != nil && n == f.Bank.Name {
				return true
			}
		}
	}
	return false
}

// sameSignal says whether a cable could join two ports, as far as is known.
func sameSignal(a, b *plan.Port) bool {
	return a.Signal == b.Signal || a.Signal == "" || b.Signal == ""
}

func portName(p *plan.Port) string { return fmt.Sprintf("%s.%d", p.Device.Name, p.Number) }

// shownBy names what a hard output shows.
func shownBy(out *plan.Port) string {
	switch f := out.From; {
	case f != nil && f.Source != nil:
		return "`" + f.Source.Name + "`"
	case f != nil && f.Bank != nil && f.Preset:
		return "the preset of `" + f.Bank.Name + "`"
	case f != nil && f.Bank != nil:
		return "`" + f.Bank.Name + "`"
	}
	return "what `" + portName(out) + "` brings"
}
