package check

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/syntax"
)

// order puts the macros so that those that are run stand before those that
// run them, and reports macros that run each other in a circle.
func (c *checker) order() {
	o := orderer{c: c, state: map[*macro]uint8{}}
	for _, m := range c.ordered {
		if o.state[m] == 0 {
			o.visit(m)
		}
	}
}

// orderer is a depth-first walk: state 1 is under way, 2 is done. path are the
// macros under way and by which run each came to be.
type orderer struct {
	c     *checker
	state map[*macro]uint8
	path  []*macro
	by    []*syntax.Run
}

func (o *orderer) visit(m *macro) {
	o.state[m] = 1
	o.path = append(o.path, m)
	eachRun(m.node.Body, func(r *syntax.Run) {
		to := o.c.macros[r.Name.Text]
		if to == nil {
			return
		}
		switch o.state[to] {
		case 0:
			o.by = append(o.by, r)
			o.visit(to)
			o.by = o.by[:len(o.by)-1]
		case 1:
			o.circle(to, r)
		}
	})
	o.path = o.path[:len(o.path)-1]
	o.state[m] = 2
	o.c.info.MacroOrder = append(o.c.info.MacroOrder, m.node)
}

// circle reports the way from a macro back to itself, closed by a run.
func (o *orderer) circle(to *macro, closing *syntax.Run) {
	from := slices.Index(o.path, to)
	var way strings.Builder
	for i, m := range o.path[from:] {
		if i > 0 {
			way.WriteString(", which runs ")
		}
		way.WriteString("`" + m.name.Text + "`")
	}
	d := diag.New("macro-circle", closing.Name.At, "%s, which runs `%s` again", way.String(), to.name.Text)
	if len(o.path)-from == 1 {
		d.What = "`" + to.name.Text + "` runs itself"
	}
	for _, r := range o.by[from:] {
		d = d.With(r.Name.At, "runs `"+r.Name.Text+"`")
	}
	o.c.add(d.Mend("leave out one of these runs; what should repeat is pressed again"))
}

// eachRun calls f for every run in a script, in reading order.
func eachRun(b *syntax.Block, f func(*syntax.Run)) {
	if b == nil {
		return
	}
	for _, s := range b.Statements {
		switch n := s.(type) {
		case *syntax.Run:
			f(n)
		case *syntax.Until:
			eachRun(n.Else, f)
		case *syntax.If:
			eachRun(n.Then, f)
			eachRun(n.Else, f)
		case *syntax.Together:
			eachRun(n.Body, f)
		case *syntax.Block:
			eachRun(n, f)
		}
	}
}

// unused warns of macros, salvos and parameters that nothing uses.
func (c *checker) unused() {
	if c.file.Partial || c.searches > maxSearches {
		return
	}
	for _, m := range c.ordered {
		name := m.name
		if !m.ran && !c.lost[name.Text] {
			c.add(diag.New("never-run", name.At, "nothing runs the macro `%s`", name.Text).
				Mend("give it a button or a cue: `run %s`", name.Text))
		}
		for _, p := range m.node.Params {
			if kind, ok := m.params[p.Name.Text]; ok && kind != 0 && !m.used[p.Name.Text] {
				c.add(diag.New("unused-parameter", p.Name.At, "`%s` does nothing with `%s`", name.Text, p.Name.Text).
					Mend("leave it out, here and where the macro is run"))
			}
		}
	}
	for _, s := range c.inSalvos {
		if !s.ran && !c.lost[s.name.Text] {
			c.add(diag.New("never-run", s.name.At, "nothing runs the salvo `%s`", s.name.Text).
				Mend("give it a button or a cue: `run %s`", s.name.Text))
		}
	}
}

// reach warns of pages that no surface can get to: neither the first of a
// surface in the file, nor turned to by anything that can be pressed or fired.
func (c *checker) reach() {
	if c.file.Partial || c.searches > maxSearches {
		return
	}
	var open []*page
	reached := func(p *page) {
		if !p.reached {
			p.reached = true
			open = append(open, p)
		}
	}
	var follow func(m *macro)
	follow = func(m *macro) {
		if !m.reached {
			m.reached = true
			for _, t := range m.turns {
				reached(t.to)
			}
			for _, callee := range m.calls {
				follow(callee)
			}
		}
	}
	started := map[string]bool{}
	for _, p := range c.inFile {
		for _, s := range p.node.Surfaces {
			if !started[s.Text] {
				started[s.Text] = true
				reached(p)
			}
		}
	}
	for _, t := range c.cueTurns {
		reached(t.to)
	}
	for _, r := range c.cueRuns {
		follow(r.to)
	}
	for len(open) > 0 {
		p := open[0]
		open = open[1:]
		for _, t := range p.turns {
			reached(t.to)
		}
		for _, r := range p.runs {
			follow(r.to)
		}
	}
	c.outOfReach()
}

func (c *checker) outOfReach() {
	for _, p := range c.inFile {
		if name := p.node.Name; !p.reached && !c.lost[name.Text] && len(p.node.Surfaces) > 0 {
			c.add(diag.New("page-out-of-reach", name.At, "nothing that can be pressed turns to page `%s`", name.Text).
				Mend("give another page a button with `page %s to %s`", p.node.Surfaces[0].Text, name.Text))
		}
	}
}
