package render

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/types"
	"github.com/expr-lang/expr/vm"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/source"
)

// longestFormula is the most characters that one calculation of a template
// may have. With no loops in the language of templates, it also bounds the
// work of evaluating one.
const longestFormula = 400

// formula is one calculation of a template, checked and ready to run. One that
// is no more than a name has no program: most are, and to compile one takes
// longer than all else that is done for it.
type formula struct {
	at      source.Span
	kind    kind
	name    string
	program *vm.Program
}

// value is what a formula gives: int64, float64, string or bool.
type value any

// names are what the formulas of one template may use, by full name:
// "bank.number", "frames".
type names map[string]kind

// locate maps a run of bytes of a formula's text to its place in the plan.
type locate func(from, to int) source.Span

// newFormula reads and checks one calculation. The result is nil when the
// findings are not.
func newFormula(text string, at locate, known names) (*formula, diag.List) {
	whole := at(0, len(text))
	if strings.TrimSpace(text) == "" {
		return nil, diag.List{diag.New(unreadable, whole, "there is nothing between the braces")}
	}
	if n := utf8.RuneCountInString(text); n > longestFormula {
		return nil, diag.List{diag.New(unreadable, whole, "a calculation of %d characters is too long, %d is the most", n, longestFormula)}
	}
	tree, err := parser.Parse(text)
	if err != nil {
		return nil, diag.List{misread(text, err, at)}
	}
	c := checker{text: text, at: at, known: known}
	kind := c.kind(tree.Node)
	if len(c.found) > 0 {
		return nil, c.found
	}
	if name, ok := nameOf(tree.Node); ok {
		return &formula{at: whole, kind: kind, name: name}, nil
	}
	options := []expr.Option{expr.Env(shape(known)), expr.DisableAllBuiltins()}
	for name := range functions {
		options = append(options, expr.EnableBuiltin(name))
	}
	program, err := expr.Compile(text, options...)
	if err != nil { // our own check knows fewer mistakes than expr-lang
		return nil, diag.List{misread(text, err, at)}
	}
	return &formula{at: whole, kind: kind, program: program}, nil
}

// nameOf is the full name that a node is, if it is one: "frames", "bank.number".
func nameOf(n ast.Node) (name string, ok bool) {
	switch n := n.(type) {
	case *ast.IdentifierNode:
		return n.Value, true
	case *ast.MemberNode:
		group, ok := n.Node.(*ast.IdentifierNode)
		field, is := n.Property.(*ast.StringNode)
		if ok && is && !n.Optional && !n.Method {
			return group.Value + "." + field.Value, true
		}
	}
	return "", false
}

// eval runs a formula. What is wrong is said in plain words.
func (f *formula) eval(given map[string]value) (value, error) {
	if f.program == nil {
		return result(given[f.name])
	}
	out, err := expr.Run(f.program, nest(given))
	if err != nil {
		return nil, errors.New("cannot be worked out")
	}
	return result(out)
}

// result is what came of a formula, as templates take it.
func result(out any) (value, error) {
	switch v := out.(type) {
	case int:
		return int64(v), nil
	case int64: // a name's own value
		return v, nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, errors.New("has no number as its result")
		}
		return v, nil
	case string, bool:
		return v, nil
	}
	return nil, errors.New("cannot be worked out")
}

// shape is the names with their types, as expr-lang wants them.
func shape(known names) types.Map {
	ofKind := map[kind]types.Type{whole: types.Int, number: types.Float64, text: types.String, truth: types.Bool}
	out := types.Map{}
	for _, name := range slices.Sorted(maps.Keys(known)) {
		group, field, dotted := strings.Cut(name, ".")
		if !dotted {
			out[name] = ofKind[known[name]]
			continue
		}
		inner, _ := out[group].(types.Map)
		if inner == nil {
			inner = types.Map{}
			out[group] = inner
		}
		inner[field] = ofKind[known[name]]
	}
	return out
}

// nest is the values in the shape that the formulas were checked against.
func nest(given map[string]value) map[string]any {
	out := map[string]any{}
	for name, v := range given {
		if whole, ok := v.(int64); ok {
			v = int(whole)
		}
		group, field, dotted := strings.Cut(name, ".")
		if !dotted {
			out[name] = v
			continue
		}
		inner, _ := out[group].(map[string]any)
		if inner == nil {
			inner = map[string]any{}
			out[group] = inner
		}
		inner[field] = v
	}
	return out
}

