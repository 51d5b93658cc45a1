package syntax

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// scanned is a file cut into tokens, with what the parser wants to know ahead
// of reading: which brackets never close, where the items begin, and how many
// closing braces are left over in each. All lists are in file order.
type scanned struct {
	tokens   []Token
	unclosed []int32    // tokens: ( and [ without their partner
	segments []segment  // the file's start, then every line that begins an item
	broken   [][2]int32 // from, to: lines with a text that is not closed
}

// segment is the run of tokens from one item's line to the next. Stray is the
// number of closing braces in it that have no opening one.
type segment struct {
	first, stray int32
}

// Classes of bytes. Only the first byte of a token is looked up.
const (
	other uint8 = iota
	blank
	lineEnd
	letter
	digit
	quote
	hash
	mark
	opening // ( [
	closing // ) ]
	brace
	high // the first byte of a character beyond ASCII, or a stray byte
)

var classes = func() (t [256]uint8) {
	for c := 0x80; c < 256; c++ {
		t[c] = high
	}
	for c := '0'; c <= '9'; c++ {
		t[c] = digit
	}
	for c := 'a'; c <= 'z'; c++ {
		t[c], t[c-'a'+'A'] = letter, letter
	}
	t['_'] = letter
	t[' '], t['\t'], t['\r'] = blank, blank, blank
	t['\n'], t['"'], t['#'] = lineEnd, quote, hash
	for _, c := range ",:;.=!<>+-*/%?&|" {
		t[c] = mark
	}
	t['('], t['['], t[')'], t[']'] = opening, opening, closing, closing
	t['{'], t['}'] = brace, brace
	return t
}()

type scanner struct {
	scanned
	text  string
	pos   int
	fresh bool    // nothing but blanks so far on this line
	open  []int32 // tokens: brackets that wait for their partner
	depth int32   // braces open in this segment

	unpaired int // the end of a line that has a quote without partner
}

// scan cuts text into tokens. It looks at each byte a bounded number of times.
func scan(text string) scanned {
	s := scanner{text: text, fresh: true}
	s.tokens = make([]Token, 0, min(len(text)/2+8, 1<<16))
	s.segments = append(s.segments, segment{})
	if len(text) >= 3 && text[:3] == "\ufeff" {
		s.pos = 3
		s.add(Space, 0)
	}
	for s.pos < len(text) {
		s.token()
	}
	s.dropBrackets()
	return s.scanned
}

func (s *scanner) add(kind TokenKind, start int) {
	if len(s.tokens) == cap(s.tokens) {
		s.grow()
	}
	s.tokens = append(s.tokens, Token{kind, int32(start), int32(s.pos)})
}

// grow makes room for the tokens of the whole text, going by what they took so
// far.
func (s *scanner) grow() {
	n := len(s.tokens)
	room := int(float64(n) / float64(s.pos) * float64(len(s.text)) * 1.02)
	s.tokens = append(make([]Token, 0, max(room, n+n/4)+64), s.tokens...)
}

func (s *scanner) token() {
	start, text := s.pos, s.text
	c := text[start]
	s.pos++
	switch classes[c] {
	case blank:
		for s.pos < len(text) && classes[text[s.pos]] == blank {
			s.pos++
		}
		s.add(Space, start)
		return
	case lineEnd:
		s.add(Newline, start)
		s.fresh = true
		return
	case hash:
		s.pos = s.lineEnd()
		s.add(Comment, start)
		return
	case letter:
		s.word(start)
	case digit:
		s.add(s.number(start), start)
	case quote:
		s.add(s.quoted(start), start)
	case mark:
		s.symbol(c, start)
	case opening:
		s.open = append(s.open, int32(len(s.tokens)))
		s.add(Symbol, start)
	case closing:
		if n := len(s.open); n > 0 {
			s.open = s.open[:n-1]
		}
		s.add(Symbol, start)
	case brace:
		s.dropBrackets()
		s.count(c)
		s.add(Symbol, start)
	default:
		s.strange(start)
	}
	s.fresh = false
}

// dropBrackets says that the brackets still open will not be closed: none
// reaches over a brace, a semicolon or the start of an item.
func (s *scanner) dropBrackets() {
	s.unclosed = append(s.unclosed, s.open...)
	s.open = s.open[:0]
}

func (s *scanner) count(c byte) {
	switch {
	case c == '{':
		s.depth++
	case s.depth > 0:
		s.depth--
	default:
		s.segments[len(s.segments)-1].stray++
	}
}

