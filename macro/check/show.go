package check

import (
	"cuewright/macro/cond"
	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// Show checks a show against its rack. The Info is never nil; the findings
// are in reading order, and those that the show allows are left out. A rack
// that is Partial silences what may only look unknown.
func Show(f *syntax.File, rack *plan.Rack) (*Info, diag.List) { return On("", f, rack) }

// On is Show on a day, written as 2027-01-31: what an allow allowed until a day
// before is allowed no more, and that is a finding. The empty day is before all
// others.
func On(day string, f *syntax.File, rack *plan.Rack) (*Info, diag.List) {
	c := newChecker(f, rack)
	c.day = day
	c.declare()
	c.order()
	for _, s := range c.inSalvos {
		c.salvoBody(s)
	}
	for _, m := range c.info.MacroOrder {
		c.macroBody(c.macros[m.Name.Text])
	}
	for _, item := range f.Items {
		c.item(item)
	}
	c.unused()
	c.reach()
	c.openStops()
	return c.info, c.settle()
}

// checker is one run of Show.
type checker struct {
	file *syntax.File
	rack *plan.Rack
	info *Info
	day  string // on which the show is checked
	list diag.List

	macros   map[string]*macro
	ordered  []*macro // in file order, the ones that Info has
	inSalvos []*macro
	pages    map[string]*page
	inFile   []*page
	salvos   map[string]*macro // a salvo is a macro that only acts
	banks    map[*plan.Bank]map[string]bool
	scope    cond.Scope // outside macros
	feeds    map[*plan.Destination]feed

	at       place  // what is being checked
	macro    *macro // whose parameters can be named, or nil
	env      *env   // the values of those parameters, when they are known
	touch    bool   // a parameter without a value was met
	block    source.Span
	given    []given                // of the action being checked
	fits     func(*plan.Entry) bool // whether a name could stand where one is being checked; nil is all
	key      []byte                 // of the call being checked
	stops    []stop
	runs     []run
	turns    []turn
	goes     []namedGo
	open     []openButton
	cueTurns []turn
	cueRuns  []run
	uses     []use
	allows   []*allowance // in the order of checking
	byCode   map[diag.Code][]*allowance
	taken    map[[2]int]source.Span // the places of the page being checked
	rules    map[string]*syntax.Rule
	timed    []*syntax.Cue   // cues that fire at a moment, in the order of the rundown
	searches int             // for near names
	lost     map[string]bool // names of macros and pages that a misspelt one may have meant
}

// place is the kind of script that is being checked.
type place uint8

const (
	inMacro place = iota
	inSalvo
	inButton
	inCue
)

func newChecker(f *syntax.File, rack *plan.Rack) *checker {
	return &checker{
		file: f, rack: rack,
		info: &Info{
			File: f, Rack: rack,
			Macros: map[string]*syntax.Macro{}, Salvos: map[string]*syntax.Salvo{}, Pages: map[string]*syntax.Page{},
			Cues: map[string]int{}, Conds: map[*syntax.Cond]*cond.Expr{},
			Moments: map[*syntax.Cue]Moment{}, Shown: map[*syntax.Step]Moment{},
		},
		macros: map[string]*macro{}, pages: map[string]*page{}, salvos: map[string]*macro{},
		banks: map[*plan.Bank]map[string]bool{}, feeds: map[*plan.Destination]feed{}, lost: map[string]bool{}, byCode: map[diag.Code][]*allowance{},
		taken: map[[2]int]source.Span{},
	}
}

// item checks one thing at the top of the file. Macros and salvos that have
// a name are checked before, callees first.
func (c *checker) item(item syntax.Item) {
	switch n := item.(type) {
	case *syntax.Macro:
		if c.info.Macros[n.Name.Text] != n { // its name is taken, but its script counts
			m := &macro{name: n.Name, node: n, body: n.Body}
			c.params(m)
			c.macroBody(m)
		}
	case *syntax.Salvo:
		if c.info.Salvos[n.Name.Text] != n {
			c.salvoBody(&macro{name: n.Name, body: n.Body})
		}
	case *syntax.Page:
		c.page(n)
	case *syntax.Rundown:
		if n == c.info.Rundown {
			c.rundown(n)
		}
	case *syntax.Rule:
		c.rule(n)
	case *syntax.Rehearsal:
		c.rehearsal(n)
	case *syntax.Allow:
		c.allow(n, source.Span{})
	}
}

// add reports findings that hold whatever the parameters are.
func (c *checker) add(d ...diag.Diagnostic) { c.list = append(c.list, d...) }
