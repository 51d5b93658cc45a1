package format

import (
	"sort"

	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// place is where a token goes: on a new line, after a semicolon, after some
// blanks, or (the zero value) where its neighbours demand.
type place struct {
	how   how
	count int16 // the indent of a new line, or the number of blanks
}

type how uint8

const (
	inline how = iota
	newLine
	semicolon
	blanks
	raw // inside a condition: as it stands
)

// layout gives every token its place, from the tree down.
type layout struct {
	f      *syntax.File
	tokens []syntax.Token
	places []place
}

func newLayout(f *syntax.File) *layout {
	l := &layout{f: f, tokens: f.Tokens, places: make([]place, len(f.Tokens))}
	syntax.Walk(f, func(n any) bool {
		if c, ok := n.(*syntax.Cond); ok {
			first := l.index(c.At.Start)
			l.places[first] = place{blanks, 1}
			for i := first + 1; i < len(l.tokens) && l.tokens[i].Start < c.At.End; i++ {
				l.places[i].how = raw
			}
		}
		return true
	})
	return l
}

// index is the token at an offset.
func (l *layout) index(offset int32) int {
	return sort.Search(len(l.tokens), func(i int) bool { return l.tokens[i].End > offset })
}

// before is the last token before the one at offset that is no blank, line end
// or comment; next is the first such from offset on.
func (l *layout) before(offset int32) int32 {
	i := l.index(offset) - 1
	for i > 0 && l.tokens[i].Kind <= syntax.Comment {
		i--
	}
	return l.tokens[i].Start
}

func (l *layout) next(offset int32) int32 {
	i := l.index(offset)
	for i < len(l.tokens)-1 && l.tokens[i].Kind <= syntax.Comment {
		i++
	}
	return l.tokens[i].Start
}

func (l *layout) begin(offset int32, indent int) {
	l.places[l.index(offset)] = place{newLine, int16(indent)}
}

func (l *layout) gap(offset int32, width int) {
	l.places[l.index(offset)] = place{blanks, int16(width)}
}

func (l *layout) file() {
	if l.f.Show != nil {
		l.begin(l.f.Show.At.Start, 0)
	}
	for _, item := range l.f.Items {
		l.begin(item.Span().Start, 0)
		switch n := item.(type) {
		case *syntax.Macro:
			l.unit(n.At, 0, n.Body)
		case *syntax.Salvo:
			l.unit(n.At, 0, n.Body)
		case *syntax.Page:
			l.page(n)
		case *syntax.Rundown:
			for _, c := range n.Cues {
				l.begin(c.At.Start, 1)
				l.unit(c.At, 1, c.Body)
			}
			l.end(n.At, len(n.Cues))
		case *syntax.Rule:
			l.rule(n)
		case *syntax.Rehearsal:
			l.rehearsal(n)
		}
	}
}

// end puts a closing brace at the end of at on a line of its own, unless there
// is nothing in the block.
func (l *layout) end(at source.Span, lines int) {
	if lines > 0 || l.comments(l.before(at.End-1), at.End) {
		l.begin(at.End-1, 0)
	}
}

// comments says whether a comment stands between two offsets.
func (l *layout) comments(start, end int32) bool {
	for i := l.index(start); i < len(l.tokens) && l.tokens[i].Start < end; i++ {
		if l.tokens[i].Kind == syntax.Comment {
			return true
		}
	}
	return false
}

// unit lays out the blocks of one thing: all on its line when they were and
// fit, else all with a statement a line.
func (l *layout) unit(at source.Span, indent int, blocks ...*syntax.Block) {
	flat := l.fits(at, indent)
	for _, b := range blocks {
		if flat {
			l.flat(b)
		} else {
			l.tall(b, indent)
		}
	}
}

// fits says whether what stands at at is on one line, or could be, within the
// widest. Line ends outside of braces do not count, nor those between braces
// that hold nothing.
func (l *layout) fits(at source.Span, indent int) bool {
	width, depth, last := indent*2, 0, -1
	for i := l.index(at.Start); i < len(l.tokens) && l.tokens[i].Start < at.End; i++ {
		t := l.tokens[i]
		switch {
		case t.Kind == syntax.Newline && depth > 0 && l.places[i].how != raw && l.f.Text(l.tokens[last]) == "{":
			next := l.next(t.Start)
			if i = l.index(next) - 1; l.f.Text(l.tokens[i+1]) != "}" || l.comments(t.Start, next) {
				return false
			}
			continue
		case t.Kind == syntax.Comment, t.Kind == syntax.Newline && (depth > 0 || l.places[i].how == raw):
			return false
		case l.places[i].how == raw:
		case t.Kind == syntax.Space || t.Kind == syntax.Newline:
			continue
		default:
			depth += l.brace(i)
			width += l.between(last, i)
		}
		last = i
		width += source.Width(l.f.Text(t))
		if width > widest {
			return false
		}
	}
	return true
}

func (l *layout) brace(i int) int {
	switch l.f.Text(l.tokens[i]) {
	case "{":
		return 1
	case "}":
		return -1
	}
	return 0
}

// braced says whether a block has braces of its own: `else alert "x"` and
// `else if` have none.
func (l *layout) braced(b *syntax.Block) bool {
	return b.At.Start < b.At.End && l.f.Source.Bytes[b.At.Start] == '{'
}

// flat puts a block's statements on one line.
func (l *layout) flat(b *syntax.Block) {
	for i, s := range b.Statements {
		if i > 0 {
			l.places[l.index(s.Span().Start)] = place{how: semicolon}
		}
		for _, inner := range l.blocks(s) {
			l.flat(inner)
		}
	}
}

// tall puts a block's statements on lines of their own.
func (l *layout) tall(b *syntax.Block, indent int) {
	if len(b.Statements) == 0 && !l.comments(b.At.Start, b.At.End) {
		return
	}
	for _, s := range b.Statements {
		l.begin(s.Span().Start, indent+1)
		l.unit(s.Span(), indent+1, l.blocks(s)...)
	}
	l.begin(b.At.End-1, indent)
}

// blocks are the blocks with braces of one statement, those of its `else if`
// among them.
func (l *layout) blocks(s syntax.Statement) []*syntax.Block {
	switch n := s.(type) {
	case *syntax.Block:
		return []*syntax.Block{n}
	case *syntax.Together:
		return []*syntax.Block{n.Body}
	case *syntax.Until:
		if n.Else != nil && l.braced(n.Else) {
			return []*syntax.Block{n.Else}
		}
	case *syntax.If:
		list := []*syntax.Block{n.Then}
		switch {
		case n.Else == nil:
		case l.braced(n.Else):
			list = append(list, n.Else)
		default:
			for _, inner := range n.Else.Statements {
				list = append(list, l.blocks(inner)...)
			}
		}
		return list
	}
	return nil
}

// rule lays out a rule: on one line, or each condition between its braces.
func (l *layout) rule(n *syntax.Rule) {
	if l.fits(n.At, 0) {
		return
	}
	for _, c := range [...]*syntax.Cond{n.Cond, n.While} {
		if c != nil {
			l.begin(c.At.Start, 1)
			l.begin(l.next(c.At.End), 0)
		}
	}
}

// rehearsal lays out a rehearsal. Steps that shared a line go on sharing it
// while they fit, since a line of steps is one moment of the story.
func (l *layout) rehearsal(n *syntax.Rehearsal) {
	together := func(steps []*syntax.Step) {
		for _, s := range steps[1:] {
			l.places[l.index(s.At.Start)] = place{how: semicolon}
		}
	}
	if l.fits(n.At, 0) {
		if len(n.Steps) > 0 {
			together(n.Steps)
		}
		return
	}
	for i, j := 0, 0; i < len(n.Steps); i = j {
		first := n.Steps[i].At
		for j = i + 1; j < len(n.Steps) && !l.lines(n.Steps[j-1].At.End, n.Steps[j].At.Start); j++ {
		}
		if l.fits(first.To(n.Steps[j-1].At), 1) {
			l.begin(first.Start, 1)
			together(n.Steps[i:j])
			continue
		}
		for _, s := range n.Steps[i:j] {
			l.begin(s.At.Start, 1)
		}
	}
	l.end(n.At, len(n.Steps))
}

// lines says whether a line ends between two offsets.
func (l *layout) lines(start, end int32) bool {
	for i := l.index(start); i < len(l.tokens) && l.tokens[i].Start < end; i++ {
		if l.tokens[i].Kind == syntax.Newline {
			return true
		}
	}
	return false
}
