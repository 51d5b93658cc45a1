package syntax

import (
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
)

// page reads page NAME on SURFACE, … { buttons and allows }.
func (p *parser) page(start int32) *Page {
	g := &Page{}
	o, name := p.named("page", start)
	g.Name = name
	if p.fixed("on", nil, o.example()) {
		g.Surfaces = append(g.Surfaces, p.name("the surface's name", o.example()))
		for p.takeSymbol(',') {
			g.Surfaces = append(g.Surfaces, p.name("the surface's name", o.example()))
		}
	}
	p.headEnd("a page's block follows its surfaces")
	if p.enter(&o) {
		p.within(o, func(p *parser) { p.pageLine(g) }, beginsPageLine)
	}
	g.At = p.since(start)
	return g
}

var pageWords = []string{"button", "allow"}

func beginsPageLine(_ *parser, word string) bool { return word == "button" || word == "allow" }

func (p *parser) pageLine(g *Page) {
	p.suspect = opener{}
	switch p.lineWord(pageWords, "page-line-unknown", "a page", buttonExample) {
	case "button":
		g.Buttons = append(g.Buttons, p.button())
		p.lineParts(pageWords)
	case "allow":
		start := p.tok.Start
		p.next()
		g.Allows = append(g.Allows, p.allow(start))
		p.lineDone("an `allow` ends after its reason or its last day")
	}
}

// lineWord is the word that begins the current line of a block, or the one it
// is probably meant to be. When it is neither, that is said, the line is
// skipped, and the word is "".
func (p *parser) lineWord(known []string, code diag.Code, place, example string) string {
	w := p.word()
	for _, k := range known {
		if k == w {
			return w
		}
	}
	if p.tok.Kind != Bad {
		d := instead(diag.New(code, p.here(), "`%s` begins no line of %s", p.textOf(p.tok), place), w, known)
		if len(d.Mends) > 0 {
			right := near(w, known)
			p.report(d)
			return right
		}
		p.report(d.Mend("its lines begin with %s, as in `%s`", listWords(known), example))
	}
	p.overLine()
	return ""
}

// lineParts reports two lines' things on one line with nothing between them.
func (p *parser) lineParts(words []string) {
	if w := p.word(); w != "" && !p.freshLine() && slices.Contains(words, w) {
		p.separatorMissing()
	}
}

// overLine goes over what begins a line that cannot be read, and its rest.
func (p *parser) overLine() {
	if !p.isSymbol('{') {
		p.next()
	}
	p.skip()
}

var partWords = []string{"hold", "release", "lamp"}

// button reads a button from its first word to its last part.
func (p *parser) button() *Button {
	b := &p.buttons.take(1)[0]
	start, indent := p.tok.Start, p.indent
	p.next()
	b.Cell = p.cell(buttonExample)
	b.Label = p.quoted("the button's label", buttonExample)
	if p.isWord("guarded") {
		b.Guarded = p.here()
		p.next()
	}
	o := p.opener("button", p.text[b.Cell.At.Start:b.Cell.At.End], start)
	o.indent = indent
	p.partEnd("guarded")
	if t := p.beyondLines(); isSymbol(p.text, t, '{') || p.blockMeant() {
		b.Press = p.block(o)
	}
	for {
		p.partEnd("")
		t := p.beyondLines()
		if t.Kind != Word || !p.part(b, p.textOf(t)) {
			break
		}
	}
	b.At = p.since(start)
	return b
}

// blockMeant says that a block's opening brace was forgotten: a statement
// follows, and a closing brace is left over.
func (p *parser) blockMeant() bool {
	t := p.beyondLines()
	return p.stray > 0 && t.Kind == Word && beginsStatement(p.textOf(t)) && p.textOf(t) != "release"
}

