package syntax

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"cuewright/macro/diag"
)

// blame says what is wrong with a Bad token.
func (p *parser) blame(t Token) {
	at, text := p.span(t.Start, t.End), p.textOf(t)
	first, _ := utf8.DecodeRuneInString(text)
	switch {
	case first == '"':
		p.blameText(t)
	case classes[text[0]] == digit && strings.IndexByte(text, ':') >= 0:
		p.report(diag.New("timecode-wrong", at, "`%s` is not a timecode", text).
			Mend("write hours, minutes, seconds and frames with two digits each, as in `00:00:05:12`").
			Mend("put a time of the day behind `at`, as in `%s`", clockExample))
	case classes[text[0]] == digit:
		p.blameNumber(t)
	case strings.HasPrefix(text, "//"):
		p.report(diag.New("comment-sign", at, "`//` does not begin a comment").
			Replace(p.span(t.Start, t.Start+2), "#", true, "write `#`"))
	case strings.HasPrefix(text, "/*"):
		p.report(diag.New("comment-sign", at, "`/*` does not begin a comment").
			Mend("begin each line of it with `#`"))
	case partners(first) != "":
		p.blameQuote(t, first)
	case !utf8.ValidString(text):
		p.notUTF8(t)
	default:
		p.report(diag.New("sign-unknown", at, "%s means nothing here", signs(text)).
			Replace(at, "", false, "take it out"))
	}
}

func (p *parser) notUTF8(t Token) {
	p.report(diag.New("unusable-file", p.span(t.Start, t.End), "here are bytes that are not UTF-8 text").
		Mend("save the file as UTF-8"))
}

func (p *parser) blameText(t Token) {
	at, text := p.span(t.Start, t.End), p.textOf(t)
	if !utf8.ValidString(text) {
		p.notUTF8(t)
		return
	}
	end := t.Start + int32(len(strings.TrimRight(text, " \t")))
	p.report(diag.New("text-not-closed", at, "the text that begins here has no closing quote").
		Replace(p.span(end, end), `"`, false, "write a `\"` where it ends"))
}

func (p *parser) blameNumber(t Token) {
	at, text := p.span(t.Start, t.End), p.textOf(t)
	value := strings.TrimRightFunc(text, func(r rune) bool { return r != '.' && !unicode.IsDigit(r) })
	d := diag.New("number-wrong", at, "`%s` is neither a number nor a duration", text)
	if unit := strings.ToLower(text[len(value):]); unit != "" && strings.Count(value, ".") < 2 {
		for _, u := range [...]struct{ word, unit string }{{"frames", "f"}, {"milliseconds", "ms"}, {"msec", "ms"}, {"seconds", "s"}, {"minutes", "m"}} {
			if strings.HasPrefix(u.word, unit) {
				d = d.Replace(at, value+u.unit, false, "write `%s`", value+u.unit)
			}
		}
	}
	if d.Mends == nil {
		d = d.Mend("a duration is a number with `f`, `ms`, `s` or `m`; a name begins with a letter")
	}
	p.report(d)
}

func (p *parser) blameQuote(t Token, first rune) {
	at, text := p.span(t.Start, t.End), p.textOf(t)
	_, lastSize := utf8.DecodeLastRuneInString(text)
	firstSize := utf8.RuneLen(first)
	d := diag.New("quote-sign", at, "`%c` does not begin a text", first)
	if first == '`' {
		d = diag.New("quote-sign", at, "a backquote does not begin a text")
	}
	if len(text) >= firstSize+lastSize {
		inner := text[firstSize : len(text)-lastSize]
		p.report(d.Replace(at, Quote(inner), true, "write `%s`", Quote(inner)))
		return
	}
	p.report(d.Mend("put texts in `\"`, and nothing else"))
}

// signs names up to three different characters, those that cannot be seen by
// number.
func signs(text string) string {
	var names []string
	seen := map[rune]bool{}
	for _, r := range text {
		if seen[r] {
			continue
		}
		if seen[r] = true; len(seen) > 3 {
			break
		}
		if unicode.IsGraphic(r) && !unicode.IsSpace(r) {
			names = append(names, "`"+string(r)+"`")
		} else {
			names = append(names, fmt.Sprintf("the character `U+%04X`", r))
		}
	}
	return strings.Join(names, " ")
}

// inside says what is wrong in a text: an escape that is none, or a character
// that nobody can see. The first of each is enough.
func (p *parser) inside(t Token) {
	text := p.textOf(t)
	if i := strings.IndexFunc(text, hidden); i >= 0 {
		r, size := utf8.DecodeRuneInString(text[i:])
		at := p.span(t.Start+int32(i), t.Start+int32(i+size))
		d := diag.New("hidden-sign", at, "there is the character `U+%04X` in this text, which steers a terminal and shows nothing", r)
		if r == '\t' {
			d = diag.New("hidden-sign", at, "there is a tab in this text").Replace(at, `\t`, false, "write `\\t`")
		}
		p.report(d.Replace(at, "", false, "take it out"))
	}
	if strings.IndexByte(text, '\\') < 0 {
		return
	}
	if i := wrongEscape(text); i >= 0 {
		_, size := utf8.DecodeRuneInString(text[i+1:])
		at := p.span(t.Start+int32(i), t.Start+int32(i+1+size))
		p.report(diag.New("escape-unknown", at, "`%s` is no escape", at.Text()).
			Replace(p.span(at.Start, at.Start), `\`, false, "write `\\\\` for the sign `\\` itself").
			Mend("the escapes are `\\\"`, `\\\\`, `\\n` and `\\t`"))
	}
}

// hidden says of a character that it stands for nothing to be seen, and that a
// terminal or a key may obey it: control characters, and those that turn the
// direction of writing round (Unicode Standard Annex 9).
func hidden(r rune) bool {
	return unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}
