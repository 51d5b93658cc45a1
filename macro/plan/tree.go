package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"unicode/utf8"

	"gopkg.in/yaml.v3"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// Limits of a plan. The largest rack we could think of, 500 devices, takes a
// hundredth of them.
const (
	maxBytes = 16 << 20
	maxMarks = 1 << 20 // an upper bound of what can become a node, each some 200 bytes
	maxDepth = 40
)

// shape is what a node is.
type shape uint8

const (
	isText    shape = iota
	isMapping       // keys[i] leads to items[i]
	isList
)

// node is a piece of YAML with its exact place. Its tree has no anchors,
// aliases, tags or key twice: those are reported when it is made.
type node struct {
	shape shape
	text  string
	tag   string // as YAML resolves plain text: !!str, !!int, !!float, !!bool, !!null
	at    source.Span
	keys  []*node
	items []*node
}

// empty says that nothing is written where the node should be.
func (n *node) empty() bool { return n.shape == isText && n.tag == "!!null" && n.text == "" }

// inside is the place of a text without its quotes, if it stands in the file
// as it is read; else the place of the whole.
func (n *node) inside() source.Span {
	if in := n.at.File.At(int(n.at.Start)+1, int(n.at.End)-1); in.Start <= in.End && n.at.Text() != n.text && in.Text() == n.text {
		return in
	}
	return n.at
}

// tree reads the file as YAML. The root is nil when there is nothing to read.
func (r *reader) tree() *node {
	if d, bad := unreadable(r.src); bad {
		r.lose(d)
		return nil
	}
	text := r.src.Bytes
	doc, err := decode(text)
	if err != nil {
		doc = r.salvage(text)
	}
	if doc == nil || len(doc.Content) == 0 {
		return nil
	}
	p := &planter{reader: r, lines: lineStarts(r.src.Bytes)}
	root := p.plant(doc.Content[0], 0)
	for _, second := range doc.Content[1:] {
		start := p.find(second.Line, second.Column)
		r.lose(diag.New("yaml-extra", r.src.At(start, wordEnd(text, start)), "a second document begins here").
			Mend("delete the line, or keep the rest in a file of its own"))
	}
	return root
}

// unreadable finds what the YAML reader would refuse without a place, or take
// too much memory for.
func unreadable(src *source.File) (diag.Diagnostic, bool) {
	text := src.Bytes
	if len(text) > maxBytes {
		return diag.New("plan-too-large", src.At(0, 0), "the plan has %d bytes; the most is %d", len(text), maxBytes), true
	}
	marks := 0
	for _, mark := range []string{",", ":", "\n", "[", "{", "- ", "? "} {
		marks += bytes.Count(text, []byte(mark))
	}
	if marks > maxMarks {
		return diag.New("plan-too-large", src.At(0, 0), "the plan has too many parts: the most is about %d", maxMarks/2), true
	}
	for i := 0; i < len(text); {
		c, size := utf8.DecodeRune(text[i:])
		if c == utf8.RuneError && size == 1 {
			return diag.New("yaml-fault", src.At(i, i+1), "this is not UTF-8 text").
				Mend("save the file as UTF-8"), true
		}
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7f || c >= 0x80 && c < 0xa0 && c != 0x85 ||
			c == 0xfeff && i > 0 || c == 0xfffe || c == 0xffff {
			return diag.New("yaml-fault", src.At(i, i+size), "there is a control character here (%U)", c).
				Mend("delete it"), true
		}
		i += size
	}
	return diag.Diagnostic{}, false
}

// decode reads the one document of the text. A panic of the YAML reader on
// text that it should have refused becomes an error like any other.
func decode(text []byte) (doc *yaml.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			doc, err = nil, fmt.Errorf("yaml: %v", p)
		}
	}()
	in := yaml.NewDecoder(bytes.NewReader(text))
	doc = &yaml.Node{}
	if err := in.Decode(doc); err != nil {
		if errors.Is(err, io.EOF) {
			return doc, nil
		}
		return nil, err
	}
	var second yaml.Node
	switch err := in.Decode(&second); {
	case errors.Is(err, io.EOF):
		return doc, nil
	case err != nil:
		return nil, err
	}
	doc.Content = append(doc.Content, &second)
	return doc, nil
}

// lineStarts gives the first byte of each line as YAML counts lines: it also
// ends them at a lone CR, NEL, LS and PS. A byte order mark is not counted.
func lineStarts(text []byte) []int {
	starts := []int{0}
	if bytes.HasPrefix(text, []byte("\ufeff")) {
		starts[0] = 3
	}
	for i := 0; i < len(text); {
		size := lineBreak(text[i:])
		if size > 0 {
			starts = append(starts, i+size)
		}
		i += max(size, 1)
	}
	return starts
}

// lineBreak is the length of the line end that text begins with, or 0.
func lineBreak(text []byte) int {
	switch text[0] {
	case '\n':
		return 1
	case '\r':
		if len(text) > 1 && text[1] == '\n' {
			return 2
		}
		return 1
	case 0xc2:
		if len(text) > 1 && text[1] == 0x85 {
			return 2
		}
	case 0xe2:
		if len(text) > 2 && text[1] == 0x80 && (text[2] == 0xa8 || text[2] == 0xa9) {
			return 3
		}
	}
	return 0
}

