package syntax

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
)

var itemWords = []string{"show", "macro", "salvo", "page", "rundown", "never", "always", "possible", "rehearsal", "allow"}

const headExample = `show "League final" uses "rack.yaml"`

// show reads the whole file.
func (p *parser) show() {
	for p.separators(); p.tok.Kind != endOfFile; p.separators() {
		p.leftOpen, p.suspect = p.leftOpen[:0], opener{}
		word := p.word()
		if !slices.Contains(itemWords, word) {
			word = p.notAnItem(word)
		}
		if word != "" {
			p.lost = false
			p.item(word)
			p.lineParts(itemWords)
		}
	}
	if p.file.Show == nil {
		p.report(diag.New("head-missing", p.span(0, 0), "the show does not say its name and its plan").
			Mend("begin the file with `%s`", headExample))
	}
}

// item reads the item that word begins.
func (p *parser) item(word string) {
	start := p.tok.Start
	p.next()
	var item Item
	switch word {
	case "show":
		p.head(start)
		return
	case "macro":
		item = p.macro(start)
	case "salvo":
		o, name := p.named("salvo", start)
		p.headEnd("a salvo has a name and a block")
		body := p.block(o)
		item = &Salvo{p.since(start), name, body}
	case "page":
		item = p.page(start)
	case "rundown":
		item = p.rundown(start)
	case "rehearsal":
		item = p.rehearsal(start)
	case "allow":
		item = p.allow(start)
		p.lineDone("an `allow` ends after its reason or its last day")
	default:
		item = p.rule(word, start)
	}
	p.file.Items = append(p.file.Items, item)
}

// notAnItem deals with what begins no item. It gives the item's word when that
// is only misspelt; then the item is read as if it were right.
func (p *parser) notAnItem(word string) string {
	at := p.here()
	switch {
	case p.isSymbol('}'):
		p.extraBrace()
	case p.tok.Kind == Bad:
		p.next()
		p.skip()
	case beginsStatement(word) || word == "button" || word == "cue":
		if !p.lost {
			p.report(diag.New("statement-outside", at, "`%s` stands outside of everything", word).
				Mend("put it where it belongs, as in `%s`", outsideExample(word)))
		}
		p.lost = true
		p.junk(word)
	default:
		if right := near(word, itemWords); right != "" {
			p.report(instead(diag.New("item-unknown", at, "`%s` is nothing that a show can have", word), word, itemWords))
			return right
		}
		if p.muted++; !p.lost || p.muted > maxFindings {
			p.report(diag.New("item-unknown", at, "`%s` is nothing that a show can have", p.textOf(p.tok)).
				Mend("a line begins with %s", listWords(itemWords)))
		}
		p.lost = true
		p.overItem()
	}
	return ""
}

// overItem goes over something unknown with its blocks: what stands in them is
// in no language of ours.
func (p *parser) overItem() {
	for {
		if p.isSymbol('{') {
			p.overBlock()
		} else {
			p.next()
		}
		if p.isEnd() || p.freshLine() {
			return
		}
	}
}

func outsideExample(word string) string {
	switch word {
	case "button":
		return examples["page"]
	case "cue":
		return examples["rundown"]
	}
	return examples["macro"]
}

// junk reads what stands outside of everything, for the mistakes in it.
func (p *parser) junk(word string) {
	switch word {
	case "button":
		p.button()
	case "cue":
		p.cue()
	default:
		p.statementLine()
	}
}

func (p *parser) extraBrace() {
	d := diag.New("brace-extra", p.here(), "this brace closes nothing").Replace(p.here(), "", false, "take it out")
	if n := len(p.file.Items); n > 0 {
		whole := p.file.Items[n-1].Span()
		d = d.With(p.span(whole.End-1, whole.End), "what stands before it ends here")
	}
	if !p.lost {
		p.report(d)
	}
	p.next()
}

// listWords writes words as a sentence does: `a`, `b` or `c`.
func listWords(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = "`" + w + "`"
	}
	last := len(quoted) - 1
	if last == 0 {
		return quoted[0]
	}
	return strings.Join(quoted[:last], ", ") + " or " + quoted[last]
}

// lineDone ends a line at the top or in a page: what is too much is reported.
func (p *parser) lineDone(after string) {
	if !p.isEnd() && !p.freshLine() {
		p.tooMuch(after)
		p.skip()
	}
}

func (p *parser) head(start int32) {
	at := p.since(start)
	s := &Show{Name: p.quoted("the show's name", headExample)}
	if p.fixed("uses", nil, headExample) {
		s.Plan = p.quoted("the name of the plan's file", headExample)
		if at := s.Plan.At; s.Plan.Text == "" && at.Text() == `""` {
			p.report(diag.New("head-missing", at, "the name of the plan's file is empty").Mend("write it as in `%s`", headExample))
		}
	} else {
		p.skip()
	}
	s.At = p.since(start)
	p.lineDone("the head ends after the plan's name")
	switch {
	case p.file.Show != nil:
		p.report(diag.New("head-misplaced", at, "a show has one head, and this is another").
			With(p.file.Show.At, "the head stands here"))
		return
	case len(p.file.Items) > 0:
		p.report(diag.New("head-misplaced", at, "the head stands behind other things").
			With(p.file.Items[0].Span(), "it belongs before this"))
	}
	p.file.Show = s
}

// named reads the name of a macro, salvo or page.
func (p *parser) named(kind string, start int32) (opener, Name) {
	indent := p.indent
	n := p.name("the "+kind+"'s name", examples[kind])
	o := p.opener(kind, n.Text, start)
	o.indent = indent
	return o, n
}

