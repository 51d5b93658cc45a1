package lower

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// scripts are the show's tasks before they are code.
type scripts struct {
	macros   map[*syntax.Macro]*script
	branches map[syntax.Statement]*script // by the statement inside together
	presses  map[*syntax.Button]*script
	holds    map[*syntax.Button]*script
	releases map[*syntax.Button]*script
	cues     []*script
	order    []*script // by task
	salvoAt  map[*syntax.Salvo]int32
}

// script is what becomes one task. bound are the sets of arguments that it is
// run with, one an entry; a branch has those of its owner.
type script struct {
	kind     program.TaskKind
	name     string
	at       source.Span
	again    uint8
	body     []syntax.Statement
	bound    []*binding
	entries  map[string]int32 // by the text of a binding: its place among bound; nil while they are few
	owner    *script          // of a branch
	of       int32            // else: the macro, button or cue it belongs to
	branches []*script
	task     int32
	arranged bool // it stands in the order, at task
}

// binding is what a macro's parameters stand for in one run. text is how the
// arguments read; equal texts are equal bindings.
type binding struct {
	text   string
	values map[string]syntax.Operand
}

// operand puts an argument in the place of a parameter's name.
func (b *binding) operand(o syntax.Operand) syntax.Operand {
	if o.Kind == syntax.Word {
		if v, ok := b.values[o.Text]; ok {
			return v
		}
	}
	return o
}

// name is what a name stands for.
func (b *binding) name(name string) string {
	if v, ok := b.values[name]; ok {
		return v.Text
	}
	return name
}

// bind makes the binding of a run, whose own operands may be parameters of the
// script around it.
func (b *binding) bind(m *syntax.Macro, args []syntax.Arg) *binding {
	if len(m.Params) == 0 {
		return &binding{}
	}
	inner := &binding{values: make(map[string]syntax.Operand, len(m.Params))}
	var words []string
	for _, p := range m.Params {
		for _, a := range args {
			if a.Name.Text == p.Name.Text {
				v := b.operand(a.Value)
				inner.values[p.Name.Text] = v
				words = append(words, p.Name.Text+": "+written(v))
			}
		}
	}
	inner.text = strings.Join(words, ", ")
	return inner
}

// written is an operand as the language writes it.
func written(o syntax.Operand) string {
	if o.Kind == syntax.String {
		return text(syntax.Quote(o.Text))
	}
	return o.Text
}

// entry is the place of a binding among those of a script, or -1.
func (s *script) entry(b *binding) int32 {
	if s.entries != nil {
		return at(s.entries, b.text)
	}
	return int32(slices.IndexFunc(s.bound, func(known *binding) bool { return known.text == b.text }))
}

// fewBound is how many bindings are looked through: nearly every script has one.
const fewBound = 8

// lowerScripts finds every script and every set of arguments, in file order,
// and makes their tasks: macros with callees first, then what buttons do, then
// cues; branches stand before the script that starts them.
func (l *lowerer) lowerScripts() {
	l.scripts = scripts{macros: map[*syntax.Macro]*script{}, branches: map[syntax.Statement]*script{},
		presses: map[*syntax.Button]*script{}, holds: map[*syntax.Button]*script{}, releases: map[*syntax.Button]*script{}}
	var roots []*script
	root := func(kind program.TaskKind, name string, at source.Span, block *syntax.Block) *script {
		s := &script{kind: kind, name: name, at: at}
		if block != nil {
			s.body = block.Statements
		}
		if kind != program.CueTask && l.passesOn(s.body) {
			s.again = program.Restart
		}
		l.enter(s, &binding{})
		roots = append(roots, s)
		return s
	}
	for _, item := range l.info.File.Items {
		switch item := item.(type) {
		case *syntax.Macro:
			if len(item.Params) == 0 {
				l.enter(l.macro(item), &binding{})
			}
		case *syntax.Page:
			for _, b := range item.Buttons {
				name := buttonName(item, b)
				if b.Press != nil {
					l.presses[b] = root(program.PressTask, name, b.At, b.Press)
				}
				if b.Hold != nil {
					l.holds[b] = root(program.HoldTask, name+" hold", b.At, b.Hold)
				}
				if b.Release != nil {
					l.releases[b] = root(program.ReleaseTask, name+" release", b.At, b.Release)
				}
			}
		}
	}
	if l.info.Rundown != nil {
		for _, c := range l.info.Rundown.Cues {
			l.cues = append(l.cues, root(program.CueTask, "cue "+c.Number.Text, c.At, c.Body))
		}
	}
	for _, m := range l.info.MacroOrder {
		if s, ok := l.macros[m]; ok && !s.arranged {
			l.arrange(s)
		}
	}
	for _, s := range roots {
		l.arrange(s)
	}
}