// partEnd reports what is no part of a button, on the button's own line.
func (p *parser) partEnd(also string) {
	for !p.isEnd() && !p.isSymbol('{') {
		w := p.word()
		if w == "hold" || w == "release" || w == "lamp" || w == "button" || w == "allow" || p.blockMeant() {
			return
		}
		known := partWords
		if also != "" {
			known = append([]string{also}, partWords...)
		}
		if p.tok.Kind != Bad {
			d := instead(diag.New("part-unknown", p.here(), "`%s` is no part of a button", p.textOf(p.tok)), w, known)
			if len(d.Mends) == 0 {
				d = d.Mend("after the label come `guarded`, a block, and %s", listWords(partWords))
			}
			p.report(d)
		}
		p.next()
		for !p.isEnd() && !p.isSymbol('{') && !isPart(p.word()) {
			p.next()
		}
		if also == "" && p.isSymbol('{') {
			p.skip()
		}
	}
}

func isPart(w string) bool { return w == "hold" || w == "release" || w == "lamp" }

// part reads one part of a button, and is false when word begins none.
func (p *parser) part(b *Button, word string) bool {
	if !isPart(word) {
		return false
	}
	p.lineEnds()
	start, at, indent := p.tok.Start, p.here(), p.indent
	p.next()
	twice := b.Hold != nil && word == "hold" || b.Release != nil && word == "release"
	if twice {
		p.report(diag.New("part-twice", at, "this button has a `%s` already", word).
			Mend("put all of it into one block"))
	}
	switch word {
	case "hold":
		after := p.time("the time to hold", examples["hold"], false)
		o := p.opener("hold", "", start)
		o.indent = indent
		if body := p.block(o); !twice {
			b.HoldAfter, b.Hold = after, body
		}
	case "release":
		o := p.opener("release", "", start)
		o.indent = indent
		if body := p.block(o); !twice {
			b.Release = body
		}
	case "lamp":
		if b.Lamps == nil {
			b.Lamps = p.lampLists.take(1)[:0]
		}
		b.Lamps = append(b.Lamps, p.lamp(start))
	}
	return true
}

const lampExample = "lamp pending when quiet.running"

func (p *parser) lamp(start int32) *Lamp {
	l := &p.lamps.take(1)[0]
	l.State = p.oneOf(LampStates, "lamp-unknown", "a lamp's state", lampExample)
	if p.fixed("when", nil, lampExample) {
		l.When = p.cond("lamp", lampExample)
	} else {
		l.When = &Cond{At: p.missingAt()}
	}
	l.At = p.since(start)
	return l
}

// oneOf takes one of the known words. Another word is reported under code.
func (p *parser) oneOf(known []string, code diag.Code, what, example string) Name {
	at, w := p.here(), p.word()
	for _, k := range known {
		if k == w {
			p.next()
			return Name{w, at}
		}
	}
	if w != "" {
		p.report(instead(diag.New(code, at, "`%s` is not %s", w, what), w, known).Mend("it is one of %s", listWords(known)))
	}
	if w != "" || p.tok.Kind == Bad {
		p.next()
		return Name{At: at}
	}
	at = p.missingAt()
	p.report(diag.New("word-missing", at, "%s is missing: %s", what, listWords(known)).Mend("write it as in `%s`", example))
	return Name{At: at}
}

// cell reads a button's place, 2.1. What is none is gone over up to the label.
func (p *parser) cell(example string) Cell {
	c := Cell{At: p.here()}
	if p.tok.Kind == Number {
		row, column, _ := strings.Cut(p.textOf(p.tok), ".")
		c.Row, c.Column = place(row), place(column)
		p.next()
		if c.Row > 0 && c.Column > 0 && !p.isSymbol('.') && !p.isSymbol(',') {
			return c
		}
	} else if p.isEnd() || p.isSymbol('{') || p.tok.Kind == String {
		c.At = p.missingAt()
	}
	bad := false
	for !p.isEnd() && !p.isSymbol('{') && p.tok.Kind != String && !p.isWord("for") {
		c.At = c.At.To(p.here())
		bad = bad || p.tok.Kind == Bad
		p.next()
	}
	if !bad {
		p.report(diag.New("cell-wrong", c.At, "here belongs a button's place: its row, a dot, its column, both from 1").
			Mend("write it as in `%s`", example))
	}
	return Cell{At: c.At}
}