// misread says in our words that expr-lang could not read a calculation, at
// the place that it names.
func misread(text string, err error, at locate) diag.Diagnostic {
	var where *file.Error
	span := at(0, len(text))
	if errors.As(err, &where) {
		from, to := offsets(text, where.Location)
		if from < to {
			span = at(from, to)
			return diag.New(unreadable, span, "`%s` does not fit here", text[from:to])
		}
		if from >= len(text) {
			return diag.New(unreadable, span, "`%s` ends too early", strings.TrimSpace(text))
		}
	}
	return diag.New(unreadable, span, "`%s` cannot be worked out", strings.TrimSpace(text))
}

// offsets turns expr-lang's places, which count characters, into bytes.
func offsets(text string, l file.Location) (from, to int) {
	from, to = len(text), len(text)
	n := 0
	for i := range text {
		if n == l.From {
			from = i
		}
		if n == l.To {
			to = i
		}
		n++
	}
	return from, max(from, to)
}

// kind is the kind of a value in a template.
type kind uint8

// The kinds. Unknown is after a mistake: it fits everything.
const (
	unknown kind = iota
	whole
	number
	text
	truth
)

func (k kind) String() string {
	return [...]string{"something", "a whole number", "a number", "text", "yes or no"}[k]
}

func (k kind) numeric() bool { return k == whole || k == number || k == unknown }

// functions are the functions that a template may use, with their kinds. None
// can loop or grow its text.
var functions = map[string]struct {
	takes, gives kind
	least, most  int
}{
	"int":    {number, whole, 1, 1},
	"float":  {number, number, 1, 1},
	"round":  {number, number, 1, 1},
	"floor":  {number, number, 1, 1},
	"ceil":   {number, number, 1, 1},
	"abs":    {number, number, 1, 1},
	"min":    {number, number, 1, 8},
	"max":    {number, number, 1, 8},
	"len":    {text, whole, 1, 1},
	"upper":  {text, text, 1, 1},
	"lower":  {text, text, 1, 1},
	"trim":   {text, text, 1, 1},
	"string": {unknown, text, 1, 1},
}

// checker finds every mistake of one calculation.
type checker struct {
	text  string
	at    locate
	known names
	found diag.List
}

// span is the place of a node with all that is below it.
func (c *checker) span(n ast.Node) source.Span {
	from, to := c.extent(n)
	return c.at(from, to)
}

func (c *checker) extent(n ast.Node) (from, to int) {
	e := extent{text: c.text, from: len(c.text)}
	ast.Walk(&n, &e)
	return min(e.from, e.to), e.to
}

// extent is a visitor that gathers the first and last byte of a tree.
type extent struct {
	text     string
	from, to int
}

// Visit takes one node in.
func (e *extent) Visit(n *ast.Node) {
	from, to := offsets(e.text, (*n).Location())
	e.from, e.to = min(e.from, from), max(e.to, to)
}

func (c *checker) say(code diag.Code, n ast.Node, format string, args ...any) {
	c.found.Add(diag.New(code, c.span(n), format, args...))
}

// kind checks a node and gives the kind of its value.
func (c *checker) kind(n ast.Node) kind {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return whole
	case *ast.FloatNode:
		return number
	case *ast.StringNode:
		return text
	case *ast.BoolNode:
		return truth
	case *ast.IdentifierNode, *ast.MemberNode:
		if name, ok := nameOf(n); ok {
			return c.name(n, name)
		}
	case *ast.UnaryNode:
		return c.unary(n)
	case *ast.BinaryNode:
		return c.binary(n)
	case *ast.ConditionalNode:
		return c.choice(n)
	case *ast.BuiltinNode:
		return c.call(n, n.Name, n.Arguments)
	case *ast.CallNode:
		if callee, ok := n.Callee.(*ast.IdentifierNode); ok {
			return c.call(n, callee.Value, n.Arguments)
		}
	}
	from, to := c.extent(n)
	c.say(unreadable, n, "`%s` cannot be used in a message", c.text[from:to])
	return unknown
}

