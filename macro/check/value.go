package check

import (
	"slices"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/macro/timecode"
)

// pictures is what a parameter of kind source takes: whatever can be put on a
// bus.
const pictures = noun.Source | noun.Bank | noun.Tie

// given is an operand, resolved. When it came in by a parameter, value is
// what the call gave and use is where the parameter stands.
type given struct {
	value syntax.Operand
	use   source.Span
	entry *plan.Entry // of a name of the plan
	param bool        // a parameter whose value is not known yet
	ok    bool        // of a right kind; else it has been reported
}

// known says that the value can be judged.
func (g given) known() bool { return g.ok && !g.param }

// env is a macro's parameters with the values of one call.
type env struct {
	of     *macro
	values []syntax.Operand // as of.node.Params
}

// lookup gives the value of a parameter.
func (e *env) lookup(name string) (syntax.Operand, bool) {
	for i := range e.of.node.Params {
		if e.of.node.Params[i].Name.Text == name {
			return e.values[i], true
		}
	}
	return syntax.Operand{}, false
}

// report adds a finding about operands. With the parameters known it goes to
// the first value that a call gave, with the place of use beside it; when no
// such value is concerned, it has been said before.
func (c *checker) report(d diag.Diagnostic, about ...given) {
	if c.env == nil {
		c.add(d)
		return
	}
	for _, g := range about {
		if !g.use.IsZero() {
			d.At = g.value.At
			for i := range d.Mends {
				d.Mends[i].Edits = nil // they were meant for the place of use
			}
			c.add(d.With(g.use, "used here"))
			return
		}
	}
}

// operand resolves what stands in a slot that takes the wanted kinds, and
// reports when it does not fit.
func (c *checker) operand(op syntax.Operand, want noun.Kind) given {
	g := given{value: op}
	if op.Kind == syntax.Word && c.macro != nil && c.macro.params != nil {
		if kind, ok := c.macro.params[op.Text]; ok {
			c.macro.used[op.Text] = true
			if c.env == nil {
				c.touch = true
				g.param, g.ok = true, kind != 0 && cond.Roles(kind).Has(want)
				if !g.ok && kind != 0 {
					c.add(diag.New("wrong-kind", op.At, "`%s` is a parameter of kind %s, and here goes %s", op.Text, kind, want.A()).
						Mend("give the parameter another kind, or name %s", want.A()))
				}
				return g
			}
			if v, ok := c.env.lookup(op.Text); ok {
				g.value, g.use = v, op.At
			}
		}
	}
	switch g.value.Kind {
	case syntax.Word:
		g.entry = c.rack.Names[g.value.Text]
		switch {
		case g.entry == nil:
			c.unknownOperand(g, want)
		case !g.entry.Kind.Has(want):
			c.wrongEntry(g, want)
		default:
			g.ok = true
		}
	case syntax.String:
		g.ok = want.Has(noun.Clip | noun.Text | noun.Shot)
	case syntax.Number:
		g.ok = want.Has(noun.Number | noun.Shot)
	case syntax.Duration:
		g.ok = want.Has(noun.Duration)
	default:
		return g // missing, and the reader of the file said so
	}
	if !g.ok && g.value.Kind != syntax.Word {
		c.wrongLiteral(g, want)
	}
	return g
}

// wrongEntry reports a name of the plan that is of another kind.
func (c *checker) wrongEntry(g given, want noun.Kind) {
	if c.rack.Partial && want.Has(noun.Source|noun.Tie|noun.Destination) {
		return
	}
	d := diag.New("wrong-kind", g.value.At, "`%s` is %s, and here goes %s", g.value.Text, cond.Describe(g.entry.Kind), want.A()).
		With(g.entry.At, "here in the plan")
	near := c.nearest(g.value.Text, c.namesOf(want))
	for _, n := range near {
		d = d.Replace(g.value.At, n, false, "write `%s`", n)
	}
	if len(near) == 0 {
		d = c.offerAll(d, g.value.At, want)
	}
	c.report(d, g)
}

