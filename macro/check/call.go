package check

import (
	"slices"
	"strings"

	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// later is a part of a macro that depends on the values of its parameters, so
// that it is checked again for each call. One of the fields is set.
type later struct {
	action *syntax.Action
	run    *syntax.Run
	cond   *cond.Expr
	time   syntax.Operand
	rule   timeRule
}

// maxCalls is the most sets of values that one macro may be run with. Each
// becomes an entry of the compiled show.
const maxCalls = 4096

// runOf checks run NAME(…).
func (c *checker) runOf(n *syntax.Run) {
	if n.Name.Text == "" {
		return
	}
	m, ok := c.macros[n.Name.Text]
	if !ok {
		c.runSalvo(n)
		return
	}
	m.ran = true
	c.runs = append(c.runs, run{n.Name.At, m})
	c.args(n, m)
}

// runSalvo checks run NAME where NAME is no macro.
func (c *checker) runSalvo(n *syntax.Run) {
	name := n.Name.Text
	if s, ok := c.salvos[name]; ok {
		s.ran = true
		c.runs = append(c.runs, run{n.Name.At, s})
		if len(n.Args) > 0 {
			c.add(diag.New("unknown-argument", n.Args[0].Name.At, "`%s` is a salvo and takes no values", name).
				With(s.name.At, "the salvo").
				Mend("leave out the brackets, or make it a macro"))
		}
		return
	}
	c.add(c.suggest(diag.New("unknown-name", n.Name.At, "there is no macro or salvo `%s`", name), n.Name, c.runnable,
		"add `macro %s { … }` to the show", name))
}

// runnable lists what can be run.
func (c *checker) runnable() []string {
	names := make([]string, 0, len(c.macros)+len(c.salvos))
	for m := range c.macros {
		names = append(names, m)
	}
	for s := range c.salvos {
		names = append(names, s)
	}
	return names
}

// args checks the values of a call, each by itself, and then what they do in
// the macro.
func (c *checker) args(n *syntax.Run, m *macro) {
	params := m.node.Params
	if len(params) == 0 && len(n.Args) == 0 {
		return
	}
	if c.env == nil {
		c.touch = false
	}
	values, good := make([]syntax.Operand, len(params)), true
	for i := range n.Args {
		a := &n.Args[i]
		p := c.param(n, m, a, values)
		if p < 0 {
			good = false
			continue
		}
		g := c.operand(a.Value, takes(m.params[params[p].Name.Text]))
		good = good && g.ok
		values[p] = g.value
		if values[p].Kind == syntax.Bad {
			values[p] = syntax.Operand{Kind: syntax.Bad, At: a.Name.At}
		}
	}
	good = c.complete(n, m, values) && good
	if c.env == nil && c.touch {
		c.macro.later = append(c.macro.later, later{run: n})
		return
	}
	if good {
		c.call(n, m, values)
	}
}

// takes is what may be given for a parameter of a kind.
func takes(kind noun.Kind) noun.Kind {
	switch {
	case kind == 0:
		return ^noun.Kind(0)
	case kind.Has(noun.Source):
		return kind | pictures
	case kind.Has(noun.Shot):
		return kind | noun.Number
	}
	return kind
}

// param finds the parameter of an argument; -1 when there is none or it has a
// value already, which is reported.
func (c *checker) param(n *syntax.Run, m *macro, a *syntax.Arg, values []syntax.Operand) int {
	for i := range m.node.Params {
		if m.node.Params[i].Name.Text != a.Name.Text {
			continue
		}
		if !values[i].At.IsZero() {
			if c.env == nil {
				c.add(diag.New("name-taken", a.Name.At, "`%s` is given twice", a.Name.Text).
					With(values[i].At, "the first value").Mend("leave one of the two out"))
			}
			return -1
		}
		return i
	}
	if c.env != nil || a.Name.Text == "" {
		return -1
	}
	var names []string
	for _, p := range m.node.Params {
		if !slices.ContainsFunc(n.Args, func(b syntax.Arg) bool { return b.Name.Text == p.Name.Text }) {
			names = append(names, p.Name.Text)
		}
	}
	d := diag.New("unknown-argument", a.Name.At, "`%s` has no parameter `%s`", m.name.Text, a.Name.Text).
		With(m.name.At, "the macro and its parameters")
	c.add(c.near(d, a.Name.At, a.Name.Text, names, "", "leave it out: `%s` takes nothing more", m.name.Text))
	return -1
}

// complete says whether a call gives every parameter a value, and reports once
// those that it does not.
func (c *checker) complete(n *syntax.Run, m *macro, values []syntax.Operand) bool {
	full, quiet := true, c.env != nil
	for _, a := range n.Args {
		_, known := m.params[a.Name.Text]
		quiet = quiet || !known // it may be a misspelt one of those that are missing
	}
	call := wants{at: n.Name.At, way: "run", name: m.name.Text}
	for i, p := range m.node.Params {
		missing := values[i].At.IsZero()
		full = full && !missing
		kind := m.params[p.Name.Text]
		again := slices.ContainsFunc(m.node.Params[:i], func(q syntax.Param) bool { return q.Name.Text == p.Name.Text })
		if kind != 0 && !again { // else the parameter itself is at fault
			call.add(p.Name.Text, kind, p.Name.At, written(values[i]), missing)
		}
	}
	if !quiet {
		call.report(c, "the parameter")
	}
	return full
}

// wants are the values that a run or a send wants, to be told in one finding
// which are missing.
type wants struct {
	at        source.Span
	way, name string
	all       []string // as they would be written: "item: …"
	missing   []string // in words: "`item`, which is a clip"
	places    []source.Span
}

func (w *wants) add(name string, kind noun.Kind, at source.Span, written string, missing bool) {
	if missing {
		written = "…"
		w.missing = append(w.missing, "`"+name+"`, which is "+kind.A())
		w.places = append(w.places, at)
	}
	w.all = append(w.all, name+": "+written)
}

// written is a value as it stands in the file.
func written(value syntax.Operand) string { return value.At.Text() }

func (w *wants) report(c *checker, note string) {
	if len(w.missing) == 0 {
		return
	}
	d := diag.New("missing-argument", w.at, "`%s` wants %s", w.name, strings.Join(w.missing, ", and "))
	for _, at := range w.places {
		d = d.With(at, note)
	}
	c.add(d.Mend("write `%s %s(%s)`", w.way, w.name, strings.Join(w.all, ", ")))
}

// call checks what in a macro depends on its parameters, with the values of
// one call. Values that have been found good are not looked at again.
func (c *checker) call(n *syntax.Run, m *macro, values []syntax.Operand) {
	if len(m.later) == 0 || !m.done {
		return
	}
	c.key = c.key[:0]
	for i := range values {
		c.key = append(append(c.key, values[i].Text...), byte(values[i].Kind), 0)
	}
	good, seen := m.seen[string(c.key)]
	if good {
		return
	}
	if !seen && len(m.seen) == maxCalls {
		if !m.full {
			m.full = true
			c.add(diag.New("too-many-calls", n.Name.At, "`%s` is run with more than %d different sets of values", m.name.Text, maxCalls).
				Mend("split the macro, or give it fewer parameters"))
		}
		return
	}
	if m.seen == nil {
		m.seen, m.placed = map[string]bool{}, map[string]bool{}
	}
	if seen {
		at := where(values)
		if m.placed[at] {
			return
		}
		m.placed[at] = true
	}
	key := string(c.key)
	m.seen[key] = true // while it lasts, so that it ends
	before := len(c.list)
	c.inside(m, values)
	m.seen[key] = len(c.list) == before
}

// where is a key of the places that values were written at.
func where(values []syntax.Operand) string {
	b := make([]byte, 0, 4*len(values))
	for i := range values {
		s := values[i].At.Start
		b = append(b, byte(s), byte(s>>8), byte(s>>16), byte(s>>24))
	}
	return string(b)
}

// inside checks the later parts of a macro with its parameters known.
func (c *checker) inside(m *macro, values []syntax.Operand) {
	outer, outerEnv := c.macro, c.env
	c.macro, c.env = m, &env{m, values}
	for i := range m.later {
		switch l := &m.later[i]; {
		case l.action != nil:
			c.action(l.action)
		case l.run != nil:
			c.args(l.run, c.macros[l.run.Name.Text])
		case l.cond != nil:
			c.neverTrue(l.cond)
		default:
			c.time(l.time, l.rule)
		}
	}
	c.macro, c.env = outer, outerEnv
}
