package cond

import (
	"github.com/expr-lang/expr/ast"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// truth reads a node that must be yes or no.
func (r *reader) truth(n ast.Node, depth int) *Expr {
	if depth > MaxDepth {
		at := r.at(n.Location())
		r.list.Add(diag.New("condition-too-long", at, "more than %d `not` stand one in another", MaxDepth).
			Mend("leave out each pair of them"))
		return &Expr{At: at}
	}
	switch n := n.(type) {
	case *ast.BoolNode:
		op := No
		if n.Value {
			op = Yes
		}
		return &Expr{Op: op, Type: Truth, At: r.at(n.Location())}
	case *ast.UnaryNode:
		if n.Operator == "not" || n.Operator == "!" {
			x := r.truth(n.Node, depth+1)
			return not(x, r.at(n.Location()).To(x.At))
		}
	case *ast.BinaryNode:
		switch n.Operator {
		case "and", "&&":
			return r.join(And, n, depth)
		case "or", "||":
			return r.join(Or, n, depth)
		case "in":
			return r.in(n, depth)
		}
		if op, ok := comparisons[n.Operator]; ok {
			return r.compare(op, n, depth)
		}
	case *ast.MemberNode, *ast.CallNode, *ast.IdentifierNode, *ast.IntegerNode, *ast.FloatNode, *ast.StringNode:
		return r.wantTruth(r.value(n))
	}
	return r.unsupported(n)
}

func not(x *Expr, at source.Span) *Expr {
	return &Expr{Op: Not, Type: x.Type, At: at, Args: []*Expr{x}}
}

// join reads both sides of and, or. It knows the slip `main.program == wide
// or goal`.
func (r *reader) join(op Op, n *ast.BinaryNode, depth int) *Expr {
	left := r.truth(n.Left, depth)
	var right *Expr
	if name, ok := n.Right.(*ast.IdentifierNode); ok {
		right = r.value(name)
		if asked := lastAsked(left); asked != nil && right.Type == asked.Type {
			full := asked.At.Text() + " == " + name.Value
			r.list.Add(diag.New("condition-type", right.At, "`%s` by itself is not yes or no", name.Value).
				Replace(right.At, full, false, "say the whole: `%s`", full))
			right.Type = Unknown
		}
		right = r.wantTruth(right)
	} else {
		right = r.truth(n.Right, depth)
	}
	e := &Expr{Op: op, At: left.At.To(right.At), Args: []*Expr{left, right}}
	if left.Type == Truth && right.Type == Truth {
		e.Type = Truth
	}
	return e
}

// lastAsked is the field that the comparison before an and, or asked.
func lastAsked(e *Expr) *Expr {
	for e.Op == And || e.Op == Or {
		e = e.Args[1]
	}
	if (e.Op == Equal || e.Op == NotEqual) && e.Args[0].Op == Field {
		return e.Args[0]
	}
	return nil
}

// wantTruth complains of a value that is not yes or no.
func (r *reader) wantTruth(e *Expr) *Expr {
	if e.Type == Truth || e.Type == Unknown {
		return e
	}
	d := diag.New("condition-type", e.At, "`%s` by itself is not yes or no", e.At.Text())
	switch e.Op {
	case Field:
		d = d.Mend("compare it: `%s == …`", e.At.Text())
	case NameValue:
		d = r.askOf(d, e.Name)
	default:
		d = d.Mend("compare a field with it, such as `main.program == wide`")
	}
	r.list.Add(d)
	e.Type = Unknown
	return e
}

// wantValue complains of a thing that has no value to compare.
func (r *reader) wantValue(e *Expr) *Expr {
	if e.Type != thing {
		return e
	}
	kind, _, _ := r.resolve(e.Name)
	r.list.Add(r.askOf(diag.New("condition-type", e.At, "`%s` is %s and has no value to compare", e.Name, Describe(kind)), e.Name))
	e.Type = Unknown
	return e
}

// unsupported says that a part of expr-lang has no place in a condition of a
// show, and what can be written instead. What stands inside is not looked at.
func (r *reader) unsupported(n ast.Node) *Expr {
	what, instead := "this", "write comparisons joined by `and`, `or` and `not`"
	at := r.at(n.Location())
	switch n := n.(type) {
	case *ast.UnaryNode:
		what, instead = "`"+n.Operator+"`", "write the number itself"
	case *ast.BinaryNode:
		what, instead = "`"+n.Operator+"`", "compare a field with one value: `main.program == wide`"
		switch n.Operator {
		case "in", "contains":
			instead = "name what may be there: `main.program in [wide, goal]`"
		case "matches", "startsWith", "endsWith":
			instead = "compare with the whole name: `deck.clip == \"opener\"`"
		case "|", "??":
			instead = "join with `or`"
		}
	case *ast.ConditionalNode:
		what, instead = "a choice with `?` or `if`", "write it out: `a and b or not a and c`"
		at = r.whole()
	case *ast.BuiltinNode:
		what, instead = "`"+n.Name+"( )`", "ask fields, such as `iso.rolling`, and join them with `and` or `or`"
	case *ast.CallNode:
		what, instead = "`"+at.Text()+"( )`", "ask what a destination shows: `screens.shows(wide)`"
	case *ast.ChainNode:
		what, instead = "`?.`", "write `.`: every name is known beforehand"
	case *ast.SliceNode, *ast.MemberNode:
		what, instead = "`[ ]` after a name", "write the field after a point: `main.program`"
	case *ast.ArrayNode:
		what, instead = "a list by itself", "ask whether a field is in it: `main.program in [wide, goal]`"
	case *ast.MapNode, *ast.PredicateNode, *ast.PointerNode:
		what = "`{ }`"
	case *ast.VariableDeclaratorNode, *ast.SequenceNode:
		what, instead = "`let` and `;`", "write one condition, joined with `and` or `or`"
		at = r.whole()
	case *ast.NilNode:
		what, instead = "`nil`", "ask a field, such as `deck.empty`"
	case *ast.BytesNode:
		what, instead = "`b` before a text", "write the clip's name in double quotes"
	}
	r.list.Add(diag.New("condition-unsupported", at, "a condition cannot have %s", what).Mend("%s", instead))
	return &Expr{At: at}
}

// whole is the span of the whole condition.
func (r *reader) whole() source.Span {
	return r.file.At(r.base, r.base+r.offset(len(r.text)))
}