// place reads a row or column, 0 if it is none. No grid is as large as 10,000.
func place(digits string) int {
	n, err := strconv.Atoi(digits)
	if err != nil || n > 9999 {
		return 0
	}
	return n
}

func (p *parser) rundown(start int32) *Rundown {
	r := &Rundown{}
	o := p.opener("rundown", "", start)
	if p.takeWord("in") {
		r.Zone = p.quoted("the time zone", zoneExample)
	}
	p.headEnd("a rundown has no name, only a block, or `in` and a time zone before it")
	if p.enter(&o) {
		p.within(o, func(p *parser) {
			p.suspect = opener{}
			if p.lineWord(cueWords, "rundown-line-unknown", "a rundown", examples["cue"]) != "" {
				r.Cues = append(r.Cues, p.cue())
				p.lineParts(cueWords)
			}
		}, func(_ *parser, word string) bool { return word == "cue" })
	}
	r.At = p.since(start)
	return r
}

var cueWords = []string{"cue"}

const (
	zoneExample   = `rundown in "Europe/Vienna" { cue 1 "Doors" at 18:00:00 { run doors } }`
	followExample = `cue 3 "Kick-off" follow 2 after 5s { cut main to wide }`
	clockExample  = `cue 3 "Kick-off" at 19:30:00 { cut main to wide }`
	codeExample   = `cue 3 "Kick-off" at timecode 01:00:05:00 { cut main to wide }`
)

func (p *parser) cue() *Cue {
	c := &Cue{}
	start, indent := p.tok.Start, p.indent
	p.next()
	c.Number = p.cueNumber("the cue's number", examples["cue"])
	c.Label = p.quoted("the cue's label", examples["cue"])
	c.After, c.Moment = Operand{Kind: Bad}, Operand{Kind: Bad}
	switch {
	case p.takeWord("at"):
		c.Moment = p.moment()
	case p.takeWord("follow"):
		c.Follow = p.cueNumber("the number of the cue to follow", followExample)
		if p.takeWord("after") {
			c.After = p.time("the time to wait", followExample, false)
		}
	}
	o := p.opener("cue", c.Number.Text, start)
	o.indent = indent
	p.headEnd("a cue's block follows its label, or `follow` and `after`, or `at` and a time")
	c.Body = p.block(o)
	c.At = p.since(start)
	return c
}

func (p *parser) cueNumber(what, example string) Name {
	at := p.here()
	if p.tok.Kind == Number {
		n := Name{p.textOf(p.tok), at}
		p.next()
		return n
	}
	if p.tok.Kind != Bad {
		at = p.missingAt()
		p.report(diag.New("number-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
	}
	if p.tok.Kind == Bad || p.tok.Kind == Duration || p.tok.Kind == Word && !p.isWord("after") && !p.isWord("follow") && !p.isWord("at") {
		p.next()
	}
	return Name{At: at}
}

// moment reads what fires a cue by itself, behind its `at`.
func (p *parser) moment() Operand {
	if p.takeWord("timecode") {
		return p.timecode(codeExample)
	}
	return p.clock(clockExample)
}

// clock takes a time of the day.
func (p *parser) clock(example string) Operand {
	if p.tok.Kind == Clock {
		op := Operand{Clock, p.textOf(p.tok), p.here()}
		p.next()
		return op
	}
	return p.noMoment("the time of the day", example)
}

// timecode takes a timecode; a duration that is none is macro/check's matter.
func (p *parser) timecode(example string) Operand {
	if p.tok.Kind == Duration {
		op := Operand{Duration, p.textOf(p.tok), p.here()}
		p.next()
		return op
	}
	return p.noMoment("the timecode", example)
}

// noMoment reports a time that is missing, and goes over what stands there.
func (p *parser) noMoment(what, example string) Operand {
	at := p.here()
	if p.tok.Kind != Bad {
		at = p.missingAt()
		p.report(diag.New("time-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
	}
	if p.tok.Kind == Bad || p.tok.Kind == Clock || p.isValue() {
		p.next()
	}
	return Operand{Kind: Bad, At: at}
}
