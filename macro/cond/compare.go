package cond

import (
	"github.com/expr-lang/expr/ast"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// comparisons are the signs that compare.
var comparisons = map[string]Op{"==": Equal, "!=": NotEqual, "<": Less, "<=": LessEqual, ">": Greater, ">=": GreaterEqual}

// turned is the comparison with its sides changed over.
var turned = map[Op]Op{Equal: Equal, NotEqual: NotEqual, Less: Greater, LessEqual: GreaterEqual, Greater: Less, GreaterEqual: LessEqual}

// kinds of value in messages: what a field is, and what it is compared with.
var typeWords = [...]struct{ is, with string }{
	Truth:      {"yes or no", "`true` or `false`"},
	NumberType: {"a shot", "a stored shot, such as `2`"},
	PickType:   {"a picture", "a source, a mix bank or a tie line"},
	ClipType:   {"a clip", "a clip's name in double quotes"},
	PageType:   {"a page", "the name of a page"},
	CueType:    {"a cue", "a cue's number"},
}

// compare reads a comparison: a field with a fixed value.
func (r *reader) compare(op Op, n *ast.BinaryNode, depth int) *Expr {
	left := r.side(n.Left, Unknown, depth)
	right := r.side(n.Right, left.Type, depth)
	at := left.At.To(right.At)
	if fixed(left) && !fixed(right) {
		left, right, op = right, left, turned[op]
	}
	e := &Expr{Op: op, At: at, Args: []*Expr{left, right}}
	switch {
	case left.Type == Unknown || right.Type == Unknown:
	case left.Type == Truth && right.Type == Truth:
		return r.compareTruths(e, n.Operator)
	case r.fits(at, left, right) && r.ordered(e, n.Operator):
		e.Type = Truth
	}
	return e
}

// fits reports what is wrong with comparing a field with a value, if anything.
func (r *reader) fits(at source.Span, left, right *Expr) bool {
	l, v := left.At.Text(), right.At.Text()
	switch {
	case fixed(left):
		r.list.Add(diag.New("condition-type", at, "`%s` and `%s` never change, so comparing them tells nothing", l, v).
			Mend("compare a field with one of them, such as `main.program == wide`"))
	case !alike(left.Type, right):
		r.list.Add(diag.New("condition-type", right.At, "`%s` is %s, which `%s` is not", l, typeWords[left.Type].is, v).
			Mend("compare it with %s", typeWords[left.Type].with))
	case !fixed(right):
		r.list.Add(diag.New("condition-type", at, "`%s` and `%s` both change while the show runs", l, v).
			Mend("compare each with a name, and join the comparisons with `and` or `or`"))
	default:
		return true
	}
	return false
}

// ordered complains of < and > where there is no order.
func (r *reader) ordered(e *Expr, sign string) bool {
	if e.Op == Equal || e.Op == NotEqual || e.Args[0].Type == NumberType && e.Args[1].Type == NumberType {
		return true
	}
	r.list.Add(diag.New("condition-type", e.At, "`%s` has no order, so `%s` tells nothing", e.Args[0].At.Text(), sign).
		Mend("compare with `==` or `!=`"))
	return false
}

// alike says whether a field of the given type can be the value at all. A
// shot has a number and may have a name; a cue is always written as a number.
func alike(field Type, v *Expr) bool {
	switch field {
	case CueType:
		return v.Op == NumberValue
	case NumberType:
		return v.Type == NumberType || v.Op == TextValue
	}
	return field == v.Type
}

// compareTruths spells a comparison of yes-or-no values out.
func (r *reader) compareTruths(e *Expr, sign string) *Expr {
	a, b := e.Args[0], e.Args[1]
	if e.Op != Equal && e.Op != NotEqual {
		r.list.Add(diag.New("condition-type", e.At, "yes and no have no order, so `%s` tells nothing", sign).
			Mend("compare with `==` or `!=`"))
		return &Expr{At: e.At}
	}
	pair := func(op Op, x, y *Expr) *Expr { return &Expr{Op: op, Type: Truth, At: e.At, Args: []*Expr{x, y}} }
	switch {
	case b.Op == Yes && e.Op == Equal, b.Op == No && e.Op == NotEqual:
		return a
	case b.Op == Yes, b.Op == No:
		return not(a, e.At)
	case e.Op == Equal:
		return pair(Or, pair(And, a, b), pair(And, not(a, e.At), not(b, e.At)))
	}
	return pair(Or, pair(And, a, not(b, e.At)), pair(And, not(a, e.At), b))
}

// side reads one side of a comparison with a value of the given type.
func (r *reader) side(n ast.Node, with Type, depth int) *Expr {
	switch n := n.(type) {
	case *ast.IdentifierNode:
		if _, _, known := r.resolve(n.Value); !known && with == ClipType {
			at := r.at(n.Location())
			r.list.Add(diag.New("unknown-name", at, "there is nothing called `%s`", n.Value).
				Replace(at, `"`+n.Value+`"`, false, "write a clip's name in double quotes: `\"%s\"`", n.Value))
			return &Expr{Op: NameValue, At: at, Name: n.Value}
		}
		return r.wantValue(r.value(n))
	case *ast.IntegerNode, *ast.FloatNode, *ast.StringNode, *ast.MemberNode, *ast.CallNode:
		return r.wantValue(r.value(n))
	}
	return r.truth(n, depth+1)
}

// fixed says that a value does not change while the show runs.
func fixed(e *Expr) bool {
	switch e.Op {
	case NameValue, NumberValue, TextValue, Yes, No:
		return e.Type != Unknown
	}
	return false
}

// in reads FIELD in [value, …].
func (r *reader) in(n *ast.BinaryNode, depth int) *Expr {
	list, ok := n.Right.(*ast.ArrayNode)
	if !ok {
		return r.unsupported(n)
	}
	left := r.side(n.Left, Unknown, depth)
	open := r.at(list.Location())
	e := &Expr{Op: In, At: left.At.To(open), Args: []*Expr{left}}
	e.At.End = r.closing(open.Start)
	good := left.Type != Unknown
	if good && (fixed(left) || left.Type == Truth) {
		r.list.Add(diag.New("condition-type", left.At, "`%s` is nothing that a list could hold", left.At.Text()).
			Mend("ask a field, such as `main.program in [wide, goal]`"))
		good = false
	}
	if len(list.Nodes) == 0 {
		r.list.Add(diag.New("condition-type", e.At, "an empty list holds nothing, so this is never true").
			Mend("name what may be there, such as `[wide, goal]`"))
		return &Expr{At: e.At}
	}
	typed := good
	for _, item := range list.Nodes {
		x := r.side(item, left.Type, depth)
		e.Args = append(e.Args, x)
		typed = typed && x.Type != Unknown
		if good && x.Type != Unknown && !r.fits(e.At, left, x) {
			typed = false
		}
	}
	if typed {
		e.Type = Truth
	}
	return e
}
