package check

import (
	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// macro is what is known of a macro or salvo while checking. Node is nil for a
// salvo.
type macro struct {
	name    syntax.Name
	node    *syntax.Macro
	body    *syntax.Block
	scope   cond.Scope
	params  map[string]noun.Kind
	used    map[string]bool
	later   []later         // what depends on the parameters' values
	seen    map[string]bool // sets of values already checked; true when all was well
	placed  map[string]bool // the places of those where it was not
	full    bool            // there were too many
	ran     bool            // something runs it
	done    bool            // its body has been checked
	first   []stop          // the first recorder or encoder that it stops, itself or by what it runs
	calls   []*macro        // those that it runs, in order
	turns   []turn
	goes    []namedGo
	fired   bool // its cues by number have been reported
	reached bool
}

// page is what is known of a page while checking.
type page struct {
	node    *syntax.Page
	turns   []turn
	runs    []run
	reached bool
	buttons map[[2]int]*syntax.Button // made when a rehearsal asks
}

// declare collects every name of the show, and reports those given twice.
func (c *checker) declare() {
	runnable, pages := map[string]source.Span{}, map[string]source.Span{}
	for _, item := range c.file.Items {
		switch n := item.(type) {
		case *syntax.Macro:
			if c.free(n.Name, runnable, "macro or salvo") {
				c.info.Macros[n.Name.Text] = n
				m := &macro{name: n.Name, node: n, body: n.Body}
				c.macros[n.Name.Text] = m
				c.ordered = append(c.ordered, m)
			}
		case *syntax.Salvo:
			if c.free(n.Name, runnable, "macro or salvo") {
				c.info.Salvos[n.Name.Text] = n
				s := &macro{name: n.Name, body: n.Body}
				c.salvos[n.Name.Text] = s
				c.inSalvos = append(c.inSalvos, s)
			}
		case *syntax.Page:
			if c.free(n.Name, pages, "page") {
				c.info.Pages[n.Name.Text] = n
				p := &page{node: n}
				c.pages[n.Name.Text] = p
				c.inFile = append(c.inFile, p)
			}
		case *syntax.Rundown:
			c.oneRundown(n)
		}
	}
	c.declareCues()
	c.scope = c.baseScope()
	for _, m := range c.ordered {
		c.params(m)
	}
}

// free says whether a name can be given, and reports when it cannot.
func (c *checker) free(n syntax.Name, taken map[string]source.Span, what string) bool {
	if n.Text == "" {
		return false
	}
	if first, dup := taken[n.Text]; dup {
		c.add(diag.New("name-taken", n.At, "there is already a %s called `%s`", what, n.Text).
			With(first, "the first one").Mend("give one of the two another name"))
		return false
	}
	taken[n.Text] = n.At
	if e, dup := c.rack.Names[n.Text]; dup {
		c.add(diag.New("name-taken", n.At, "`%s` is already %s of the plan", n.Text, cond.Describe(e.Kind)).
			With(e.At, "here in the plan").Mend("give it another name, such as `%s_now`", n.Text))
	}
	return true
}

// oneRundown keeps the first rundown and reports the others.
func (c *checker) oneRundown(n *syntax.Rundown) {
	if c.info.Rundown == nil {
		c.info.Rundown = n
		return
	}
	c.add(diag.New("second-rundown", n.At.File.At(int(n.At.Start), int(n.At.Start)+len("rundown")),
		"this show already has a rundown").
		With(c.info.Rundown.At.File.At(int(c.info.Rundown.At.Start), int(c.info.Rundown.At.Start)+len("rundown")), "the first one").
		Mend("move these cues to the first rundown"))
}

// params declares a macro's parameters.
func (c *checker) params(m *macro) {
	m.scope = c.scope
	if len(m.node.Params) == 0 {
		return
	}
	m.params = make(map[string]noun.Kind, len(m.node.Params))
	m.used = make(map[string]bool, len(m.node.Params))
	taken := map[string]source.Span{}
	for _, p := range m.node.Params {
		if !c.free(p.Name, taken, "parameter") {
			continue
		}
		kind := noun.Params[p.Kind.Text]
		m.params[p.Name.Text] = kind // 0 when the kind cannot be read: nothing more is said
	}
	m.scope.Params = m.params
}

// baseScope is what a condition outside macros can see.
func (c *checker) baseScope() cond.Scope {
	s := cond.Scope{Macros: make(map[string]bool, len(c.macros)), Pages: make(map[string]bool, len(c.pages))}
	for name := range c.macros {
		s.Macros[name] = true
	}
	for name := range c.pages {
		s.Pages[name] = true
	}
	s.Plan = func(name string) (noun.Kind, bool) {
		if e, ok := c.rack.Names[name]; ok {
			return e.Kind, true
		}
		return 0, c.mayBeLost(name) && !s.Macros[name] && !s.Pages[name] && name != "rundown"
	}
	s.Names = c.planNames
	return s
}

// planNames lists the plan's names, for the suggestions of a condition.
func (c *checker) planNames() []string {
	if c.searches++; c.searches > maxSearches {
		return nil
	}
	names := make([]string, 0, len(c.rack.Names))
	for name := range c.rack.Names {
		names = append(names, name)
	}
	return names
}

// maxSearches is how many findings of one run get a search for near names. A
// show with more mistakes than that gets the rest without, so that checking
// takes no more than time in proportion to its size.
const maxSearches = 500

// nearest finds the names near a word, or none after maxSearches.
func (c *checker) nearest(word string, names []string) []string {
	if c.searches++; c.searches > maxSearches {
		return nil
	}
	return nearest.Names(word, names)
}
