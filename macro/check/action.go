package check

import (
	"strconv"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// action checks a verb with its operands: first each by itself, then whether
// the things can do it together.
func (c *checker) action(a *syntax.Action) {
	if c.env == nil {
		c.touch = false
	}
	v := a.Verb
	if v.ID == syntax.Send {
		c.send(a)
	} else {
		c.operands(a)
	}
	if c.env == nil && c.touch {
		c.macro.later = append(c.macro.later, later{action: a})
	}
}

// operands checks the operands of every verb but send. Where a slot takes a
// list, each of it is judged with the single ones.
func (c *checker) operands(a *syntax.Action) {
	c.given = c.given[:0]
	var thing, with given // the first slot with names, and the one after it
	listed := false
	for i := range a.Verb.Slots {
		s := &a.Verb.Slots[i]
		if s.Kinds == 0 || i >= len(a.Operands) {
			continue
		}
		listed = listed || s.List
		for k := range a.Operands[i] {
			op := &a.Operands[i][k]
			c.fits = c.fitting(a, i, thing)
			switch {
			case s.Kinds == noun.Duration:
				c.transition(*op)
			case s.List:
				c.twice(a.Operands[i][:k], op)
				c.given = append(c.given, c.operand(*op, s.Kinds))
			case i == 0:
				thing = c.operand(*op, s.Kinds)
			default:
				with = c.operand(*op, s.Kinds)
			}
		}
	}
	c.fits = nil
	if !listed {
		c.judge(a, &thing, &with)
		return
	}
	for i := range c.given {
		c.judge(a, &c.given[i], &with)
	}
}

// twice warns of a name that a list has before.
func (c *checker) twice(before []syntax.Operand, op *syntax.Operand) {
	for i := range before {
		if first := &before[i]; c.env == nil && op.Kind == syntax.Word && first.Kind == syntax.Word && first.Text == op.Text {
			c.add(diag.New("named-twice", op.At, "`%s` is named twice here", op.Text).
				With(first.At, "the first time").Mend("leave one of the two out, or name what was meant"))
			return
		}
	}
}

// fitting says which names of the plan could stand in a slot without being a
// mistake there, as far as the kind does not say it. It is nil for all.
func (c *checker) fitting(a *syntax.Action, slot int, thing given) func(*plan.Entry) bool {
	switch id := a.Verb.ID; {
	case c.rack.Partial:
	case id == syntax.Route && slot == 0:
		return func(e *plan.Entry) bool { return e.Destination == nil || c.feedOf(e.Destination).sw != nil }
	case id == syntax.Recall && slot == 0:
		return func(e *plan.Entry) bool { return e.Device == nil || e.Device.Robotic }
	case slot > 0 && thing.known() && thing.entry != nil && thing.entry.Bank != nil:
		b := thing.entry.Bank // what a tie line could bring is offered too: then that is said
		return func(e *plan.Entry) bool { return c.selects(b, e.Name) || len(c.bringing(b, e.Name)) > 0 }
	}
	return nil
}

// judge checks whether the thing that a verb names first can do it, with the
// second where there is one.
func (c *checker) judge(a *syntax.Action, thing, with *given) {
	if !thing.ok {
		return
	}
	if e := thing.entry; e != nil {
		c.needs(a, thing, e)
	}
	switch a.Verb.ID {
	case syntax.Cut, syntax.Preset, syntax.Mix, syntax.Wipe:
		if with.known() && thing.known() {
			c.pick(a, *thing, *with)
		}
	case syntax.Route:
		if thing.known() && thing.entry.Destination != nil {
			c.routed(*thing, *with)
		}
	case syntax.Load:
		if thing.known() && with.known() {
			c.clip(*thing, *with)
		}
	case syntax.Recall:
		if thing.known() {
			c.shot(*thing, *with)
		}
	case syntax.Stop:
		if c.env == nil {
			c.noteStop(thing)
		}
	}
}

// noteStop notes that a recorder or encoder is stopped here.
func (c *checker) noteStop(thing *given) {
	if thing.param {
		if k := c.macro.params[thing.value.Text]; k.Has(noun.Recorder | noun.Encoder) {
			c.stops = append(c.stops, stop{thing.value.At, thing.value.Text})
		}
	} else if e := thing.entry; e.Kind.Has(noun.Recorder | noun.Encoder) {
		c.stops = append(c.stops, stop{thing.value.At, e.Name})
	}
}

// clip checks that the deck has the clip.
func (c *checker) clip(deck, clip given) {
	d := deck.entry.Device
	if hasClip(d, clip.value.Text) || c.rack.Partial {
		return
	}
	f := diag.New("unknown-clip", clip.value.At, "`%s` has no clip `%s`", d.Name, clip.value.Text).
		With(d.At, "its clips in the plan")
	c.report(c.near(f, clip.value.At, clip.value.Text, clipNames(d), `"`, "add the clip to `%s` in the plan", d.Name), clip, deck)
}

func hasClip(d *plan.Device, name string) bool {
	for _, have := range d.Clips {
		if have.Name == name {
			return true
		}
	}
	return false
}

func clipNames(d *plan.Device) []string {
	names := make([]string, len(d.Clips))
	for i, have := range d.Clips {
		names[i] = have.Name
	}
	return names
}

// shot checks that the camera moves and has the shot.
func (c *checker) shot(camera, shot given) {
	d := camera.entry.Device
	if !d.Robotic {
		c.report(diag.New("not-robotic", camera.value.At, "`%s` is a fixed camera and stores no shots", d.Name).
			With(d.At, "here in the plan").
			Mend("say `robotic: true` and its shots in the plan, or recall a shot of another camera"), camera)
		return
	}
	if !shot.known() || c.rack.Partial {
		return
	}
	if _, ok := storedShot(d, shot.value.Text, shot.value.Kind == syntax.String); ok {
		return
	}
	text, quote := shot.value.Text, ""
	names := make([]string, len(d.Shots))
	for i, s := range d.Shots {
		names[i] = strconv.Itoa(s.Number)
		if shot.value.Kind == syntax.String {
			names[i], quote = s.Name, `"`
		}
	}
	f := diag.New("unknown-shot", shot.value.At, "`%s` stores no shot `%s`", d.Name, text).With(d.At, "its shots in the plan")
	c.report(c.near(f, shot.value.At, text, names, quote, "store the shot and add it to `%s` in the plan", d.Name), shot, camera)
}

// storedShot finds a shot by its name, or else by its number as written.
func storedShot(d *plan.Device, text string, byName bool) (number int, ok bool) {
	n, err := strconv.Atoi(text)
	for _, s := range d.Shots {
		if byName && s.Name == text || !byName && err == nil && s.Number == n {
			return s.Number, true
		}
	}
	return 0, false
}

// near offers the names near a text, or those there are when they are few, or
// says what else can be done.
func (c *checker) near(d diag.Diagnostic, at source.Span, text string, names []string, quote, otherwise string, args ...any) diag.Diagnostic {
	close := c.nearest(text, names)
	if len(close) == 0 && len(names) <= 4 {
		close = names
	}
	for _, n := range close {
		d = d.Replace(at, quote+n+quote, false, "write `%s%s%[1]s`", quote, n)
	}
	if len(close) == 0 {
		d = d.Mend(otherwise, args...)
	}
	return d
}
