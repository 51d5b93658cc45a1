package check

import (
	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// stop is a recorder or encoder being stopped; run, a macro being run; turn, a
// page being turned to; namedGo, a cue being fired by number. They are noted
// while walking and judged at the end, when the whole show is known.
type stop struct {
	at   source.Span
	what string
}

type run struct {
	at source.Span
	to *macro
}

type turn struct{ to *page }

type namedGo struct{ at source.Span }

// macroBody checks a macro's script.
func (c *checker) macroBody(m *macro) {
	c.at, c.macro = inMacro, m
	stops, runs, turns, goes := len(c.stops), len(c.runs), len(c.turns), len(c.goes)
	c.body(m.body)
	m.turns, m.goes = c.turns[turns:], c.goes[goes:]
	c.keepStop(m, stops)
	for _, r := range c.runs[runs:] {
		m.calls = append(m.calls, r.to)
		if m.first == nil {
			m.first = r.to.first
		}
	}
	c.macro, m.done = nil, true
}

// salvoBody checks a salvo's actions.
func (c *checker) salvoBody(s *macro) {
	c.at, c.macro = inSalvo, nil
	stops := len(c.stops)
	c.body(s.body)
	c.keepStop(s, stops)
}

// keepStop keeps the first recorder or encoder that a script stops without
// being allowed to.
func (c *checker) keepStop(m *macro, from int) {
	for _, s := range c.stops[from:] {
		if m.first == nil && !c.allowed("stop-unguarded", s.at) {
			m.first = []stop{s}
		}
	}
}

// body checks a script, which may be missing.
func (c *checker) body(b *syntax.Block) {
	if b == nil {
		return
	}
	outer := c.block
	c.block = b.At
	for _, s := range b.Statements {
		c.statement(s)
	}
	c.block = outer
}

func (c *checker) statement(s syntax.Statement) {
	switch n := s.(type) {
	case *syntax.Action:
		if c.at == inSalvo && !n.Verb.Salvo {
			c.notInSalvo(n.VerbAt, n.Verb.Word)
		}
		c.action(n)
		return
	case *syntax.Allow:
		c.allow(n, c.block)
		return
	}
	if c.at == inSalvo {
		c.notInSalvo(firstWord(s.Span()), firstWord(s.Span()).Text())
		return
	}
	switch n := s.(type) {
	case *syntax.Wait:
		c.time(n.Time, waitTime)
	case *syntax.Until:
		c.cond(n.Cond)
		c.assumes(n)
		c.time(n.Within, withinTime)
		c.body(n.Else)
	case *syntax.If:
		c.cond(n.Cond)
		c.body(n.Then)
		c.body(n.Else)
	case *syntax.Together:
		c.body(n.Body)
		c.together(n)
	case *syntax.Block:
		c.body(n)
	case *syntax.Run:
		c.runOf(n)
	case *syntax.Say:
		c.said(n.Text)
	case *syntax.Go:
		if n.Cue.Text != "" {
			c.cueNamed(n.Cue)
			c.goes = append(c.goes, namedGo{n.Cue.At})
		}
	case *syntax.Turn:
		c.turn(n)
	}
}

// together warns of one in which nothing is done.
func (c *checker) together(n *syntax.Together) {
	if c.env != nil || c.file.Partial || n.Body == nil {
		return
	}
	for _, s := range n.Body.Statements {
		if _, remark := s.(*syntax.Allow); !remark {
			return
		}
	}
	c.add(diag.New("empty-together", firstWord(n.At), "nothing stands in this `together`").
		Mend("write in it what happens side by side, or leave it out"))
}

// said checks what is said: a text, or a parameter that is one.
func (c *checker) said(op syntax.Operand) {
	var params map[string]noun.Kind
	if c.macro != nil {
		params = c.macro.params
	}
	if _, known := params[op.Text]; op.Kind != syntax.Word || known {
		c.operand(op, noun.Text)
		return
	}
	quoted := syntax.Quote(op.Text)
	d := diag.New("text-unquoted", op.At, "the text to say stands in double quotes").
		Replace(op.At, quoted, len(params) == 0, "write `%s`", quoted)
	for name, kind := range params {
		if kind == noun.Text && len(c.nearest(op.Text, []string{name})) > 0 {
			d = d.Replace(op.At, name, false, "write `%s`, the parameter", name)
		}
	}
	c.add(d)
}

// firstWord is the span of a statement's first word.
func firstWord(at source.Span) source.Span {
	for i := at.Start; i < at.End; i++ {
		if b := at.File.Bytes[i]; b == ' ' || b == '\t' || b == '\n' || b == '{' && i > at.Start {
			at.End = i
			break
		}
	}
	return at
}

func (c *checker) notInSalvo(at source.Span, word string) {
	c.add(diag.New("not-in-salvo", at, "a salvo cannot hold `%s`", word).
		Mend("make it a macro: write `macro` for `salvo`"))
}

// turn checks page SURFACE to PAGE.
func (c *checker) turn(n *syntax.Turn) {
	e := c.planName(n.Surface, noun.Surface)
	if n.Page.Text == "" {
		return
	}
	p, ok := c.pages[n.Page.Text]
	if !ok {
		c.noPage(n.Page)
		return
	}
	c.turns = append(c.turns, turn{p})
	if e == nil || hasName(p.node.Surfaces, n.Surface.Text) {
		return
	}
	d := diag.New("page-not-on-surface", n.Page.At, "page `%s` is not on `%s`", n.Page.Text, n.Surface.Text).
		With(p.node.Name.At, "the page, and after `on` its surfaces")
	for _, s := range p.node.Surfaces {
		d = d.Replace(n.Surface.At, s.Text, false, "turn `%s` to it", s.Text)
	}
	c.add(d.Mend("add `%s` to the surfaces of page `%s`", n.Surface.Text, n.Page.Text))
}

// noPage reports a page that there is none of.
func (c *checker) noPage(n syntax.Name) {
	c.add(c.suggest(diag.New("unknown-name", n.At, "there is no page `%s`", n.Text), n, c.pageNames, "add `page %s on …`", n.Text))
}

func (c *checker) pageNames() []string {
	names := make([]string, 0, len(c.pages))
	for name := range c.pages {
		names = append(names, name)
	}
	return names
}

// suggest offers the near ones of the names that would be right, or says what
// else can be done. What is offered is not called unused afterwards.
func (c *checker) suggest(d diag.Diagnostic, n syntax.Name, names func() []string, otherwise string, args ...any) diag.Diagnostic {
	var near []string
	if c.searches <= maxSearches {
		near = c.nearest(n.Text, names())
	}
	for _, name := range near {
		c.lost[name] = true
		d = d.Replace(n.At, name, false, "write `%s`", name)
	}
	if len(near) == 0 {
		d = d.Mend(otherwise, args...)
	}
	return d
}

func hasName(list []syntax.Name, text string) bool {
	for i := range list {
		if list[i].Text == text {
			return true
		}
	}
	return false
}
