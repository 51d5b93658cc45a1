package syntax

import (
	"slices"
	"unicode/utf8"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/source"
)

// maxDepth is how deep blocks may stand in one another. It bounds the stack of
// this parser and of everything that walks the tree.
const maxDepth = 64

// maxFindings is how many mistakes one run reports before a last one says that
// there are more.
const maxFindings = 200

// endOfFile is the kind of the token behind the last. It is in no File.
const endOfFile TokenKind = 255

// Parse reads a show file. The File is never nil and its tokens are the
// input's bytes, whatever they are; the findings are all the mistakes of form.
// What could not be read is empty in the tree, never nil: a Name or Text
// without text, an Operand of kind Bad, a Cond without text, a Block without
// place. Later stages keep quiet about those.
func Parse(src *source.File) (*File, diag.List) {
	p := parser{src: src, text: string(src.Bytes)}
	p.scanned = scan(p.text)
	p.file = &File{Source: src, Tokens: p.tokens, text: p.text}
	p.settle(true)
	p.show()
	p.file.Partial = p.found.Blocking()
	return p.file, p.found.Tidy()
}

// parser reads tokens from left to right and never goes back, so its time is
// that of the input's length.
type parser struct {
	scanned
	file  *File
	src   *source.File
	text  string
	found diag.List
	muted int  // findings that were not added
	full  bool // there were too many: the rest is not read

	i      int   // the current token, never Space or Comment
	tok    Token // tokens[i], or endOfFile
	end    int32 // where the last token taken ends
	first  int   // the first token of the current line
	indent int32 // the blanks before it
	seg    int   // the current segment
	stray  int32 // closing braces left over in it

	open     []opener // the blocks around the current token
	chain    int      // and how many `else if` were followed
	leftOpen []opener // blocks that end here for want of a brace
	suspect  opener   // a block whose closing brace stands too far to the left
	lost     bool     // between items, in something that was reported

	slabs
}

// isNothing says that the parser does not see a token: blanks, comments, and
// signs that mean nothing, which are reported where they stand. The other Bad
// tokens stand for the text or number that they were meant to be.
func (p *parser) isNothing(t Token) bool {
	switch t.Kind {
	case Space, Comment:
		return true
	case Bad:
		first, size := utf8.DecodeRuneInString(p.text[t.Start:t.End])
		return first != '"' && classes[p.text[t.Start]] != digit && (partners(first) == "" || int(t.End-t.Start) == size)
	}
	return false
}

// settle moves to the next token that means something.
func (p *parser) settle(newLine bool) {
	if newLine {
		p.indent = 0
		if p.i < len(p.tokens) && p.tokens[p.i].Kind == Space {
			p.indent = p.tokens[p.i].End - p.tokens[p.i].Start
		}
	}
	for p.i < len(p.tokens) && p.isNothing(p.tokens[p.i]) {
		if t := p.tokens[p.i]; t.Kind == Bad {
			p.blame(t)
		}
		p.i++
	}
	p.i = min(p.i, len(p.tokens)) // blame may have been one too many
	if newLine {
		p.first = p.i
	}
	if p.i == len(p.tokens) {
		n := int32(len(p.text))
		p.tok = Token{endOfFile, n, n}
		return
	}
	p.tok = p.tokens[p.i]
	if p.seg+1 < len(p.segments) && int(p.segments[p.seg+1].first) <= p.i {
		p.seg++
	}
	if p.seg == 0 && p.i == 0 || int(p.segments[p.seg].first) == p.i {
		p.stray = p.segments[p.seg].stray
	}
}

// next takes the current token. What is wrong inside the token is said here,
// once, whoever takes it.
func (p *parser) next() {
	t := p.tok
	if t.Kind == Bad {
		p.blame(t)
	} else if t.Kind == String {
		p.inside(t)
	}
	if p.tok.Kind == endOfFile {
		return // also when the report above was one too many
	}
	if t.Kind != Newline {
		p.end = t.End
	}
	p.i++
	p.settle(t.Kind == Newline)
}

