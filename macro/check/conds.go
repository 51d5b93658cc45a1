package check

import (
	"slices"
	"strconv"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/nearest"
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
	if !g.known() || g.entry == nil {
		return
	}
	field := e.Text
	switch {
	case e.Param && !cond.CanAsk(g.entry.Kind, field):
		c.report(diag.New("unknown-field", e.At, "`%s` is %s, which has no `%s`", g.entry.Name, cond.Describe(g.entry.Kind), field).
			Mend("give something that has it"), g)
	case field == "shot" && g.entry.Device != nil && !g.entry.Device.Robotic:
		c.report(diag.New("not-robotic", e.At, "`%s` is a fixed camera and stores no shots", g.entry.Name).
			With(g.entry.At, "here in the plan").Mend("ask a robotic camera"), g)
	}
}

// possible checks that a field can have a value at all.
func (c *checker) possible(e, field, v *cond.Expr) {
	of, value := c.subject(field), c.subject(v)
	if !of.known() || !value.known() || v.Type == cond.Unknown {
		return
	}
	switch {
	case field.Type == cond.CueType:
		c.cueNamed(syntax.Name{Text: v.Text, At: v.At})
	case of.entry == nil || c.rack.Partial:
	case field.Type == cond.PickType && of.entry.Bank != nil:
		if b := of.entry.Bank; !c.selects(b, value.value.Text) {
			c.one(e, of, value, v.At, "`"+b.Name+"` can never have `"+value.value.Text+"`", b.At, "what it takes, in the plan",
				c.pickNames(b), "")
		}
	case field.Type == cond.ClipType && of.entry.Device != nil:
		d, has := of.entry.Device, false
		var names []string
		for _, clip := range d.Clips {
			has = has || clip.Name == value.value.Text
			names = append(names, clip.Name)
		}
		if !has {
			c.one(e, of, value, v.At, "`"+d.Name+"` has no clip `"+value.value.Text+"`", d.At, "its clips in the plan", names, `"`)
		}
	case field.Type == cond.NumberType && of.entry.Device != nil && of.entry.Device.Robotic:
		c.shotAsked(e, of, value, v)
	case field.Type == cond.PageType && of.entry.Surface != nil:
		p := c.pages[value.value.Text]
		if p != nil && !hasName(p.node.Surfaces, of.entry.Name) {
			c.one(e, of, value, v.At, "page `"+value.value.Text+"` is not on `"+of.entry.Name+"`", p.node.Name.At, "the page", nil, "")
		}
	}
}

// shotAsked checks a shot that a condition names, and puts its number where
// its name stood.
func (c *checker) shotAsked(e *cond.Expr, of, value given, v *cond.Expr) {
	d := of.entry.Device
	n, ok := storedShot(d, value.value.Text, value.value.Kind == syntax.String)
	switch {
	case ok && !v.Param && !slices.ContainsFunc(e.Args, func(a *cond.Expr) bool { return a.Param }):
		v.Op, v.Type, v.Text = cond.NumberValue, cond.NumberType, strconv.Itoa(n)
	case !ok && (e.Op == cond.Equal || e.Op == cond.NotEqual || e.Op == cond.In):
		c.one(e, of, value, v.At, "`"+d.Name+"` stores no shot `"+value.value.Text+"`", d.At, "its shots in the plan", nil, "")
	}
}

// one reports a comparison that always comes out the same.
func (c *checker) one(e *cond.Expr, of, value given, at source.Span, why string, also source.Span, note string, names []string, quote string) {
	always := "never true"
	if e.Op == cond.NotEqual {
		always = "always true"
	}
	d := diag.New("never-true", at, "%s, so this is %s", why, always).With(also, note)
	for _, n := range nearest.Names(value.value.Text, names) {
		d = d.Replace(at, quote+n+quote, false, "write `%s%s%[1]s`", quote, n)
	}
	if len(d.Mends) == 0 {
		d = d.Mend("compare it with something that it can be, or leave the comparison out")
	}
	c.report(d, value, of)
}
