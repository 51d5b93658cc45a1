package plan

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/source"
	"cuewright/macro/timecode"
)

// fields is a mapping with known keys.
type fields struct {
	r     *reader
	of    string // "a cable"
	at    source.Span
	items map[string]*node
}

// fields reads a mapping and reports every key that is not known.
func (r *reader) fields(n *node, of string, known ...string) (fields, bool) {
	f := fields{r: r, of: of, items: map[string]*node{}}
	if n == nil {
		return f, false
	}
	f.at = n.at
	if n.empty() {
		return f, true
	}
	if n.shape != isMapping {
		r.lose(diag.New("wrong-shape", n.at, "%s is written as `key: value` pairs", of).
			Mend("write some of %s", nearest.Quote(known)))
		return f, false
	}
	for i, key := range n.keys {
		f.items[key.text] = n.items[i]
		if !slices.Contains(known, key.text) {
			r.unknownKey(key, of, known)
		}
	}
	return f, true
}

// maxGuesses is how often nearest names are looked for in one reading.
const maxGuesses = 100

// near finds nearest names, but not without end: somebody with a hundred
// unknown names has another trouble than spelling.
func (r *reader) near(word string, known []string) []string {
	if r.total.guesses++; r.total.guesses > maxGuesses {
		return nil
	}
	return nearest.Names(word, known)
}

func (r *reader) unknownKey(key *node, of string, known []string) {
	d := diag.New("unknown-key", key.at, "%s has no `%s`", of, key.text)
	near := nearest.Names(key.text, known)
	for _, name := range near {
		d = d.Replace(key.at, name, false, "write `%s`", name)
	}
	if len(near) == 0 {
		d = d.Mend("the keys of %s are %s", of, nearest.Quote(known))
	}
	r.lose(d)
}

// get is the value of a key, or nil when it is missing or nothing is written.
func (f fields) get(key string) *node {
	if n := f.items[key]; n != nil && !n.empty() {
		return n
	}
	return nil
}

// need is get for a key that must be there; because says what it is for.
func (f fields) need(key, because string) *node {
	n := f.get(key)
	if n == nil && f.r.rack.Lost[key] {
		f.r.rack.Partial = true // it may stand in what could not be read
	} else if n == nil {
		at := f.at
		if written := f.items[key]; written != nil {
			at = written.at
		}
		f.r.lose(diag.New("missing-key", headOf(at), "%s has no `%s`", f.of, key).
			Mend("write `%s: …`; %s", key, because))
	}
	return n
}

// headOf is the first line of a place, so that a finding about a long part
// does not mark all of it.
func headOf(at source.Span) source.Span {
	if i := strings.IndexAny(at.Text(), "\r\n"); i >= 0 {
		at.End = at.Start + int32(i)
	}
	return at
}

// each calls visit for the entries of a mapping of names.
func (r *reader) each(n *node, what string, visit func(key, body *node)) {
	if n == nil {
		return
	}
	if n.shape != isMapping {
		r.lose(diag.New("wrong-shape", headOf(n.at), "%s are written as `name: …`, one name an entry", what))
		return
	}
	for i, key := range n.keys {
		visit(key, n.items[i])
	}
}

// items are the nodes of a list.
func (r *reader) items(n *node, what string) []*node {
	if n == nil {
		return nil
	}
	if n.shape != isList {
		r.lose(diag.New("wrong-shape", headOf(n.at), "%s are written as a list", what).
			Mend("put `- ` before each, or all in `[ ]`"))
		return nil
	}
	for _, item := range n.items {
		if item.empty() {
			r.lose(diag.New("wrong-shape", n.at.File.At(int(item.at.Start), int(item.at.Start)), "nothing is written after this dash or comma"))
		}
	}
	return slices.DeleteFunc(slices.Clone(n.items), (*node).empty)
}

// words is a text.
func (r *reader) words(n *node, what string) (string, bool) {
	if n.shape != isText {
		r.lose(diag.New("wrong-shape", headOf(n.at), "%s is one text", what))
		return "", false
	}
	return n.text, true
}

// oneOf is one of the known words.
func (r *reader) oneOf(n *node, what string, known []string) (string, bool) {
	word, ok := r.words(n, what)
	if ok && !slices.Contains(known, word) {
		r.unknownWord(n.at, word, what, known)
		return "", false
	}
	return word, ok
}

func (r *reader) unknownWord(at source.Span, word, what string, known []string) {
	d := diag.New("unknown-word", at, "`%s` is not %s", word, what)
	near := nearest.Names(word, known)
	for _, name := range near {
		d = d.Replace(at, name, false, "write `%s`", name)
	}
	if len(near) == 0 {
		d = d.Mend("write one of %s", nearest.Quote(known))
	}
	r.lose(d)
}

// number is a whole number from low to high.
func (r *reader) number(n *node, what string, low, high int) (int, bool) {
	word, ok := r.words(n, what)
	if !ok {
		return 0, false
	}
	v, err := strconv.Atoi(word)
	if err != nil || v < low || v > high {
		r.lose(diag.New("bad-number", n.at, "%s is `%s`, not a whole number from %d to %d", what, word, low, high))
		return 0, false
	}
	return v, true
}

// yes is true or false; nothing written is false.
func (r *reader) yes(n *node, what string) bool {
	if n == nil {
		return false
	}
	word, _ := r.oneOf(n, what, []string{"true", "false"})
	return word == "true"
}

// duration is a time as the show writes it; nothing written is otherwise.
func (r *reader) duration(n *node, what string, otherwise timecode.Micros) timecode.Micros {
	if n == nil {
		return otherwise
	}
	word, ok := r.words(n, what)
	if !ok {
		return otherwise
	}
	m, err := r.rack.Rate.Duration(word)
	if err == nil {
		return m
	}
	var mistake *timecode.Mistake
	d := diag.New("bad-time", n.at, "%s: %s", what, err)
	if errors.As(err, &mistake) {
		d = diag.New("bad-time", n.at, "%s: %s", what, mistake.What)
		for _, write := range mistake.Write {
			d = d.Replace(n.at, write, false, "write `%s`", write)
		}
	}
	r.lose(d)
	return otherwise
}