// passesOn says of what a button does that it only runs a macro which has a
// word for being run again. A second press is then for that macro to answer,
// and not ignored since the first one's script still waits for it.
func (l *lowerer) passesOn(body []syntax.Statement) bool {
	var runs []*syntax.Run
	for _, st := range body {
		switch st := st.(type) {
		case *syntax.Run:
			runs = append(runs, st)
		case *syntax.Allow:
		default:
			return false
		}
	}
	if len(runs) != 1 {
		return false
	}
	m := l.info.Macros[runs[0].Name.Text]
	return m != nil && m.Again.Text != ""
}

// buttonName is a button in words: "cameras 2.1".
func buttonName(page *syntax.Page, b *syntax.Button) string {
	return fmt.Sprintf("%s %d.%d", page.Name.Text, b.Cell.Row, b.Cell.Column)
}

// macro is the script of a macro that is run.
func (l *lowerer) macro(m *syntax.Macro) *script {
	s, ok := l.macros[m]
	if !ok {
		again := map[string]uint8{"restart": program.Restart, "queue": program.Queue}[m.Again.Text]
		s = &script{kind: program.MacroTask, name: m.Name.Text, at: m.At, again: again, body: m.Body.Statements}
		l.macros[m] = s
	}
	return s
}

// enter adds a set of arguments to a script and to all that it runs with them.
func (l *lowerer) enter(s *script, b *binding) {
	if s.entry(b) >= 0 {
		return
	}
	s.bound = append(s.bound, b)
	switch {
	case s.entries != nil:
		s.entries[b.text] = int32(len(s.bound) - 1)
	case len(s.bound) > fewBound:
		s.entries = map[string]int32{}
		for i, known := range s.bound {
			s.entries[known.text] = int32(i)
		}
	}
	l.find(s, b, s.body)
}

// find looks for what statements run.
func (l *lowerer) find(s *script, b *binding, statements []syntax.Statement) {
	for _, st := range statements {
		switch st := st.(type) {
		case *syntax.Run:
			if m := l.info.Macros[st.Name.Text]; m != nil {
				l.enter(l.macro(m), b.bind(m, st.Args))
			}
		case *syntax.If:
			l.find(s, b, st.Then.Statements)
			l.findIn(s, b, st.Else)
		case *syntax.Until:
			l.findIn(s, b, st.Else)
		case *syntax.Block:
			l.find(s, b, st.Statements)
		case *syntax.Together:
			for _, branch := range branchesOf(st) {
				l.enter(l.branch(s, branch), b)
			}
		}
	}
}

func (l *lowerer) findIn(s *script, b *binding, block *syntax.Block) {
	if block != nil {
		l.find(s, b, block.Statements)
	}
}

// branchesOf are the statements of together that run side by side.
func branchesOf(t *syntax.Together) []syntax.Statement {
	var branches []syntax.Statement
	for _, st := range t.Body.Statements {
		if _, remark := st.(*syntax.Allow); !remark {
			branches = append(branches, st)
		}
	}
	return branches
}

// branch is the script of a statement inside together.
func (l *lowerer) branch(owner *script, st syntax.Statement) *script {
	s, ok := l.branches[st]
	if !ok {
		name := fmt.Sprintf("%s branch %d", owner.name, len(owner.branches)+1)
		s = &script{kind: program.BranchTask, name: name, at: st.Span(), owner: owner, body: []syntax.Statement{st}}
		if block, several := st.(*syntax.Block); several {
			s.body = block.Statements
		}
		owner.branches = append(owner.branches, s)
		l.branches[st] = s
	}
	return s
}

// arrange gives a script its task, after those of its branches.
func (l *lowerer) arrange(s *script) {
	for _, b := range s.branches {
		l.arrange(b)
	}
	s.task, s.arranged = int32(len(l.order)), true
	l.order = append(l.order, s)
}

// belongs says which macro, button or cue a task is of; -1 is no task.
func (l *lowerer) belongs(task, of int32) {
	if task >= 0 {
		l.order[task].of = of
	}
}
