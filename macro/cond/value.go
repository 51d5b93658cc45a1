package cond

import (
	"maps"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/noun"
)

// thing is the type of a name that has no value of its own, such as a
// recorder's. It never leaves this package.
const thing Type = 255

// value reads a name, a number, a text, a field or what a destination shows.
func (r *reader) value(n ast.Node) *Expr {
	at := r.at(n.Location())
	switch n := n.(type) {
	case *ast.IdentifierNode:
		return r.name(n)
	case *ast.IntegerNode, *ast.FloatNode:
		text := at.Text()
		if strings.Trim(text, "0123456789.") != "" || strings.HasPrefix(text, ".") || strings.HasSuffix(text, ".") {
			r.list.Add(diag.New("condition-unreadable", at, "`%s` is no number of a shot or a cue", text).
				Mend("write digits, with one point if need be: `12.5`"))
			return &Expr{At: at}
		}
		return &Expr{Op: NumberValue, Type: NumberType, At: at, Text: text}
	case *ast.StringNode:
		return &Expr{Op: TextValue, Type: ClipType, At: at, Text: n.Value}
	case *ast.MemberNode:
		return r.field(n)
	case *ast.CallNode:
		return r.call(n)
	}
	return r.unsupported(n)
}

// resolve finds what a name stands for. Kind 0 of a known name means that
// nothing is to be said about it.
func (r *reader) resolve(name string) (kind noun.Kind, param, known bool) {
	if k, ok := r.scope.Params[name]; ok {
		return Roles(k), true, true
	}
	if k, ok := r.scope.Plan(name); ok {
		return k, false, true
	}
	if r.scope.Macros[name] {
		kind |= noun.Macro
	}
	if r.scope.Pages[name] {
		kind |= noun.Page // a page may have the name of a macro
	}
	if kind == 0 && name == rundown {
		kind = noun.Cue
	}
	return kind, false, kind != 0
}

// name reads a name as a value.
func (r *reader) name(n *ast.IdentifierNode) *Expr {
	kind, param, known := r.resolve(n.Value)
	e := &Expr{Op: NameValue, At: r.at(n.Location()), Name: n.Value, Param: param}
	switch {
	case !known:
		r.unknown(n, func(k noun.Kind) bool { return k.Has(noun.Source | noun.Bank | noun.Tie | noun.Page) })
	case kind == 0:
	case kind.Has(noun.Source | noun.Bank | noun.Tie):
		e.Type = PickType
	case kind.Has(noun.Page):
		e.Type = PageType
	case param && kind.Has(noun.Clip):
		e.Type = ClipType
	case param && kind.Has(noun.Shot|noun.Number):
		e.Type = NumberType
	default:
		e.Type = thing
	}
	return e
}

// field reads NAME.FIELD.
func (r *reader) field(n *ast.MemberNode) *Expr {
	base, kind, e := r.asked(n)
	if base == nil || kind == 0 {
		return e
	}
	asked := e.Text
	if base.Value == rundown && kind == noun.Cue {
		if asked == standby {
			e.Type = CueType
			return e
		}
	} else if f, ok := fieldOf(kind, asked); ok {
		e.Type = f.typ
		return e
	} else if asked == shows && kind.Has(noun.Destination) {
		r.list.Add(diag.New("condition-type", e.At, "`%s` asks about one source", e.At.Text()).
			Mend("name the source in brackets: `%s(wide)`", e.At.Text()))
		return e
	}
	r.unknownField(n, base.Value, kind)
	return e
}

// unknownField says that a thing has no such field.
func (r *reader) unknownField(n *ast.MemberNode, base string, kind noun.Kind) {
	at, names := r.at(n.Property.Location()), fieldNames(kind)
	what := Describe(kind)
	if kind == noun.Cue {
		names, what = []string{standby}, "the list of cues"
	}
	d := diag.New("unknown-field", at, "`%s` is %s, which has no `%s`", base, what, at.Text())
	near := nearest.Names(at.Text(), names)
	for _, f := range near {
		d = d.Replace(at, f, false, "write `%s`", f)
	}
	if len(near) == 0 && len(names) > 0 {
		d = d.Mend("ask one of: %s", nearest.Quote(names))
	}
	if len(names) == 0 {
		d = d.Mend("ask something else: %s has nothing that changes by itself", what)
	}
	r.list.Add(d)
}

// askOf adds the fields that can be asked of a thing.
func (r *reader) askOf(d diag.Diagnostic, name string) diag.Diagnostic {
	kind, _, _ := r.resolve(name)
	var asks []string
	for _, f := range fieldNames(kind) {
		if f != shows && len(asks) < 4 {
			asks = append(asks, name+"."+f)
		}
	}
	switch {
	case name == rundown && kind == noun.Cue:
		return d.Mend("ask for the cue on standby: `rundown.standby == 2`")
	case kind.Has(noun.Destination):
		return d.Mend("ask what it shows: `%s.shows(wide)`", name)
	case kind.Has(noun.Page):
		return d.Mend("ask which page a surface shows: `desk.page == %s`", name)
	case len(asks) > 0:
		return d.Mend("ask about it: %s", nearest.Quote(asks))
	case kind.Has(noun.Tie):
		return d.Mend("ask whether a bank has it: `main.program == %s`", name)
	}
	return d.Mend("ask a field of a thing of the plan, such as `iso.rolling`")
}

