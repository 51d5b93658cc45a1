// Package format writes a show in the one layout there is.
//
// It takes a show without mistakes of form and gives bytes: two blanks an
// indent, at most one blank line between things, comments where they were, a
// statement a line unless a short block stood on one line, and the buttons of
// a page in columns. It changes blanks and line ends and nothing else; Show
// holds its own output against its input and gives an error rather than a
// changed show. Conditions are written as they stand.
package format

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// widest is how many columns a block on one line may reach.
const widest = 100

// Show gives the layout of a show. It is an error to ask for the layout of a
// file with mistakes of form; then nothing is given.
func Show(f *syntax.File) ([]byte, error) {
	if f.Source == nil {
		return nil, errors.New("there is no file to lay out")
	}
	if err := sound(f.Source); err != nil {
		return nil, err
	}
	l := newLayout(f)
	l.file()
	out := l.write()
	return out, same(f, out)
}

// sound says which mistake of form stands first in a file, if any.
func sound(src *source.File) error {
	if _, found := syntax.Parse(src); found.Blocking() {
		p := found[0].At.Begin()
		return fmt.Errorf("%s:%d:%d: %s", src.Name, p.Line, p.Column, found[0].What)
	}
	return nil
}

// same says where out differs from f in more than blanks and line ends.
func same(f *syntax.File, out []byte) error {
	g, found := syntax.Parse(source.New(f.Source.Name, out))
	if found.Blocking() {
		return fmt.Errorf("the layout would break the show: %s", found[0].What)
	}
	before, after := meant(f), meant(g)
	for i := range before {
		if i >= len(after) || before[i] != after[i] {
			return fmt.Errorf("the layout would lose `%s`", before[i])
		}
	}
	if len(after) > len(before) || !slices.Equal(shape(f), shape(g)) {
		return errors.New("the layout would change what the show means")
	}
	return nil
}

// meant lists a file's tokens and comments, without what only separates them.
func meant(f *syntax.File) []string {
	var list []string
	for _, t := range f.Tokens {
		if !separates(f, t) {
			list = append(list, strings.TrimRight(f.Text(t), " \t\r"))
		}
	}
	return list
}

func separates(f *syntax.File, t syntax.Token) bool {
	return t.Kind == syntax.Space || t.Kind == syntax.Newline || t.Kind == syntax.Symbol && f.Text(t) == ";"
}

// shape lists the kinds of the tree's nodes in order, and the conditions'
// texts.
func shape(f *syntax.File) []any {
	var list []any
	syntax.Walk(f, func(n any) bool {
		if c, ok := n.(*syntax.Cond); ok {
			list = append(list, c.Text)
		}
		list = append(list, reflect.TypeOf(n))
		return true
	})
	return list
}