// name finds the kind of a name.
func (c *checker) name(n ast.Node, full string) kind {
	if k, ok := c.known[full]; ok {
		return k
	}
	all := slices.Sorted(maps.Keys(c.known))
	span := c.span(n)
	d := diag.New(unknownName, span, "`%s` is not a value of this message", full)
	near := nearest.Names(full, all)
	if len(near) == 0 { // "number" may mean "bank.number", "bank" both of its fields
		for _, name := range all {
			if len(near) < 4 && (strings.HasSuffix(name, "."+full) || strings.HasPrefix(name, full+".")) {
				near = append(near, name)
			}
		}
	}
	for _, name := range near {
		d = d.Replace(span, name, false, "write `%s`", name)
	}
	if len(near) == 0 && len(all) > 0 {
		d = d.Mend("use %s", nearest.Quote(all))
	}
	if len(all) == 0 {
		d = d.Mend("leave it out: this message has no values")
	}
	c.found.Add(d)
	return unknown
}

func (c *checker) unary(n *ast.UnaryNode) kind {
	k := c.kind(n.Node)
	if n.Operator == "not" || n.Operator == "!" {
		c.want(n.Node, k, truth, n.Operator)
		return truth
	}
	if !k.numeric() {
		c.want(n.Node, k, number, n.Operator)
		return number
	}
	return k
}

// want complains when k is not what an operator or function needs.
func (c *checker) want(n ast.Node, k, need kind, by string) {
	if k == unknown || k == need || need == unknown || need == number && k == whole {
		return
	}
	from, to := c.extent(n)
	c.say(mismatch, n, "`%s` is %s, and `%s` needs %s", c.text[from:to], k, by, need)
}

func (c *checker) binary(n *ast.BinaryNode) kind {
	left, right := c.kind(n.Left), c.kind(n.Right)
	both := func(need kind) {
		c.want(n.Left, left, need, n.Operator)
		c.want(n.Right, right, need, n.Operator)
	}
	switch n.Operator {
	case "and", "&&", "or", "||":
		both(truth)
		return truth
	case "contains", "startsWith", "endsWith":
		both(text)
		return truth
	case "==", "!=", "<", ">", "<=", ">=":
		c.alike(n, left, right)
		return truth
	case "+":
		if left == text || right == text {
			both(text)
			return text
		}
		both(number)
	case "-", "*":
		both(number)
	case "/", "**", "^":
		both(number)
		return number
	case "%":
		both(whole)
		return whole
	default:
		c.say(unreadable, n, "`%s` cannot be used in a message", n.Operator)
		return unknown
	}
	if left == whole && right == whole {
		return whole
	}
	return number
}

// alike complains when two values cannot be compared.
func (c *checker) alike(n *ast.BinaryNode, left, right kind) {
	if left.numeric() && right.numeric() || left == right && (left == text || n.Operator == "==" || n.Operator == "!=") ||
		left == unknown || right == unknown {
		return
	}
	c.say(mismatch, n, "%s and %s cannot be compared with `%s`", left, right, n.Operator)
}

func (c *checker) choice(n *ast.ConditionalNode) kind {
	c.want(n.Cond, c.kind(n.Cond), truth, "?")
	yes, no := c.kind(n.Exp1), c.kind(n.Exp2)
	switch {
	case yes == no:
		return yes
	case yes.numeric() && no.numeric():
		return number
	case yes != unknown && no != unknown:
		c.say(mismatch, n, "one side of `:` is %s and the other is %s", yes, no)
	}
	return unknown
}

func (c *checker) call(n ast.Node, name string, args []ast.Node) kind {
	f, ok := functions[name]
	if !ok {
		all := slices.Sorted(maps.Keys(functions))
		d := diag.New(unreadable, c.span(n), "there is no function `%s` for messages", name)
		for _, near := range nearest.Names(name, all) {
			d = d.Mend("write `%s`", near)
		}
		if len(d.Mends) == 0 {
			d = d.Mend("use %s", nearest.Quote(all))
		}
		c.found.Add(d)
		return unknown
	}
	if len(args) < f.least || len(args) > f.most {
		c.say(mismatch, n, "`%s` takes %s", name, amount(f.least, f.most))
	}
	for _, a := range args {
		c.want(a, c.kind(a), f.takes, name)
	}
	return f.gives
}

func amount(least, most int) string {
	if least == most {
		return "one value"
	}
	return fmt.Sprintf("%d to %d values", least, most)
}