// call reads NAME.shows(SOURCE).
func (r *reader) call(n *ast.CallNode) *Expr {
	member, ok := n.Callee.(*ast.MemberNode)
	if !ok {
		return r.unsupported(n)
	}
	base, kind, e := r.asked(member)
	if base == nil {
		return e
	}
	e.Op = Shows
	after := e.At.End
	e.At.End = r.closing(after)
	for _, a := range n.Arguments {
		e.Args = append(e.Args, r.shown(a))
	}
	switch {
	case kind == 0:
		return e
	case e.Text != shows && CanAsk(kind, e.Text):
		asked := e.At
		asked.End = after
		r.list.Add(diag.New("condition-type", e.At, "`%s` is asked without brackets", asked.Text()).
			Replace(e.At, asked.Text(), len(n.Arguments) == 0, "write `%s`", asked.Text()))
		return e
	case !CanAsk(kind, e.Text):
		r.unknownField(member, base.Value, kind)
		return e
	case len(n.Arguments) != 1:
		r.list.Add(diag.New("condition-type", e.At, "`%s.shows` asks about one source, and here are %d", base.Value, len(n.Arguments)).
			Mend("name one source, and join several with `or`: `%s.shows(wide) or %[1]s.shows(goal)`", base.Value))
		return e
	}
	if e.Args[0].Type == PickType {
		e.Type = Truth
	}
	return e
}

// shown reads the source, bank or tie line that a destination is asked about.
func (r *reader) shown(n ast.Node) *Expr {
	name, ok := n.(*ast.IdentifierNode)
	if !ok {
		at := r.at(n.Location())
		r.list.Add(diag.New("condition-type", at, "`%s` is no source", at.Text()).
			Mend("name a source of the plan, such as `screens.shows(wide)`"))
		return &Expr{At: at}
	}
	e := r.name(name)
	if e.Type != Unknown && e.Type != PickType {
		kind, _, _ := r.resolve(name.Value)
		r.list.Add(diag.New("condition-type", e.At, "`%s` is %s, which no destination shows", e.Name, Describe(kind)).
			Mend("name a source, a mix bank or a tie line, such as `wide`"))
		e.Type = Unknown
	}
	return e
}

// asked reads the name before the point. The node is nil when there is no
// plain, known name; then it has been said.
func (r *reader) asked(n *ast.MemberNode) (*ast.IdentifierNode, noun.Kind, *Expr) {
	prop, named := n.Property.(*ast.StringNode)
	if !named || n.Optional || r.at(n.Property.Location()).Text() != prop.Value {
		return nil, 0, r.unsupported(n)
	}
	name, ok := n.Node.(*ast.IdentifierNode)
	if !ok {
		at := r.at(n.Property.Location())
		r.list.Add(diag.New("condition-unsupported", at, "a condition cannot ask `%s` of anything but a name", prop.Value).
			Mend("write one name, a point and a field: `main.program`"))
		return nil, 0, &Expr{At: at}
	}
	e := &Expr{Op: Field, At: r.at(name.Location()).To(r.at(n.Property.Location())), Name: name.Value, Text: prop.Value}
	kind, param, known := r.resolve(name.Value)
	e.Param = param
	if !known {
		r.unknown(name, func(k noun.Kind) bool {
			return CanAsk(k, prop.Value) || k == noun.Cue && prop.Value == standby
		})
		return nil, 0, e
	}
	return name, kind, e
}

// unknown says that there is no such name, and offers those near it that
// would be right here.
func (r *reader) unknown(n *ast.IdentifierNode, right func(noun.Kind) bool) {
	at := r.at(n.Location())
	d := diag.New("unknown-name", at, "there is nothing called `%s`", n.Value)
	var fit []string
	all := r.scope.Names()
	if all == nil {
		r.list.Add(d.Mend("write a name of the plan, or add it there"))
		return
	}
	all = append(all, rundown)
	all = append(all, slices.Collect(maps.Keys(r.scope.Macros))...)
	all = append(all, slices.Collect(maps.Keys(r.scope.Pages))...)
	all = append(all, slices.Collect(maps.Keys(r.scope.Params))...)
	for _, name := range all {
		if kind, _, known := r.resolve(name); known && right(kind) {
			fit = append(fit, name)
		}
	}
	near := nearest.Names(n.Value, fit)
	for _, name := range near {
		d = d.Replace(at, name, false, "write `%s`", name)
	}
	if len(near) == 0 {
		d = d.Mend("write a name of the plan, or add it there")
	}
	r.list.Add(d)
}