const paramExample = "macro replay(item: clip) { load deck with item }"

func (p *parser) macro(start int32) *Macro {
	m := &Macro{}
	o, name := p.named("macro", start)
	m.Name = name
	if p.isSymbol('(') {
		p.inBrackets(paramExample, func() { m.Params = append(m.Params, p.param()) })
	}
	if w := p.word(); w == "restart" || w == "queue" {
		m.Again = Name{w, p.here()}
		p.next()
	} else if right := near(w, againWords); right != "" {
		p.report(instead(diag.New("again-unknown", p.here(), "`%s` does not say what a second run does", w), w, againWords))
		p.next()
	}
	p.headEnd("a macro's block follows its name, its parameters and `restart` or `queue`")
	m.Body = p.block(o)
	m.At = p.since(start)
	return m
}

var againWords = []string{"restart", "queue"}

var kindWords = func() []string {
	var ws []string
	for w := range noun.Params {
		ws = append(ws, w)
	}
	slices.Sort(ws)
	return ws
}()

func (p *parser) param() Param {
	prm := Param{Name: p.name("the parameter's name", paramExample)}
	if !p.colon(prm.Name, paramExample) {
		return prm
	}
	w := p.word()
	at := p.here()
	_, known := noun.Params[w]
	switch {
	case known:
		prm.Kind = Name{w, at}
		p.next()
	case w != "":
		d := instead(diag.New("kind-unknown", at, "`%s` is no kind of thing that a macro can be given", w), w, kindWords)
		p.report(d.Mend("the kinds are %s", listWords(kindWords)))
		p.next()
	case p.tok.Kind == Bad:
		p.next()
	default:
		p.report(diag.New("kind-missing", p.missingAt(), "the parameter does not say of which kind it is").
			Mend("write it as in `%s`", paramExample))
	}
	return prm
}

// colon takes the colon behind a name in brackets.
func (p *parser) colon(name Name, example string) bool {
	if p.takeSymbol(':') {
		return true
	}
	if p.tok.Kind == Bad || name.Text == "" {
		return p.isValue() || p.tok.Kind == Bad
	}
	after := p.span(name.At.End, name.At.End)
	d := diag.New("colon-missing", name.At, "a colon is missing after `%s`", name.Text)
	if !p.isValue() {
		p.report(d.Mend("write it as in `%s`", example))
		return false
	}
	p.report(d.Replace(after, ":", true, "write `%s:`", name.Text))
	return true
}

// inBrackets reads ( … , … ) around what one reads.
func (p *parser) inBrackets(example string, one func()) {
	_, open := slices.BinarySearch(p.unclosed, int32(p.i))
	if open {
		p.report(diag.New("bracket-not-closed", p.here(), "this bracket is not closed").
			Mend("write `)` where it ends, as in `%s`", example))
	}
	lines := func() {
		if !open {
			p.lineEnds()
		}
	}
	p.next()
	for lines(); !p.isSymbol(')') && !p.isEnd() && !p.isSymbol('{'); lines() {
		before := p.i
		one()
		lines()
		switch {
		case p.isSymbol(')'), p.isEnd(), p.isSymbol('{'):
		case p.isSymbol(','):
			p.comma(lines)
		case p.isValue() && p.i > before:
			at := p.last()
			p.report(diag.New("comma-missing", at, "a comma is missing after `%s`", at.Text()).
				Replace(p.span(at.End, at.End), ",", true, "write a comma"))
		default:
			p.tooMuch("in these brackets stand a name, a colon and a value, with commas between them")
			p.overToComma()
		}
	}
	p.takeSymbol(')')
}

// comma takes a comma in brackets; something has to follow it.
func (p *parser) comma(lines func()) {
	at := p.here()
	p.next()
	if lines(); p.isSymbol(')') {
		p.report(diag.New("too-much", at, "`,` is too much: nothing follows it").Replace(at, "", true, "take it out"))
	}
}

// overToComma goes over the rest of something in brackets.
func (p *parser) overToComma() {
	for depth := 0; !p.isEnd() && !p.isSymbol('{'); p.next() {
		switch {
		case p.isSymbol('(') || p.isSymbol('['):
			depth++
		case depth == 0 && p.isSymbol(')'):
			return
		case p.isSymbol(')') || p.isSymbol(']'):
			depth--
		case depth == 0 && p.isSymbol(','):
			p.next()
			return
		}
	}
}

const allowExample = `allow camera-moved-on-air "the camera has a smooth recall"`

func (p *parser) allow(start int32) *Allow {
	a := &Allow{Code: p.kebab(allowExample)}
	a.Reason = p.quoted("the reason", allowExample)
	if p.takeWord("until") {
		a.Until = p.quoted("the last day", allowExample+` until "2027-01-31"`)
	}
	a.At = p.since(start)
	return a
}

func (p *parser) rule(verb string, start int32) *Rule {
	r := &Rule{Verb: verb}
	indent := p.indent
	r.Name = p.quoted("the rule's name", examples[verb])
	o := p.opener(verb, "", start)
	o.indent = indent
	r.Cond = p.inBraces(o)
	r.At = p.since(start)
	if t := p.beyondLines(); t.Kind != Word || p.textOf(t) != "while" {
		return r
	}
	p.lineEnds()
	at := p.tok.Start
	if verb != "always" {
		p.report(diag.New("while-misplaced", p.here(), "only `always` has a `while`").
			Mend("join the two conditions with `and`"))
	}
	p.next()
	r.While = p.inBraces(p.opener("while", "", at))
	if verb != "always" {
		r.While = nil
	}
	r.At = p.since(start)
	return r
}
