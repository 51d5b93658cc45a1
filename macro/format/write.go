package format

import (
	"strings"

	"cuewright/macro/syntax"
)

// writer puts tokens and comments out at their places.
type writer struct {
	*layout
	out    []byte
	last   int // the token written last, or -1
	ends   int // line ends in the input since the last token or comment
	indent int // of the current line's unit
	broken bool
	after  int // the first token that is no comment, from the current comment on
}

func (l *layout) write() []byte {
	w := writer{layout: l, out: make([]byte, 0, len(l.f.Source.Bytes)+1024), last: -1}
	for i, t := range l.tokens {
		switch {
		case l.places[i].how == raw:
			w.out = append(w.out, l.f.Text(t)...)
			w.last, w.ends = i, 0
		case t.Kind == syntax.Newline:
			w.ends++
		case separates(l.f, t):
		case t.Kind == syntax.Comment:
			w.comment(i)
		default:
			w.token(i)
		}
	}
	if len(w.out) > 0 {
		w.out = append(w.out, '\n')
	}
	return w.out
}

func (w *writer) token(i int) {
	text := w.f.Text(w.tokens[i])
	switch p := w.places[i]; {
	case p.how == newLine:
		w.indent = int(p.count)
		w.line(w.indent, text == "}")
	case w.broken:
		w.line(w.continued(text), false)
	case p.how == semicolon:
		w.out = append(w.out, "; "...)
	default:
		w.blanks(w.between(w.last, i))
	}
	w.out = append(w.out, text...)
	w.last, w.ends, w.broken = i, 0, false
}

// continued is the indent of a token that a comment parts from its line.
func (w *writer) continued(text string) int {
	if text == "{" || text == "else" || text == "while" {
		return w.indent
	}
	return w.indent + 1
}

// comment writes a comment: behind what stands on its line, or on a line of its
// own, as far in as what follows it.
func (w *writer) comment(i int) {
	if w.ends == 0 && len(w.out) > 0 {
		w.blanks(2)
	} else {
		w.line(w.commentIndent(i), false)
	}
	w.out = append(w.out, strings.TrimRight(w.f.Text(w.tokens[i]), " \t\r")...)
	w.ends, w.broken = 0, true
}

func (w *writer) commentIndent(i int) int {
	if w.after <= i {
		for w.after = i + 1; w.after < len(w.tokens); w.after++ {
			if t := w.tokens[w.after]; t.Kind != syntax.Comment && !separates(w.f, t) {
				break
			}
		}
	}
	if w.after == len(w.tokens) {
		return 0
	}
	p, text := w.places[w.after], w.f.Text(w.tokens[w.after])
	switch {
	case p.how != newLine:
		return w.continued(text)
	case text == "}":
		return int(p.count) + 1
	}
	return int(p.count)
}

// line begins a line, after a blank one where the input has one, but not at
// the start of a block and not at its end.
func (w *writer) line(indent int, closing bool) {
	if len(w.out) == 0 {
		return
	}
	opened := !w.broken && w.last >= 0 && w.f.Text(w.tokens[w.last]) == "{"
	if w.ends > 1 && !opened && !closing {
		w.out = append(w.out, '\n')
	}
	w.out = append(w.out, '\n')
	w.blanks(indent * 2)
}

func (w *writer) blanks(n int) {
	for range n {
		w.out = append(w.out, ' ')
	}
}

// between is the number of blanks between two neighbours on a line.
func (l *layout) between(last, i int) int {
	if last < 0 {
		return 0
	}
	if p := l.places[i]; p.how == blanks {
		return int(p.count)
	}
	before, text := l.f.Text(l.tokens[last]), l.f.Text(l.tokens[i])
	switch text {
	case ")", "]", ",", ":", ".", ";", "-":
		return 0
	case "(":
		if l.tokens[last].Kind == syntax.Word {
			return 0
		}
	}
	switch before {
	case "(", "[", ".", "-":
		return 0
	}
	return 1
}
