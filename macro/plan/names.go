package plan

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// reserved are the words of the cue language, besides its verbs, that would
// make a line of a show mean two things if something had them for a name.
var reserved = []string{"show", "uses", "macro", "salvo", "page", "on", "off", "button", "guarded", "hold", "lamp", "when",
	"rundown", "cue", "follow", "after", "never", "always", "possible", "while", "rehearsal", "press", "go", "for", "fault",
	"allow", "until", "wait", "expect", "within", "else", "if", "together", "run", "alert", "note", "abandon", "restart",
	"queue", "with", "to", "from", "over", "shot", "and", "or", "not", "in", "true", "false", "let", "matches", "contains"}

// name enters a name into the plan with a role, and reports a name that
// cannot be one or stands for something else already.
func (r *reader) name(key *node, kind noun.Kind) (*Entry, bool) {
	if !r.fresh(key) {
		return nil, false
	}
	e := &Entry{Name: key.text, Kind: kind, At: key.at}
	r.rack.Names[key.text] = e
	return e, true
}

// fresh says that a name can be a name and is not taken, and takes it.
func (r *reader) fresh(key *node) bool {
	if !r.goodName(key) {
		r.lost(key.text)
		return false
	}
	if first, taken := r.said[key.text]; taken {
		r.lose(diag.New("name-twice", key.at, "`%s` is the name of something else already", key.text).
			With(first, "here").Mend("choose another name for one of the two"))
		return false
	}
	r.said[key.text] = key.at
	return true
}

// lost remembers a name of something that was not understood.
func (r *reader) lost(name string) {
	r.rack.Partial = true
	r.rack.Lost[name] = true
	r.rack.Lost[wordily(name)] = true
}

// goodName says that a name is made of small letters, digits and `_`, and is
// no word of the language.
func (r *reader) goodName(key *node) bool {
	if key.shape != isText {
		r.lose(diag.New("wrong-shape", headOf(key.at), "a name is one word"))
		return false
	}
	if !wordy(key.text) {
		d := diag.New("bad-name", key.at, "`%s` cannot be a name: names are small letters, digits and `_`, and begin with a letter", key.text)
		if mended := wordily(key.text); wordy(mended) {
			d = d.Mend("write `%s`", mended)
		}
		r.lose(d)
		return false
	}
	if slices.Contains(reserved, key.text) || syntax.VerbNamed(key.text) != nil {
		r.lose(diag.New("reserved-name", key.at, "`%s` is a word of the cue language and cannot be a name", key.text).
			Mend("write `the_%s`, or a better name", key.text))
		return false
	}
	return true
}

func wordy(name string) bool {
	for i, c := range []byte(name) {
		switch {
		case c >= 'a' && c <= 'z', c == '_':
		case c >= '0' && c <= '9' && i > 0:
		default:
			return false
		}
	}
	return name != ""
}

// wordily makes a name of what was meant to be one.
func wordily(name string) string {
	out := strings.Map(func(c rune) rune {
		switch {
		case c >= 'A' && c <= 'Z':
			return c - 'A' + 'a'
		case c >= 'a' && c <= 'z', c >= '0' && c <= '9', c == '_':
			return c
		}
		return '_'
	}, name)
	if out != "" && out[0] >= '0' && out[0] <= '9' {
		out = "_" + out
	}
	return out
}

// named are the names of the plan that have any of the roles, in order, for
// suggestions; mix banks do not count as sources.
func (r *reader) named(kind noun.Kind) []string {
	if r.total.guesses >= maxGuesses {
		return nil
	}
	var all []string
	for name, e := range r.rack.Names {
		if e.Kind.Has(kind) && (e.Bank == nil || kind.Has(noun.Bank)) {
			all = append(all, name)
		}
	}
	slices.Sort(all)
	return all
}

// numbers reports a number that two things of one sort of a device share.
type numbers map[int]source.Span

func (n numbers) take(r *reader, number int, at source.Span, of string) {
	if first, taken := n[number]; taken {
		r.add(diag.New("number-twice", at, "another %s has the number %d", of, number).With(first, "here"))
		return
	}
	n[number] = at
}