// unknownOperand reports a name that nothing has.
func (c *checker) unknownOperand(g given, want noun.Kind) {
	text, at := g.value.Text, g.value.At
	switch {
	case want.Has(noun.Clip):
		c.report(diag.New("wrong-kind", at, "`%s` is no clip: clips stand in double quotes", text).
			Replace(at, `"`+text+`"`, true, "write `\"%s\"`", text), g)
		return
	case want.Has(noun.Duration):
		c.report(diag.New("wrong-kind", at, "`%s` is no time", text).Mend("write a time such as `12f`, `500ms` or `1.5s`"), g)
		return
	case want.Has(noun.Number | noun.Shot | noun.Text):
		c.report(diag.New("wrong-kind", at, "`%s` is no %s", text, want).Mend("write %s", literalOf(want)), g)
		return
	}
	if c.mayBeLost(text) {
		return
	}
	names := c.namesOf(want)
	if c.macro != nil {
		for name, kind := range c.macro.params {
			if cond.Roles(kind).Has(want) {
				names = append(names, name)
			}
		}
	}
	d := diag.New("unknown-name", at, "there is no %s called `%s`", want, text)
	near := c.nearest(text, names)
	for _, n := range near {
		d = d.Replace(at, n, false, "write `%s`", n)
	}
	if len(near) == 0 {
		d = c.offerAll(d, at, want)
	}
	c.report(d, g)
}

// wrongLiteral reports a text, number or time where something else goes.
func (c *checker) wrongLiteral(g given, want noun.Kind) {
	at, written := g.value.At, g.value.At.Text()
	d := diag.New("wrong-kind", at, "`%s` is %s, and here goes %s", written, tokenWords[g.value.Kind], want.A())
	switch e := c.rack.Names[g.value.Text]; {
	case g.value.Kind == syntax.String && e != nil && e.Kind.Has(want):
		d = d.Replace(at, g.value.Text, true, "write `%s` without quotes", g.value.Text)
	case g.value.Kind == syntax.Number && want.Has(noun.Duration):
		for _, w := range timecode.Units(written) {
			d = d.Replace(at, w, false, "write `%s`", w)
		}
	default:
		d = c.offerAll(d, at, want)
	}
	c.report(d, g)
}

var tokenWords = map[syntax.TokenKind]string{syntax.String: "a text", syntax.Number: "a number", syntax.Duration: "a time"}

// literals are the kinds that are written out, not named in the plan.
const literals = noun.Clip | noun.Number | noun.Text | noun.Shot | noun.Duration

// literalOf says what can be written for a kind that has no names.
func literalOf(want noun.Kind) string {
	switch {
	case want.Has(noun.Clip):
		return "a clip's name in double quotes"
	case want.Has(noun.Shot):
		return "the number of a stored shot, or its name in double quotes"
	case want.Has(noun.Number):
		return "a number"
	case want.Has(noun.Duration):
		return "a time such as `12f`, `500ms` or `1.5s`"
	}
	return "a text in double quotes"
}

// namesOf lists the plan's names of a kind that fit where one stands, in
// alphabetical order.
func (c *checker) namesOf(want noun.Kind) []string {
	var names []string
	for name, e := range c.rack.Names {
		if e.Kind.Has(want) && (c.fits == nil || c.fits(e)) {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// offerAll lists what there is of a kind, when that is not much.
func (c *checker) offerAll(d diag.Diagnostic, at source.Span, want noun.Kind) diag.Diagnostic {
	names := c.namesOf(want)
	switch {
	case want.Has(literals):
		return d.Mend("write %s", literalOf(want))
	case len(names) == 0:
		return d.Mend("add %s to the plan", want.A())
	case len(names) <= 4:
		for _, n := range names {
			d = d.Replace(at, n, false, "write `%s`", n)
		}
		return d
	}
	return d.Mend("name one of the plan, such as %s", nearest.Quote(names[:3]))
}

// planName resolves a name of the plan that stands outside a verb's slots.
// It is nil when there is no such thing, which is then reported.
func (c *checker) planName(n syntax.Name, want noun.Kind) *plan.Entry {
	if n.Text == "" {
		return nil
	}
	g := c.operand(syntax.Operand{Kind: syntax.Word, Text: n.Text, At: n.At}, want)
	if !g.known() {
		return nil
	}
	return g.entry
}

// mayBeLost says that a name may be missing only because of a mistake in the
// plan, which has been reported.
func (c *checker) mayBeLost(name string) bool { return c.rack.Holes || c.rack.Lost[name] }