// peek is the token after the current one, over blanks and comments.
func (p *parser) peek() Token {
	for i := p.i + 1; i < len(p.tokens); i++ {
		if !p.isNothing(p.tokens[i]) {
			return p.tokens[i]
		}
	}
	return Token{Kind: endOfFile}
}

func (p *parser) textOf(t Token) string { return p.text[t.Start:t.End] }

// word is the current token's text if it is a Word, else "".
func (p *parser) word() string {
	if p.tok.Kind == Word {
		return p.textOf(p.tok)
	}
	return ""
}

func (p *parser) isWord(w string) bool { return p.tok.Kind == Word && p.textOf(p.tok) == w }

func (p *parser) isSymbol(c byte) bool { return isSymbol(p.text, p.tok, c) }

func isSymbol(text string, t Token, c byte) bool {
	return t.Kind == Symbol && t.End == t.Start+1 && text[t.Start] == c
}

// takeWord takes the word w if it stands here.
func (p *parser) takeWord(w string) bool {
	if !p.isWord(w) {
		return false
	}
	p.next()
	return true
}

func (p *parser) takeSymbol(c byte) bool {
	if !p.isSymbol(c) {
		return false
	}
	p.next()
	return true
}

// freshLine says that the current token is the first of its line: what stands
// before it has ended.
func (p *parser) freshLine() bool { return p.i == p.first }

// isEnd says that the line or the statement ends here.
func (p *parser) isEnd() bool {
	return p.tok.Kind == Newline || p.tok.Kind == endOfFile || p.isSymbol(';') || p.isSymbol('}')
}

// isValue says that something stands here that could be an operand.
func (p *parser) isValue() bool { return isValue(p.tok) }

func isValue(t Token) bool {
	return t.Kind == Word || t.Kind == String || t.Kind == Number || t.Kind == Duration
}

// separators takes line ends and semicolons.
func (p *parser) separators() {
	for p.tok.Kind == Newline || p.isSymbol(';') {
		p.next()
	}
}

func (p *parser) lineEnds() {
	for p.tok.Kind == Newline {
		p.next()
	}
}

// beyondLines is the first token that is no line end, from the current one.
// Its caller takes those line ends then, or the next one who takes separators
// does, so that a line end is looked at twice at most.
func (p *parser) beyondLines() Token {
	for i := p.i; i < len(p.tokens); i++ {
		if p.tokens[i].Kind != Newline && !p.isNothing(p.tokens[i]) {
			return p.tokens[i]
		}
	}
	return Token{Kind: endOfFile}
}

// continues says whether w comes next, be it on a following line, and goes
// there.
func (p *parser) continues(w string) bool {
	if t := p.beyondLines(); t.Kind != Word || p.textOf(t) != w {
		return false
	}
	p.lineEnds()
	return true
}

func (p *parser) span(start, end int32) source.Span {
	return source.Span{File: p.src, Start: start, End: end}
}

// here is the current token's place; a line end or the file's end is a place
// without width.
func (p *parser) here() source.Span {
	if p.tok.Kind == Newline || p.tok.Kind == endOfFile {
		return p.span(p.tok.Start, p.tok.Start)
	}
	return p.span(p.tok.Start, p.tok.End)
}

// since is the place from start to the last token taken.
func (p *parser) since(start int32) source.Span { return p.span(start, max(start, p.end)) }

// last is the place of the last token taken.
func (p *parser) last() source.Span {
	for i := min(p.i, len(p.tokens)) - 1; i >= 0; i-- {
		if t := p.tokens[i]; t.End == p.end {
			return p.span(t.Start, t.End)
		}
	}
	return p.span(p.end, p.end)
}

// report adds a finding, unless it stands on a line whose quotes do not pair:
// nobody knows what such a line says. When there are too many, the rest of the
// file is not read.
func (p *parser) report(d diag.Diagnostic) {
	if p.full {
		return
	}
	muted := d.Code != "text-not-closed" && d.Code != "unusable-file" && p.onBrokenLine(d.At.Start)
	if muted {
		p.muted++
	}
	if len(p.found) == maxFindings || p.muted > maxFindings {
		p.full, muted = true, false
		p.i = len(p.tokens)
		p.settle(false)
		d = diag.New("too-many-findings", d.At, "there are more than %d mistakes of form in this file", maxFindings).
			Mend("mend these first, then look again")
	}
	if !muted {
		p.found.Add(d)
	}
}

