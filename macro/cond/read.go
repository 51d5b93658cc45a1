package cond

import (
	"errors"
	"strings"

	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"

	"cuewright/macro/diag"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// MaxBytes is the longest condition that is read, and MaxDepth the deepest
// nesting of brackets and of `not`. Both are far above what a person writes;
// they bound the time and memory that the splitter can take.
const (
	MaxBytes = 4096
	MaxDepth = 64
)

// Read gives the typed tree of a condition, never nil, and every mistake in
// it. After a mistake the part that it spoils is of type Unknown.
//
// In the tree a comparison has the field in Args[0] and the fixed value in
// Args[1], however it was written; comparisons of yes-or-no values are spelled
// out with And, Or and Not.
func Read(c *syntax.Cond, scope *Scope) (*Expr, diag.List) {
	r := &reader{scope: scope, file: c.At.File, text: c.Text, base: int(c.At.Start)}
	lost := &Expr{At: c.At}
	if len(c.Text) > MaxBytes {
		r.list.Add(diag.New("condition-too-long", c.At, "this condition has %d bytes, and %d is the most", len(c.Text), MaxBytes).
			Mend("ask for less at once: several rules, or several `expect` lines"))
		return lost, r.list
	}
	if !r.prepare() {
		return lost, r.list
	}
	if strings.TrimSpace(r.text) == "" {
		return lost, r.list // said by whoever read the file
	}
	tree, err := parser.ParseWithConfig(r.text, nil)
	if err != nil {
		r.unreadable(err)
		return lost, r.list
	}
	return r.truth(tree.Node, 0), r.list
}

// reader walks what the splitter gives. text is what was split: the bytes of
// the condition, except where a slip was mended or a comment blanked.
// offsets[i] is the byte in the condition of code point i of text, and nil
// when the two are the same.
type reader struct {
	scope   *Scope
	file    *source.File
	text    string
	base    int
	offsets []int32
	list    diag.List
}

// at converts the splitter's code points to a span of the file.
func (r *reader) at(l file.Location) source.Span {
	return r.file.At(r.base+r.offset(l.From), r.base+r.offset(max(l.To, l.From)))
}

func (r *reader) offset(point int) int {
	if r.offsets == nil {
		return min(point, len(r.text))
	}
	return int(r.offsets[min(point, len(r.offsets)-1)])
}

// closing is the end of the brackets that open at or after the given byte of
// the file, or that byte when there are none.
func (r *reader) closing(from int32) int32 {
	depth, quoted := 0, false
	for i := int(from); i < len(r.file.Bytes) && i < int(from)+MaxBytes; i++ {
		switch b := r.file.Bytes[i]; {
		case quoted && b == '\\':
			i++
		case b == '"':
			quoted = !quoted
		case quoted:
		case b == '(' || b == '[':
			depth++
		case b == ')' || b == ']':
			if depth--; depth <= 0 {
				return int32(i + 1)
			}
		}
	}
	return from
}

// slips are words of other languages that the splitter stumbles over.
var slips = map[string]string{"is": "==", "equals": "==", "AND": "and", "OR": "or", "NOT": "not"}

// unreadable says where the splitter gave up. It stops at the first place,
// so there is one such finding for a condition.
func (r *reader) unreadable(err error) {
	at, ended := r.whole(), false
	var e *file.Error
	if errors.As(err, &e) {
		at = r.at(e.Location)
		ended = strings.HasSuffix(e.Message, "EOF") || strings.HasPrefix(e.Message, "unexpected end")
	}
	word := strings.TrimSpace(at.Text())
	if ended || word == "" {
		r.list.Add(diag.New("condition-unreadable", at, "the condition stops in the middle").
			Mend("write the rest of it, such as `main.program == wide`, and close every bracket"))
		return
	}
	d := diag.New("condition-unreadable", at, "`%s` cannot stand here in a condition", word)
	if better, ok := slips[word]; ok {
		d = d.Replace(at, better, true, "write `%s`", better)
	} else {
		d = d.Mend("join the parts with `and` or `or`, and compare with `==` or `!=`")
	}
	r.list.Add(d)
}
