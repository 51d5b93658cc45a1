package syntax

import (
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/timecode"
)

// steering are the words that begin a statement and are no verbs of the table.
var steering = []string{"wait", "expect", "if", "together", "run", "alert", "note", "abandon", "go", "page", "allow"}

var statementWords = func() []string {
	ws := slices.Clone(steering)
	for _, v := range Verbs {
		ws = append(ws, v.Word)
	}
	return ws
}()

func beginsStatement(word string) bool { return word != "" && slices.Contains(statementWords, word) }

// block reads { statements }. It is never nil; what is missing has no place.
func (p *parser) block(o opener) *Block {
	return p.statements(o, (*parser).statementLine)
}

// statements reads a block whose lines are read by line, which pushes each
// statement on the pending stack.
func (p *parser) statements(o opener, line func(*parser)) *Block {
	b := &p.blocks.take(1)[0]
	if !p.enter(&o) {
		b.At = p.span(p.end, p.end)
		return b
	}
	start, base := max(o.at.End-1, 0), len(p.pending)
	p.within(o, line, func(_ *parser, word string) bool { return beginsStatement(word) })
	b.At = p.since(start)
	b.Statements = p.slabs.statements.keep(p.pending[base:])
	p.pending = p.pending[:base]
	return b
}

func (p *parser) statementLine() { p.line(false) }
func (p *parser) branchLine()    { p.line(true) }

// line reads a statement and what ends it. Branch says that a block may stand
// for a statement, as in together.
func (p *parser) line(branch bool) {
	s, after := p.statement(branch)
	if s != nil {
		p.pending = append(p.pending, s)
	}
	switch {
	case p.isEnd(), p.freshLine() && s != nil:
	case s != nil && beginsStatement(p.word()):
		p.separatorMissing()
	default:
		if s != nil {
			p.tooMuch(after)
		}
		p.skip()
	}
}

// statement reads one statement. It is nil when there was none to read; then
// that was said, and at least one token was taken. After is what to say of
// words that follow it.
func (p *parser) statement(branch bool) (s Statement, after string) {
	start, word := p.tok.Start, p.word()
	switch word {
	case "":
		return p.noWord(branch), "the block ends before it"
	case "wait":
		p.next()
		if p.takeWord("until") {
			return p.until(start), "the `wait` ends before it"
		}
		t := p.time("the time to wait", "wait 2s", true)
		return &Wait{p.since(start), t}, "a `wait` ends after its time"
	case "expect":
		p.next()
		return p.expect(start), "the `expect` ends before it"
	case "if":
		return p.ifElse(), "the `if` ends before it"
	case "together":
		p.next()
		o := p.opener("together", "", start)
		p.headEnd("a block follows `together`")
		body := p.statements(o, (*parser).branchLine)
		return &Together{p.since(start), body}, "the `together` ends before it"
	case "run":
		p.next()
		return p.run(start), "a `run` ends after its name and what is in brackets"
	case "alert", "note", "abandon":
		return p.say(), "it ends after its text"
	case "go":
		p.next()
		g := &Go{}
		if !p.isEnd() && !beginsStatement(p.word()) {
			g.Cue = p.cueNumber("the number of the cue", "go 2")
		}
		g.At = p.since(start)
		return g, "a `go` ends after its number"
	case "page":
		p.next()
		return p.turn(start), "it ends after the page's name"
	case "allow":
		p.next()
		return p.allow(start), "an `allow` ends after its reason or its last day"
	}
	if v := VerbNamed(word); v != nil {
		p.next()
		return p.action(v, start), "the statement ends before it"
	}
	return p.notAVerb(word), ""
}

// noWord deals with a statement that begins with no word.
func (p *parser) noWord(branch bool) Statement {
	at := p.here()
	if !p.isSymbol('{') {
		if p.tok.Kind != Bad {
			p.report(diag.New("verb-missing", at, "`%s` does not say what to do", p.textOf(p.tok)).
				Mend("a statement begins with a verb, as in `%s`", Verbs[0].Example))
		}
		p.next()
		return nil
	}
	if !branch {
		p.report(diag.New("block-alone", at, "a block of its own stands only in `together`").
			Mend("take its braces out, or write it as in `%s`", examples["block"]))
	}
	if len(p.open)+p.chain >= maxDepth {
		p.tooDeep()
		return nil
	}
	b := p.block(opener{kind: "block", at: at, indent: p.indent})
	if !branch {
		return nil
	}
	return b
}

// elsewhere are the words that begin a line of something other than a block,
// and what that is.
var elsewhere = map[string]string{
	"button": "a page", "lamp": "a button", "hold": "a button", "cue": "a rundown", "press": "a rehearsal", "fault": "a rehearsal",
	"after": "a rehearsal", "else": "an `if` or an `expect` before it", "macro": "the file, outside of blocks", "salvo": "the file, outside of blocks",
	"rundown": "the file, outside of blocks", "never": "the file, outside of blocks", "always": "the file, outside of blocks",
	"possible": "the file, outside of blocks", "rehearsal": "the file, outside of blocks", "show": "the file's first line",
}