// lineEnd is the end of the line's text: before its line feed and the carriage
// returns in front of it.
func (s *scanner) lineEnd() int {
	end := s.pos
	for end < len(s.text) && s.text[end] != '\n' {
		end++
	}
	for end > s.pos && s.text[end-1] == '\r' {
		end--
	}
	return end
}

func (s *scanner) word(start int) {
	s.letters()
	if s.fresh && beginsItem(s.text[start:s.pos], s.text[s.pos:]) {
		s.dropBrackets()
		s.depth = 0
		s.segments = append(s.segments, segment{first: int32(len(s.tokens))})
	}
	s.add(Word, start)
}

// letters moves over letters, digits and _.
func (s *scanner) letters() {
	for s.pos < len(s.text) {
		switch classes[s.text[s.pos]] {
		case letter, digit:
			s.pos++
		case high:
			r, size := utf8.DecodeRuneInString(s.text[s.pos:])
			if !unicode.IsLetter(r) {
				return
			}
			s.pos += size
		default:
			return
		}
	}
}

// beginsItem says whether a line that starts with word, and goes on with rest,
// is the start of an item wherever it stands. It asks for the next thing too,
// since `page desk to cameras` is a statement. `allow` stands in blocks as
// well, so it is not among them.
func beginsItem(word, rest string) bool {
	switch word {
	case "macro", "salvo":
		return classes[after(rest)] == letter
	case "never", "always", "possible", "rehearsal", "show":
		return after(rest) == '"'
	case "rundown":
		rest = skipBlanks(rest)
		return after(rest) == '{' || len(rest) > 2 && rest[:2] == "in" && after(rest[2:]) == '"'
	case "page":
		rest = skipBlanks(rest)
		i := 0
		for i < len(rest) && (classes[rest[i]] == letter || classes[rest[i]] == digit || classes[rest[i]] == high) {
			i++
		}
		rest = skipBlanks(rest[i:])
		return len(rest) > 2 && rest[:2] == "on" && classes[rest[2]] == blank
	}
	return false
}

func skipBlanks(s string) string {
	i := 0
	for i < len(s) && classes[s[i]] == blank {
		i++
	}
	return s[i:]
}

func after(rest string) byte {
	if rest = skipBlanks(rest); rest != "" {
		return rest[0]
	}
	return 0
}

func (s *scanner) at(i int) byte {
	if i < len(s.text) {
		return s.text[i]
	}
	return 0
}

func (s *scanner) digits() {
	for classes[s.at(s.pos)] == digit {
		s.pos++
	}
}

// number reads 12, 2.5, 12f, 500ms, 1.5s, 2m, a timecode or a time of the day. What begins like
// one and goes on as something else is Bad as a whole: 12x, 1.2.3, 0:05.
func (s *scanner) number(start int) TokenKind {
	s.digits()
	if s.at(s.pos) == ':' && classes[s.at(s.pos+1)] == digit {
		return s.timecode(start)
	}
	dots := 0
	for s.at(s.pos) == '.' && classes[s.at(s.pos+1)] == digit {
		s.pos++
		s.digits()
		dots++
	}
	unit := s.pos
	s.letters()
	switch {
	case dots > 1:
		return Bad
	case unit == s.pos:
		return Number
	}
	switch s.text[unit:s.pos] {
	case "f", "ms", "s", "m":
		return Duration
	}
	return Bad
}

func (s *scanner) timecode(start int) TokenKind {
	fields := 1
	for (s.at(s.pos) == ':' || s.at(s.pos) == ';' && fields == 3) && classes[s.at(s.pos+1)] == digit {
		s.pos++
		s.digits()
		fields++
	}
	digitsEnd := s.pos
	s.letters()
	clock := fields == 3 && s.pos-start == len("00:00:00") && s.tellsTime(start)
	if digitsEnd != s.pos || !clock && (fields != 4 || s.pos-start != len("00:00:00:00")) {
		return Bad
	}
	for colon := 2; colon < s.pos-start; colon += 3 {
		if classes[s.text[start+colon]] == digit {
			return Bad
		}
	}
	if clock {
		return Clock
	}
	return Duration
}

// tellsTime says whether the word before a time is one that a time of the day
// belongs to. Anywhere else it is a timecode without its frames.
func (s *scanner) tellsTime(start int) bool {
	before := strings.TrimRight(s.text[:start], " \t\r")
	return before != s.text[:start] && (endsWith(before, "at") || endsWith(before, "clock"))
}