func (p *parser) onBrokenLine(at int32) bool {
	i, found := slices.BinarySearchFunc(p.broken, at, func(line [2]int32, at int32) int { return int(line[0] - at) })
	if found {
		return true
	}
	return i > 0 && at <= p.broken[i-1][1]
}

// near is the known word that the current one probably is, or "".
func near(word string, known []string) string {
	if word == "" {
		return ""
	}
	if names := nearest.Names(word, known); len(names) > 0 {
		return names[0]
	}
	return ""
}

// instead adds the mends "write X" for the known words near the one at At.
func instead(d diag.Diagnostic, word string, known []string) diag.Diagnostic {
	for _, n := range nearest.Names(word, known) {
		d = d.Replace(d.At, n, false, "write `%s`", n)
	}
	return d
}

// name takes a name; what says whose it is: "the macro's name".
func (p *parser) name(what, example string) Name {
	switch p.tok.Kind {
	case Word:
		n := Name{p.textOf(p.tok), p.here()}
		p.next()
		return n
	case Bad:
		at := p.here()
		p.next()
		return Name{At: at}
	}
	at := p.missingAt()
	p.report(diag.New("name-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
	if p.tok.Kind == String || p.tok.Kind == Number || p.tok.Kind == Duration {
		p.next()
	}
	return Name{At: at}
}

// missingAt is where to point at when something is missing before the current
// token: at the token, or at the last one of the line when the line ends here.
func (p *parser) missingAt() source.Span {
	if p.tok.Kind == Newline || p.tok.Kind == endOfFile {
		return p.last()
	}
	return p.here()
}

// quoted takes a text; what says whose it is.
func (p *parser) quoted(what, example string) Text {
	at := p.here()
	switch p.tok.Kind {
	case String:
		t := Text{Unquote(p.textOf(p.tok)), at}
		p.next()
		return t
	case Bad:
		p.next()
		return Text{At: at}
	case Word, Number, Duration:
		if isQuoted(p.peek()) {
			p.tooMuch("the text follows it")
			p.next()
			return p.quoted(what, example)
		}
		if followsText(p.word()) {
			break
		}
		for p.isValue() && !followsText(p.word()) {
			at = at.To(p.here())
			p.next()
		}
		p.report(diag.New("text-unquoted", at, "%s stands in double quotes", what).
			Replace(at, Quote(at.Text()), true, "write `%s`", Quote(at.Text())))
		return Text{At: at}
	}
	at = p.missingAt()
	p.report(diag.New("text-missing", at, "%s is missing", what).Mend("write it as in `%s`", example))
	return Text{At: at}
}

// followsText says whether a word stands only behind a text.
func followsText(word string) bool {
	switch word {
	case "guarded", "follow", "at", "uses", "until", "while", "hold", "release", "lamp":
		return true
	}
	return false
}

func isQuoted(t Token) bool { return t.Kind == String || t.Kind == Bad }

// kebab takes a code: words joined by hyphens without blanks.
func (p *parser) kebab(example string) Name {
	if p.tok.Kind != Word {
		return p.codeMissing(example)
	}
	start := p.tok.Start
	p.next()
	for p.isSymbol('-') && p.tok.Start == p.end {
		if t := p.peek(); t.Kind != Word || t.Start != p.tok.End {
			break
		}
		p.next()
		p.next()
	}
	at := p.since(start)
	return Name{p.text[at.Start:at.End], at}
}

func (p *parser) codeMissing(example string) Name {
	at := p.missingAt()
	if p.tok.Kind == Bad {
		p.next()
		return Name{At: at}
	}
	p.report(diag.New("code-missing", at, "the code of the finding is missing").Mend("write it as in `%s`", example))
	return Name{At: at}
}
