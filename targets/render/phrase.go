package render

import (
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/source"
)

// phrase is a template's text: literal pieces and formulas by turns.
type phrase struct {
	at    source.Span
	parts []part
}

// part is a literal, or a formula when that is not nil.
type part struct {
	literal string
	formula *formula
}

// newPhrase reads text with {formula} parts. Two braces stand for one: {{ is
// {, }} is }.
func newPhrase(w *plan.Words, known names) (*phrase, diag.List) {
	p := &phrase{at: w.At}
	var found diag.List
	var literal strings.Builder
	place := placer(w)
	for i := 0; i < len(w.Text); {
		switch rest := w.Text[i:]; {
		case strings.HasPrefix(rest, "{{") || strings.HasPrefix(rest, "}}"):
			literal.WriteByte(rest[0])
			i += 2
		case rest[0] == '}':
			found.Add(diag.New(unreadable, place(i, i+1), "this `}` closes nothing").
				Mend("write `}}` for a brace that is sent"))
			i++
		case rest[0] == '{':
			length := closing(rest)
			if length < 0 {
				found.Add(diag.New(unreadable, place(i, len(w.Text)), "this `{` is not closed").
					Mend("close it with `}`, or write `{{` for a brace that is sent"))
				i = len(w.Text)
				break
			}
			base := i + 1
			f, mistakes := newFormula(rest[1:length-1], func(from, to int) source.Span { return place(base+from, base+to) }, known)
			found.Add(mistakes...)
			p.parts = append(p.parts, part{literal: literal.String()}, part{formula: f})
			literal.Reset()
			i += length
		default:
			literal.WriteByte(rest[0])
			i++
		}
	}
	p.parts = append(p.parts, part{literal: literal.String()})
	return p, found
}

// closing is the length of {formula} at the start of text with its braces, or
// -1. Braces inside quotes do not count.
func closing(text string) int {
	var quote byte
	for i := 1; i < len(text); i++ {
		switch c := text[i]; {
		case quote != 0 && c == '\\':
			i++
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'' || c == '`':
			quote = c
		case c == '}':
			return i + 1
		}
	}
	return -1
}

// placer maps bytes of a plan's text to their place in the file. Where the
// file writes the text otherwise (with escapes, or on several lines) the
// place is the whole of it.
func placer(w *plan.Words) locate {
	start := strings.Index(w.At.Text(), w.Text)
	return func(from, to int) source.Span {
		if w.At.IsZero() || start < 0 || w.Text == "" {
			return w.At
		}
		at := int(w.At.Start) + start
		return w.At.File.At(at+from, at+max(to, from))
	}
}

// sole is the formula of a phrase that is one formula and nothing else, or nil.
func (p *phrase) sole() *formula {
	if len(p.parts) == 3 && p.parts[0].literal == "" && p.parts[2].literal == "" {
		return p.parts[1].formula
	}
	return nil
}

// literals is the fixed text of a phrase, with a mark where values come.
func (p *phrase) literals(mark string) string {
	var b strings.Builder
	for i, part := range p.parts {
		if i%2 == 0 {
			b.WriteString(part.literal)
		} else {
			b.WriteString(mark)
		}
	}
	return b.String()
}

// fill puts the values in. Each value goes through put, which gets its text
// and the text so far, and gives what is written.
func (p *phrase) fill(given map[string]value, put func(sofar, text string) (string, error)) (string, *refusal) {
	var b strings.Builder
	for _, part := range p.parts {
		if part.formula == nil {
			b.WriteString(part.literal)
			continue
		}
		v, err := part.formula.eval(given)
		if err != nil {
			return "", &refusal{refused, part.formula.at, "`" + part.formula.at.Text() + "` " + err.Error()}
		}
		s, err := put(b.String(), show(v))
		if err != nil {
			return "", &refusal{refused, part.formula.at, err.Error()}
		}
		b.WriteString(s)
		if b.Len() > largest {
			return "", &refusal{tooLarge, p.at, "a text grows to more than " + show(int64(largest)) + " bytes"}
		}
	}
	return b.String(), nil
}

// refusal is why a message cannot be made of its values.
type refusal struct {
	code diag.Code
	at   source.Span
	what string
}