// endsWith says whether the last word of text is w.
func endsWith(text, w string) bool {
	rest, ok := strings.CutSuffix(text, w)
	if !ok || rest == "" {
		return ok
	}
	switch classes[rest[len(rest)-1]] {
	case letter, digit, high:
		return false
	}
	return true
}

// quoted reads "…". A text that the line does not close is Bad, up to the
// brace that probably follows it, or the line's end: so the block after it can
// still be read.
func (s *scanner) quoted(start int) TokenKind {
	ascii := true
	for ; s.pos < len(s.text); s.pos++ {
		switch c := s.text[s.pos]; {
		case c == '"':
			s.pos++
			if ascii || utf8.ValidString(s.text[start:s.pos]) {
				return String
			}
			return Bad
		case c == '\\' && s.pos+1 < len(s.text) && s.text[s.pos+1] != '\n':
			s.pos++
			ascii = ascii && s.text[s.pos] < 0x80
		case c >= 0x80:
			ascii = false
		case c == '\n':
			return s.unfinished(start)
		}
	}
	return s.unfinished(start)
}

func (s *scanner) unfinished(start int) TokenKind {
	s.pos = start + 1
	end := s.lineEnd()
	s.pos = end
	if n := len(s.broken); n > 0 && int(s.broken[n-1][1]) == end {
		return Bad // the second on this line: nothing can be made of it
	}
	s.broken = append(s.broken, [2]int32{int32(s.lineStart()), int32(end)})
	for i := start + 1; i < end; i++ {
		if s.text[i] == '{' && classes[s.text[i-1]] == blank {
			s.pos = i - 1
			break
		}
	}
	return Bad
}

// lineStart is where the line of the last tokens begins.
func (s *scanner) lineStart() int {
	for i := len(s.tokens) - 1; i >= 0; i-- {
		if s.tokens[i].Kind == Newline {
			return int(s.tokens[i].End)
		}
	}
	return 0
}

func (s *scanner) symbol(c byte, start int) {
	next := s.at(s.pos)
	switch {
	case c == '/' && (next == '/' || next == '*'):
		s.foreignComment(start)
		return
	case c == ';':
		s.dropBrackets()
	case next == '=' && (c == '=' || c == '!' || c == '<' || c == '>'),
		next == c && (c == '&' || c == '|'):
		s.pos++
	case c == '&' || c == '|':
		s.add(Bad, start)
		return
	}
	s.add(Symbol, start)
}

// foreignComment is // to the line's end, or /* to */ or the line's end.
func (s *scanner) foreignComment(start int) {
	end := s.lineEnd()
	if s.text[start+1] == '*' {
		for i := start + 2; i+1 < end; i++ {
			if s.text[i] == '*' && s.text[i+1] == '/' {
				end = i + 2
				break
			}
		}
	}
	s.pos = end
	s.add(Bad, start)
}

// partners are the signs that end a text which begins with r, where people may
// mean r as ", and "" for all other characters.
func partners(r rune) string {
	switch r {
	case '\'', '`':
		return string(r)
	case '“':
		return "”“"
	case '„':
		return "“”"
	case '”':
		return "”"
	case '«':
		return "»"
	case '‘', '’':
		return "’"
	}
	return ""
}

// strange reads what begins with none of the language's characters: a name
// that begins with a letter beyond ASCII, a text in other quotes, or a run of
// anything.
func (s *scanner) strange(start int) {
	s.pos = start
	r, size := utf8.DecodeRuneInString(s.text[start:])
	if unicode.IsLetter(r) {
		s.letters()
		s.add(Word, start)
		return
	}
	s.pos += size
	if p := partners(r); p != "" {
		s.partner(p)
		s.add(Bad, start)
		return
	}
	for s.pos < len(s.text) {
		if c := classes[s.text[s.pos]]; c != other && c != high {
			break
		}
		r, size := utf8.DecodeRuneInString(s.text[s.pos:])
		if unicode.IsLetter(r) || partners(r) != "" {
			break
		}
		s.pos += size
	}
	s.add(Bad, start)
}

// partner moves behind the end of a text in other quotes, if it ends on this
// line. A line in which one has no end is not searched again.
func (s *scanner) partner(ends string) {
	if s.pos < s.unpaired {
		return
	}
	i := s.pos
	for i < len(s.text) && s.text[i] != '\n' {
		r, size := utf8.DecodeRuneInString(s.text[i:])
		i += size
		for _, end := range ends {
			if r == end {
				s.pos = i
				return
			}
		}
	}
	s.unpaired = i
}