// planter makes the tree. Nodes come in file order, so the last place found
// is where the search for the next begins: time is linear even in one line.
type planter struct {
	*reader
	lines                []int
	line, column, offset int
}

// find converts a line and a column in code points, both from 1, to bytes.
func (p *planter) find(line, column int) int {
	line = min(max(line, 1), len(p.lines))
	if line != p.line || column < p.column {
		p.line, p.column, p.offset = line, 1, p.lines[line-1]
	}
	for p.column < column && p.offset < len(p.src.Bytes) {
		_, size := utf8.DecodeRune(p.src.Bytes[p.offset:])
		p.offset += size
		p.column++
	}
	return p.offset
}

func (p *planter) plant(y *yaml.Node, depth int) *node {
	start := p.find(y.Line, y.Column)
	n := &node{text: y.Value, tag: y.Tag, at: p.src.At(start, start)}
	switch {
	case depth > maxDepth:
		n.at = p.src.At(start, min(start+1, len(p.src.Bytes)))
		p.lose(diag.New("plan-too-deep", n.at, "this stands more than %d levels deep", maxDepth))
		return nil
	case y.Kind == yaml.AliasNode:
		n.at = p.src.At(start, start+1+len(y.Value))
		p.lose(diag.New("yaml-extra", n.at, "`*%s` stands for something written elsewhere", y.Value).
			Mend("write it out here"))
		return nil
	case y.Anchor != "" || y.Style&yaml.TaggedStyle != 0:
		n.at = p.src.At(start, wordEnd(p.src.Bytes, start))
		p.lose(diag.New("yaml-extra", n.at, "`%s` is YAML that plans do without", n.at.Text()).
			Mend("delete `%s`", n.at.Text()))
		return nil
	}
	switch y.Kind {
	case yaml.MappingNode:
		n.shape = isMapping
		p.pairs(n, y, depth)
	case yaml.SequenceNode:
		n.shape = isList
		for _, c := range y.Content {
			if item := p.plant(c, depth+1); item != nil {
				n.items = append(n.items, item)
				n.at.End = item.at.End
			}
		}
	default:
		n.at.End = int32(textEnd(p.src.Bytes, start, y))
		return n
	}
	if y.Style&yaml.FlowStyle != 0 {
		n.at.End = int32(bracketEnd(p.src.Bytes, int(max(n.at.End, n.at.Start+1))))
	}
	return n
}

// pairs fills a mapping. Of a key that stands twice the first counts.
func (p *planter) pairs(n *node, y *yaml.Node, depth int) {
	seen := map[string]*node{}
	for i := 0; i+1 < len(y.Content); i += 2 {
		key := p.plant(y.Content[i], depth+1)
		item := p.plant(y.Content[i+1], depth+1)
		if key == nil || item == nil {
			continue
		}
		n.at.End = max(item.at.End, key.at.End)
		switch first := seen[key.text]; {
		case key.shape != isText:
			p.lose(diag.New("yaml-extra", key.at, "a key is a word or a number, not a list or a mapping"))
			continue
		case first != nil:
			p.lose(diag.New("key-twice", key.at, "`%s` is written twice here", key.text).
				With(first.at, "the first time").Mend("delete one of the two"))
			continue
		}
		seen[key.text] = key
		n.keys, n.items = append(n.keys, key), append(n.items, item)
	}
}

// wordEnd is the end of the run of characters from start to a blank.
func wordEnd(text []byte, start int) int {
	end := start
	for end < len(text) && !slices.Contains([]byte(" \t\r\n,]}"), text[end]) {
		end++
	}
	return end
}

// textEnd is the end of a text that begins at start: its closing quote, the
// last character of a plain one, or the end of its first line when it goes on
// over several.
func textEnd(text []byte, start int, y *yaml.Node) int {
	rest := text[start:]
	quote := byte(0)
	switch {
	case y.Style&yaml.DoubleQuotedStyle != 0:
		quote = '"'
	case y.Style&yaml.SingleQuotedStyle != 0:
		quote = '\''
	case bytes.HasPrefix(rest, []byte(y.Value)) && y.Style&(yaml.LiteralStyle|yaml.FoldedStyle) == 0:
		return start + len(y.Value)
	default:
		end := 0
		for end < len(rest) && lineBreak(rest[end:]) == 0 {
			end++
		}
		return start + len(bytes.TrimRight(rest[:end], " \t"))
	}
	for i := 1; i < len(rest); i++ {
		switch {
		case rest[i] == '\\' && quote == '"':
			i++
		case rest[i] == quote && quote == '\'' && i+1 < len(rest) && rest[i+1] == quote:
			i++
		case rest[i] == quote:
			return start + i + 1
		}
	}
	return len(text)
}

// bracketEnd is the end of the closing bracket after the last item, over
// blanks, a comma and comments.
func bracketEnd(text []byte, at int) int {
	for i := at; i < len(text); i++ {
		switch text[i] {
		case '}', ']':
			return i + 1
		case '#':
			for i+1 < len(text) && lineBreak(text[i+1:]) == 0 {
				i++
			}
		case ' ', '\t', '\r', '\n', ',':
		default:
			return at
		}
	}
	return at
}
