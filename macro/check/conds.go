package check

import (
	"strconv"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// cond reads a condition and checks what only the rack can tell: whether what
// it compares can ever be equal.
func (c *checker) cond(n *syntax.Cond) {
	if n == nil {
		return
	}
	scope := &c.scope
	if c.macro != nil {
		scope = &c.macro.scope
	}
	e, found := cond.Read(n, scope)
	c.info.Conds[n] = e
	c.add(found...)
	if c.neverTrue(e) {
		c.macro.later = append(c.macro.later, later{cond: e})
	}
}

// neverTrue looks through a condition for comparisons with one answer, and
// says whether any depends on a parameter without a value.
func (c *checker) neverTrue(e *cond.Expr) (waits bool) {
	if e.Param && c.macro != nil {
		c.macro.used[e.Name] = true
		waits = c.env == nil
	}
	for _, a := range e.Args {
		waits = c.neverTrue(a) || waits
	}
	switch e.Op {
	case cond.Field, cond.Shows:
		if e.Type != cond.Unknown {
			c.asks(e)
		}
	case cond.Equal, cond.NotEqual, cond.In, cond.Less, cond.LessEqual, cond.Greater, cond.GreaterEqual:
		if e.Type != cond.Unknown && e.Args[0].Op == cond.Field {
			for _, v := range e.Args[1:] {
				c.possible(e, e.Args[0], v)
			}
		}
	}
	return waits
}

// subject resolves the name of a field: with the parameters known, what the
// call gave for it.
func (c *checker) subject(e *cond.Expr) given {
	g := given{value: syntax.Operand{Kind: syntax.Word, Text: e.Name, At: e.At}}
	if e.Param {
		if c.env == nil {
			return given{param: true}
		}
		g.use = e.At
		g.value, _ = c.env.lookup(e.Name)
	} else if e.Op == cond.TextValue {
		g.value.Kind, g.value.Text = syntax.String, e.Text
	} else if e.Op == cond.NumberValue {
		g.value.Kind, g.value.Text = syntax.Number, e.Text
	}
	if g.value.Kind == syntax.Word {
		g.entry = c.rack.Names[g.value.Text]
	}
	g.ok = true
	return g
}

// asks checks that the thing that a call gave has the field, and that a shot
// is asked of a camera that has shots.
func (c *checker) asks(e *cond.Expr) {
	g := c.subject(e)
	if g.known() && g.entry != nil {
		switch {
		case e.Param && !cond.CanAsk(g.entry.Kind, e.Text):
			c.report(diag.New("unknown-field", e.At, "`%s` is %s, which has no `%s`", g.entry.Name, cond.Describe(g.entry.Kind), e.Text).
				Mend("give something that has it"), g)
		case e.Text == "shot" && g.entry.Device != nil && !g.entry.Device.Robotic:
			c.report(diag.New("not-robotic", e.At, "`%s` is a fixed camera and stores no shots", g.entry.Name).
				With(g.entry.At, "here in the plan").Mend("ask a robotic camera"), g)
		}
	}
	for _, a := range e.Args { // what a destination shows
		if v := c.subject(a); a.Param && v.known() && v.entry != nil && !v.entry.Kind.Has(pictures) {
			c.wrongEntry(v, pictures)
		}
	}
}

// possible checks that a field can have a value at all.
func (c *checker) possible(e, field, v *cond.Expr) {
	of, value := c.subject(field), c.subject(v)
	if !of.known() || !value.known() || v.Type == cond.Unknown {
		return
	}
	if field.Type == cond.CueType {
		c.cueNamed(syntax.Name{Text: v.Text, At: v.At})
		return
	}
	if of.entry == nil || c.rack.Partial {
		return
	}
	why := reason{e: e, at: v.At, about: []given{value, of}}
	text := value.value.Text
	switch bank, dev, surface := of.entry.Bank, of.entry.Device, of.entry.Surface; {
	case field.Type == cond.PickType && bank != nil:
		if !c.selects(bank, text) {
			why.what, why.also, why.note = "`"+bank.Name+"` can never have `"+text+"`", bank.At, "what it takes, in the plan"
			why.lines, why.names = c.bringing(bank, text), c.pickNames(bank)
			c.oneAnswer(why)
		}
	case field.Type == cond.ClipType && dev != nil:
		if !hasClip(dev, text) {
			why.what, why.also, why.note = "`"+dev.Name+"` has no clip `"+text+"`", dev.At, "its clips in the plan"
			why.names, why.quote = clipNames(dev), `"`
			c.oneAnswer(why)
		}
	case field.Type == cond.NumberType && dev != nil && dev.Robotic:
		c.shotAsked(why, v, dev, value)
	case field.Type == cond.PageType && surface != nil:
		if p := c.pages[text]; p != nil && !hasName(p.node.Surfaces, surface.Name) {
			why.what, why.also, why.note = "page `"+text+"` is not on `"+surface.Name+"`", p.node.Name.At, "the page"
			c.oneAnswer(why)
		}
	}
}

// shotAsked checks a shot that a condition names, and puts its number where
// its name stood, for those who come after.
func (c *checker) shotAsked(why reason, v *cond.Expr, camera *plan.Device, value given) {
	n, ok := storedShot(camera, value.value.Text, value.value.Kind == syntax.String)
	switch op := why.e.Op; {
	case ok && !v.Param && !why.e.Args[0].Param:
		v.Op, v.Type, v.Text = cond.NumberValue, cond.NumberType, strconv.Itoa(n)
	case !ok && (op == cond.Equal || op == cond.NotEqual || op == cond.In):
		why.what, why.also, why.note = "`"+camera.Name+"` stores no shot `"+value.value.Text+"`", camera.At, "its shots in the plan"
		c.oneAnswer(why)
	}
}

// reason is why a comparison always comes out the same.
type reason struct {
	e     *cond.Expr
	at    source.Span // the value
	about []given
	what  string
	also  source.Span
	note  string
	names []string // what could stand there instead, in quote
	quote string
	lines []*plan.Tie // by which a bank can have the picture
}

// oneAnswer reports a comparison that always comes out the same.
func (c *checker) oneAnswer(r reason) {
	always := "never true"
	if r.e.Op == cond.NotEqual {
		always = "always true"
	}
	d := diag.New("never-true", r.at, "%s, so this is %s", r.what, always).With(r.also, r.note)
	for _, t := range r.lines {
		d = d.Replace(r.at, t.Name, false, "ask for the tie line that brings it: `%s`", t.Name)
	}
	if len(d.Mends) == 0 {
		for _, n := range c.nearest(r.about[0].value.Text, r.names) {
			d = d.Replace(r.at, r.quote+n+r.quote, false, "write `%s%s%[1]s`", r.quote, n)
		}
	}
	if len(d.Mends) == 0 {
		d = d.Mend("compare it with something that it can be, or leave the comparison out")
	}
	c.report(d, r.about...)
}
