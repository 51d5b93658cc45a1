package syntax

import (
	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// opener is what has a block: it stands on the stack while the block is read,
// and is what is blamed when its braces do not pair.
type opener struct {
	kind, name string // "macro", "roll"
	at         source.Span
	indent     int32 // of the line it begins on
}

func (p *parser) opener(kind, name string, start int32) opener {
	return opener{kind, name, p.since(start), p.indent}
}

func (o opener) String() string {
	if o.name == "" {
		return "`" + o.kind + "`"
	}
	return o.kind + " `" + o.name + "`"
}

const buttonExample = `button 1.1 "Wide" { cut main to wide }`

// example is a small right one of that kind.
func (o opener) example() string { return examples[o.kind] }

var examples = map[string]string{
	"macro":     "macro roll { record iso }",
	"salvo":     "salvo doors { route screens from titles }",
	"page":      "page cameras on desk { button 1.1 \"Wide\" { cut main to wide } }",
	"button":    buttonExample,
	"hold":      "hold 1s { recall goal shot 2 }",
	"release":   "release { key logo off }",
	"rundown":   `rundown { cue 1 "Doors" { run doors } }`,
	"cue":       `cue 1 "Doors" { run doors }`,
	"rehearsal": `rehearsal "doors" { go 1 }`,
	"never":     `never "bars in the hall" { screens.shows(bars) }`,
	"always":    `always "recording while live" { iso.rolling } while { stream.live }`,
	"possible":  `possible "the goal can go to air" { main.program == goal }`,
	"while":     `always "recording while live" { iso.rolling } while { stream.live }`,
	"if":        "if logo.on { key logo off }",
	"else":      "if logo.on { key logo off } else { key logo on }",
	"together":  "together { cut main to wide; cut effects to goal }",
	"block":     "together { { wait 2s; play deck }; cut main to wide }",
}

// enter goes into the block of o, and is false when there is none. A brace
// that is missing counts as there when this item has one closing brace too
// many: then the block is surely meant.
func (p *parser) enter(o *opener) bool {
	if t := p.beyondLines(); isSymbol(p.text, t, '{') {
		p.lineEnds()
		if len(p.open)+p.chain >= maxDepth {
			p.tooDeep()
			return false
		}
		p.next()
		o.at = p.since(o.at.Start)
		return true
	}
	if p.stray > 0 {
		p.stray--
		p.report(diag.New("brace-missing", o.at, "%s has no opening brace", o.String()).Mend("write it as in `%s`", o.example()))
		return true
	}
	p.report(diag.New("block-missing", o.at, "%s has no block in braces", o.String()).
		Mend("write it as in `%s`", o.example()))
	return false
}

// tooDeep reports a block that stands too deep and goes over it.
func (p *parser) tooDeep() {
	p.report(diag.New("nesting-too-deep", p.here(), "blocks stand more than %d deep here", maxDepth).
		Mend("make macros of the inner ones"))
	p.overBlock()
}

// overBlock goes over a block and all in it; of what is wrong there, only
// garbled tokens are reported.
func (p *parser) overBlock() {
	depth := 0
	for p.tok.Kind != endOfFile && !p.atItem() {
		if p.isSymbol('{') {
			depth++
		} else if p.isSymbol('}') {
			if depth--; depth == 0 {
				p.next()
				return
			}
		}
		p.next()
	}
}

// within reads the lines of a block that was entered, to behind its closing
// brace. A line reads at least one token. Starts says which words can begin a
// line of it: it tells a brace too many from the block's end.
func (p *parser) within(o opener, line func(*parser), starts func(*parser, string) bool) {
	p.open = append(p.open, o)
	for {
		p.separators()
		if p.tok.Kind == endOfFile || p.leaves() {
			p.leftOpen = append(p.leftOpen, o)
			break
		}
		if p.isSymbol('}') {
			if p.closes(o, starts) {
				break
			}
			continue
		}
		line(p)
	}
	p.open = p.open[:len(p.open)-1]
	if len(p.open) == 0 || len(p.open) == 1 && p.inGrid() && p.tok.Kind != endOfFile && !p.atItem() {
		p.blameLeftOpen()
	}
}

// inGrid says that the outermost block is one whose lines tell themselves from
// statements.
func (p *parser) inGrid() bool { return p.open[0].kind == "page" || p.open[0].kind == "rundown" }

// leaves says that a line begins here that cannot stand in a block: an item,
// or a button or cue inside of another.
func (p *parser) leaves() bool {
	if p.atItem() {
		return true
	}
	if len(p.open) < 2 || !p.freshLine() || p.tok.Kind != Word || p.peek().Kind != Number {
		return false
	}
	w := p.textOf(p.tok)
	return p.open[0].kind == "page" && w == "button" || p.open[0].kind == "rundown" && w == "cue"
}

// atItem says that the current token begins an item, on a line of its own.
func (p *parser) atItem() bool { return p.seg > 0 && int(p.segments[p.seg].first) == p.i }

// closes takes a closing brace and says whether it ends the block of o.
func (p *parser) closes(o opener, starts func(*parser, string) bool) bool {
	at := p.here()
	if p.freshLine() && p.indent < o.indent && p.suspect.kind == "" {
		p.suspect = o
	}
	p.next()
	if len(p.open) > 1 || p.stray == 0 {
		return true
	}
	next := p.beyondLines()
	if next.Kind != Word || !starts(p, p.textOf(next)) {
		return true
	}
	p.lineEnds()
	if p.atItem() {
		return true
	}
	p.stray--
	p.report(diag.New("brace-extra", at, "this brace closes %s too early: there is one too many", o).
		With(o.at, "the block begins here").Replace(at, "", false, "take it out"))
	return false
}

// blameLeftOpen reports the blocks that have no closing brace: one finding for
// those that end at the same place. When a closing brace stood too far to the
// left for its block, that block is the one.
func (p *parser) blameLeftOpen() {
	n := len(p.leftOpen)
	if n == 0 {
		return
	}
	o := p.leftOpen[n-1]
	rest := p.leftOpen[:n-1]
	if p.suspect.kind != "" && n == 1 {
		o = p.suspect
	}
	d := diag.New("brace-not-closed", o.at, "the block of %s is not closed", o)
	for _, inner := range rest {
		d = d.With(inner.at, "nor is this one")
	}
	p.leftOpen, p.suspect = p.leftOpen[:0], opener{}
	p.report(d.Mend("write `}` where it ends, as in `%s`", o.example()))
}

// headEnd ends what stands before a block: what is too much there is reported
// and gone over. A statement is left for the block, whose brace is missing.
func (p *parser) headEnd(after string) {
	if p.isEnd() || p.isSymbol('{') || beginsStatement(p.word()) {
		return
	}
	p.tooMuch(after)
	for !p.isEnd() && !p.isSymbol('{') {
		p.next()
	}
}

// tooMuch reports the current token, which should not be there.
func (p *parser) tooMuch(after string) {
	if p.tok.Kind == Bad {
		return // it is reported when it is taken
	}
	p.report(diag.New("too-much", p.here(), "`%s` is too much: %s", p.textOf(p.tok), after))
}

// skip goes to the end of the statement or line. Blocks on the way are read,
// so that mistakes in them are reported in the same run.
func (p *parser) skip() {
	for !p.isEnd() && !p.atItem() {
		if !p.isSymbol('{') {
			p.next()
			continue
		}
		p.block(opener{kind: "block", at: p.here(), indent: p.indent})
	}
}
