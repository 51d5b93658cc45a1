package syntax

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
)

// endsCond says whether a word ends a condition that stands without braces.
func endsCond(word string) bool {
	switch word {
	case "within", "else", "lamp", "hold", "release", "while":
		return true
	}
	return false
}

// cond reads a condition up to the line's end, a brace, or a word that ends
// one. Of is the word before it.
func (p *parser) cond(of, example string) *Cond {
	c := &p.conds.take(1)[0]
	start, depth, sound := p.tok.Start, 0, true
	first := p.i
	for !p.condEnds(depth) {
		depth += p.condToken(depth, &sound)
	}
	if p.i == first || p.end <= start {
		c.At = p.missingAt()
		p.report(diag.New("condition-missing", c.At, "`%s` has no condition", of).Mend("write it as in `%s`", example))
		return c
	}
	p.finishCond(c, start, first, sound)
	return c
}

// condEnds says that the condition ends before the current token. Brackets
// that close hold line ends and words together; those that do not are not
// counted in depth.
func (p *parser) condEnds(depth int) bool {
	switch {
	case p.tok.Kind == endOfFile, p.isSymbol(';'), p.isSymbol('{'), p.isSymbol('}'):
		return true
	case depth > 0:
		return p.atItem()
	case p.tok.Kind == Word:
		return endsCond(p.textOf(p.tok))
	}
	return p.tok.Kind == Newline
}

// condToken takes one token of a condition and gives the change of depth. It
// clears sound after a mistake: then the condition is read no further by
// anyone.
func (p *parser) condToken(depth int, sound *bool) (change int) {
	at := p.here()
	switch {
	case p.tok.Kind == Bad:
		*sound = false
	case p.isSymbol('('), p.isSymbol('['):
		change = 1
		if _, open := slices.BinarySearch(p.unclosed, int32(p.i)); open {
			change, *sound = 0, false
			p.report(diag.New("bracket-not-closed", at, "this bracket is not closed").
				Mend("write `%s` where it ends", partner(p.textOf(p.tok))))
		}
	case p.isSymbol(')'), p.isSymbol(']'):
		change = -1
		if depth == 0 {
			change, *sound = 0, false
			p.report(diag.New("bracket-extra", at, "this bracket closes nothing").Replace(at, "", false, "take it out"))
		}
	case p.isSymbol('='):
		*sound = false
		p.report(diag.New("equals-single", at, "`=` does not compare two things").Replace(at, "==", true, "write `==`"))
	}
	p.next()
	return change
}

func partner(bracket string) string {
	if bracket == "(" {
		return ")"
	}
	return "]"
}

// finishCond sets place and text. A comment inside is blanks to whoever reads
// the text, so that places in it stay right.
func (p *parser) finishCond(c *Cond, start int32, first int, sound bool) {
	c.At = p.since(start)
	if !sound {
		return
	}
	c.Text = p.text[c.At.Start:c.At.End]
	for i := first; i < p.i && p.tokens[i].End <= p.end; i++ {
		switch t := p.tokens[i]; t.Kind {
		case Bad:
			c.Text = ""
			return
		case Comment:
			from, to := t.Start-start, t.End-start
			c.Text = c.Text[:from] + strings.Repeat(" ", int(to-from)) + c.Text[to:]
		}
	}
}

// inBraces reads { condition }, in which lines may end anywhere.
func (p *parser) inBraces(o opener) *Cond {
	example := o.example()
	c := &p.conds.take(1)[0]
	bare := !isSymbol(p.text, p.beyondLines(), '{')
	if !p.enter(&o) {
		c.At = p.span(p.end, p.end)
		p.skip()
		return c
	}
	lines := func() {
		for p.tok.Kind == Newline && !bare {
			p.next()
		}
	}
	lines()
	start, first, depth, sound := p.tok.Start, p.i, 0, true
	for !p.braceEnds(first) {
		depth += p.condToken(depth, &sound)
		lines()
	}
	if p.i == first {
		c.At = p.missingAt()
		p.report(diag.New("condition-missing", c.At, "%s has no condition", o).Mend("write it as in `%s`", example))
	} else {
		p.finishCond(c, start, first, sound)
	}
	p.leaveCond(o, c)
	return c
}

// braceEnds says that a condition in braces ends before the current token.
func (p *parser) braceEnds(first int) bool {
	switch {
	case p.tok.Kind == endOfFile, p.tok.Kind == Newline, p.isSymbol(';'), p.isSymbol('{'), p.isSymbol('}'):
		return true
	}
	return p.atItem() || p.i > first && p.freshLine() && p.isWord("allow")
}

// leaveCond takes the closing brace of a condition, over what is too much
// before it.
func (p *parser) leaveCond(o opener, c *Cond) {
	p.separatorsOf(c)
	for !p.isSymbol('}') {
		switch {
		case p.tok.Kind == endOfFile, p.atItem(), p.freshLine() && p.isWord("allow"):
			p.report(diag.New("brace-not-closed", o.at, "the block of %s is not closed", o).
				Mend("write `}` where it ends, as in `%s`", o.example()))
			return
		case p.isSymbol('{'):
			p.tooMuch("a condition has no braces in it")
			p.skip()
			c.Text = ""
		default:
			p.next()
		}
	}
	p.next()
}

// separatorsOf goes over what follows a condition before its closing brace. A
// second condition after a semicolon is reported.
func (p *parser) separatorsOf(c *Cond) {
	var semicolon Token
	for p.tok.Kind == Newline || p.isSymbol(';') {
		if p.isSymbol(';') {
			semicolon = p.tok
		}
		p.next()
	}
	if semicolon.End == 0 || p.isSymbol('}') || p.tok.Kind == endOfFile {
		return
	}
	at := p.span(semicolon.Start, semicolon.End)
	p.report(diag.New("condition-twice", at, "a rule has one condition, and after this another begins").
		Replace(at, " and", false, "join them with `and`"))
	c.Text = ""
	for !p.isSymbol('}') && !p.isSymbol('{') && p.tok.Kind != endOfFile && !p.atItem() {
		p.next()
	}
}