func (p *parser) notAVerb(word string) Statement {
	at := p.here()
	names := statementWords
	d := instead(diag.New("verb-unknown", at, "`%s` is no verb", word), word, names)
	if where := elsewhere[word]; where != "" {
		d = diag.New("place-wrong", at, "`%s` does not stand here: it belongs to %s", word, where)
	} else if len(d.Mends) == 0 {
		d = d.Mend("a statement begins with a verb, as in `%s`", Verbs[0].Example)
	}
	p.report(d)
	p.next()
	return nil
}

// time takes a duration, or where orName is set a parameter's name. Without
// one, the Operand is of kind Bad.
func (p *parser) time(what, example string, orName bool) Operand {
	at := p.here()
	switch {
	case p.tok.Kind == Duration, p.tok.Kind == Word && orName && !p.isWord("else"):
		op := Operand{p.tok.Kind, p.textOf(p.tok), at}
		p.next()
		return op
	case p.tok.Kind == Number:
		p.unitMissing()
	case p.negative():
	case p.tok.Kind == Bad:
		p.next()
	default:
		at = p.missingAt()
		p.report(diag.New("time-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
		if p.tok.Kind == String || p.tok.Kind == Word && p.peek().Kind != Word && !p.isWord("else") {
			p.next()
		}
	}
	return Operand{Kind: Bad, At: at}
}

// negative takes a time with a minus before it, and reports it.
func (p *parser) negative() bool {
	if !p.isSymbol('-') || p.peek().Kind != Duration && p.peek().Kind != Number {
		return false
	}
	at := p.here()
	p.next()
	at = at.To(p.here())
	p.next()
	p.report(diag.New("number-wrong", at, "`%s` is less than no time", at.Text()).
		Mend("write a time such as `12f`, `500ms`, `1.5s` or `2m`"))
	return true
}

// unitMissing reports a number that should be a duration, and takes it with a
// unit that stands apart.
func (p *parser) unitMissing() {
	at, n := p.here(), p.textOf(p.tok)
	p.next()
	switch u := p.word(); u {
	case "f", "ms", "s", "m":
		at = at.To(p.here())
		p.report(diag.New("unit-missing", at, "the unit stands apart from its number").Replace(at, n+u, true, "write `%s`", n+u))
		p.next()
		return
	}
	d := diag.New("unit-missing", at, "`%s` does not say whether it is frames, seconds or minutes", n)
	for _, w := range timecode.Units(n) {
		d = d.Replace(at, w, false, "write `%s`", w)
	}
	p.report(d)
}

const untilExample = "wait until deck.ended within 90s"

func (p *parser) until(start int32) *Until {
	u := &Until{Within: Operand{Kind: Bad}, Cond: p.cond("wait until", untilExample)}
	within := p.takeWord("within")
	if within {
		u.Within = p.time("the longest time to wait", untilExample, true)
	}
	if p.continues("else") {
		if !within {
			p.report(diag.New("within-missing", p.here(), "this `else` never comes: the `wait until` before it has no `within`").
				Mend("say how long to wait, as in `%s`", untilExample))
		}
		p.next()
		u.Else = p.otherwise()
	}
	u.At = p.since(start)
	return u
}

const expectExample = `expect deck.cued within 1s else abandon "the deck did not cue"`

func (p *parser) expect(start int32) *Until {
	u := &Until{Expect: true, Within: Operand{Kind: Bad}, Cond: p.cond("expect", expectExample)}
	if p.takeWord("within") {
		u.Within = p.time("the longest time to wait", expectExample, true)
	}
	switch {
	case p.continues("else"):
		p.next()
		u.Else = p.otherwise()
	case p.isEnd() || p.isSymbol('{'):
		u.Else = &Block{At: p.span(p.end, p.end)}
		p.report(diag.New("else-missing", p.since(start), "this `expect` does not say what to do when it does not come true").
			Mend("write it as in `%s`", expectExample))
	}
	u.At = p.since(start)
	return u
}

// otherwise reads what follows the else of an expect: alert, note or abandon,
// or a block.
func (p *parser) otherwise() *Block {
	switch w := p.word(); w {
	case "alert", "note", "abandon":
		start := p.tok.Start
		say := p.say()
		return &Block{At: p.since(start), Statements: []Statement{say}}
	case "":
		o := p.opener("else", "", p.last().Start)
		return p.block(o)
	}
	return p.bareElse()
}

// bareElse reads a statement that stands after else without braces.
func (p *parser) bareElse() *Block {
	start, at := p.tok.Start, p.here()
	if !beginsStatement(p.word()) {
		o := p.opener("else", "", p.last().Start)
		p.headEnd("a block follows `else`")
		return p.block(o)
	}
	p.report(diag.New("else-unbraced", at, "after `else`, `%s` stands in braces", p.word()).
		Mend("write it as in `%s`", examples["else"]))
	b := &Block{}
	if s, _ := p.statement(false); s != nil {
		b.Statements = []Statement{s}
	}
	b.At = p.since(start)
	return b
}

// ifElse reads an if with all its else; each `else if` is a block that holds
// an if.
func (p *parser) ifElse() Statement {
	start := p.tok.Start
	p.next()
	n := &If{Cond: p.cond("if", examples["if"])}
	o := opener{"if", "", p.span(start, p.end), p.indent}
	if !isSymbol(p.text, p.beyondLines(), '{') && p.stray == 0 {
		n.Cond.Text = "" // the line's rest is no condition
	}
	p.headEnd("a block follows the condition of an `if`")
	n.Then = p.block(o)
	if p.continues("else") {
		elseAt := p.tok.Start
		p.next()
		n.Else = p.elsePart(elseAt)
	}
	n.At = p.since(start)
	return n
}

func (p *parser) elsePart(start int32) *Block {
	if !p.isWord("if") {
		if p.isSymbol('{') || !beginsStatement(p.word()) {
			o := p.opener("else", "", start)
			p.headEnd("a block follows `else`")
			return p.block(o)
		}
		return p.bareElse()
	}
	if len(p.open)+p.chain+1 >= maxDepth {
		p.report(diag.New("nesting-too-deep", p.here(), "more than %d of `else if` and blocks stand in one another here", maxDepth).
			Mend("make macros of the inner ones"))
		for p.skip(); p.continues("else"); p.skip() {
		}
		return &Block{At: p.since(start)}
	}
	p.chain++
	inner := p.tok.Start
	s := p.ifElse()
	p.chain--
	return &Block{At: p.since(inner), Statements: []Statement{s}}
}

const runExample = `run replay(item: "goal-1")`

func (p *parser) run(start int32) *Run {
	r := &Run{Name: p.name("the name of the macro or salvo to run", runExample)}
	if p.isSymbol('(') {
		p.inBrackets(runExample, func() { r.Args = append(r.Args, p.arg(runExample)) })
	}
	r.At = p.since(start)
	return r
}

// arg reads name: value.
func (p *parser) arg(example string) Arg {
	a := Arg{Value: Operand{Kind: Bad}}
	next := p.peek()
	bare := p.tok.Kind == Word && (isSymbol(p.text, next, ',') || isSymbol(p.text, next, ')'))
	if bare || p.isValue() && p.tok.Kind != Word {
		at, value := p.here(), p.textOf(p.tok)
		p.report(diag.New("argument-name-missing", at, "`%s` does not say which value it is", value).
			Mend("write the name and a colon before it, as in `%s`", example))
		a.Name.At, a.Value.At = at, at
		p.next()
		return a
	}
	a.Name = p.name("the name of the value", example)
	if p.colon(a.Name, example) {
		a.Value = p.value("the value", example)
	}
	return a
}

// value takes an operand of any kind.
func (p *parser) value(what, example string) Operand {
	at := p.here()
	if p.isValue() {
		op := p.operand()
		p.next()
		return op
	}
	if p.tok.Kind == Bad {
		p.next()
		return Operand{Kind: Bad, At: at}
	}
	at = p.missingAt()
	p.report(diag.New("operand-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
	return Operand{Kind: Bad, At: at}
}

// operand is the current token as an operand. Words and numbers with a minus
// and nothing else between them are one name, which no plan can have: it is
// told by that name.
func (p *parser) operand() Operand {
	text := p.textOf(p.tok)
	if at := p.here(); p.tok.Kind == Word && p.glued() {
		for p.glued() {
			p.next()
			p.next()
		}
		at = at.To(p.here())
		return Operand{Word, at.Text(), at}
	}
	if p.tok.Kind == String {
		text = Unquote(text)
	}
	return Operand{p.tok.Kind, text, p.here()}
}

// glued says that the current token, a minus and a word or number stand in one
// another without blanks.
func (p *parser) glued() bool {
	if p.i+2 >= len(p.tokens) {
		return false
	}
	minus, next := p.tokens[p.i+1], p.tokens[p.i+2]
	return isSymbol(p.text, minus, '-') && (next.Kind == Word || next.Kind == Number)
}

func (p *parser) say() *Say {
	s := &Say{Verb: p.word(), Text: Operand{Kind: Bad}}
	start := p.tok.Start
	p.next()
	if s.Verb != "abandon" || !p.isEnd() && !beginsStatement(p.word()) {
		s.Text = p.saying(s.Verb + ` "the deck did not cue"`)
	}
	s.At = p.since(start)
	return s
}

// saying takes a text, or one word by itself, which is a parameter.
func (p *parser) saying(example string) Operand {
	next := p.peek()
	if p.tok.Kind == Word && !followsText(p.word()) && !isValue(next) && !isQuoted(next) {
		op := p.operand()
		p.next()
		return op
	}
	t := p.quoted("the text to say", example)
	if t.Text == "" && t.At.Text() != `""` {
		return Operand{Kind: Bad, At: t.At}
	}
	return Operand{String, t.Text, t.At}
}

const turnExample = "page desk to cameras"

func (p *parser) turn(start int32) *Turn {
	t := &Turn{Surface: p.name("the surface's name", turnExample)}
	if p.fixed("to", nil, turnExample) {
		t.Page = p.name("the page's name", turnExample)
	}
	t.At = p.since(start)
	return t
}
