package syntax_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"pgregory.net/rapid"
)

// rule is a piece of the grammar: a literal, a name, or a group of pieces.
type rule struct {
	op    byte // ' literal, n name, . sequence, | choice, ? option, * repetition
	text  string
	parts []*rule
}

// grammar reads the productions of an EBNF text.
type grammar struct {
	words []string
	rules map[string]*rule
}

func readGrammar(text string) *grammar {
	g := &grammar{rules: map[string]*rule{}}
	for line := range strings.Lines(text) {
		line, _, _ = strings.Cut(line, "//")
		g.words = append(g.words, pieces(line)...)
	}
	for len(g.words) > 0 {
		name := g.take()
		if g.take() != "=" {
			panic("no = after " + name)
		}
		if name == "name" { // tokens follow, which the scanner reads
			break
		}
		g.rules[name] = g.choice()
		if g.take() != "." {
			panic("no . after " + name)
		}
	}
	return g
}

// pieces cuts a line at blanks, but not in quotes.
func pieces(line string) []string {
	var list []string
	for line = strings.TrimSpace(line); line != ""; line = strings.TrimSpace(line) {
		end := strings.IndexByte(line+" ", ' ')
		if q := line[0]; q == '"' || q == '`' {
			end = strings.IndexByte(line[1:], q) + 2
		}
		list = append(list, line[:end])
		line = line[end:]
	}
	return list
}

func (g *grammar) take() string { w := g.words[0]; g.words = g.words[1:]; return w }

func (g *grammar) choice() *rule {
	r := &rule{op: '|', parts: []*rule{g.sequence()}}
	for g.words[0] == "|" {
		g.take()
		r.parts = append(r.parts, g.sequence())
	}
	return r
}

func (g *grammar) sequence() *rule {
	r := &rule{op: '.'}
	for !slices.Contains([]string{"|", ")", "]", "}", "."}, g.words[0]) {
		r.parts = append(r.parts, g.one())
	}
	return r
}

func (g *grammar) one() *rule {
	w := g.take()
	ops := map[string]byte{"(": '.', "[": '?', "{": '*'}
	switch op := ops[w]; {
	case op != 0:
		r := &rule{op: op, parts: []*rule{g.choice()}}
		g.take()
		return r
	case w[0] == '"':
		return &rule{op: '\'', text: strings.Trim(w, `"`)}
	}
	return &rule{op: 'n', text: w}
}

// matcher holds a file's tokens against the grammar. It knows nothing of the
// parser but its tokens and the verb table.
type matcher struct {
	*grammar
	f      *syntax.File
	tokens []syntax.Token
	known  map[string]map[int][]int
}

// refuses says whether the grammar refuses a file.
func (g *grammar) refuses(f *syntax.File) bool {
	m := &matcher{grammar: g, f: f, known: map[string]map[int][]int{}}
	for _, t := range f.Tokens {
		if t.Kind == syntax.String && strings.Contains(f.Text(t), `\`) {
			if _, err := strconv.Unquote(f.Text(t)); err != nil {
				return true
			}
		}
		if t.Kind != syntax.Space && t.Kind != syntax.Comment {
			m.tokens = append(m.tokens, t)
		}
	}
	return !slices.Contains(m.name("Show", 0), len(m.tokens))
}

// ends are all the places where r can end that begins at token i.
func (m *matcher) ends(r *rule, i int) []int {
	switch r.op {
	case '\'':
		return m.literal(r.text, i)
	case 'n':
		return m.name(r.text, i)
	case '?':
		return union([]int{i}, m.ends(r.parts[0], i))
	case '|':
		var all []int
		for _, p := range r.parts {
			all = union(all, m.ends(p, i))
		}
		return all
	case '*':
		all := []int{i}
		for k := 0; k < len(all); k++ {
			for _, e := range m.ends(r.parts[0], all[k]) {
				if !slices.Contains(all, e) {
					all = append(all, e)
				}
			}
		}
		return all
	}
	all := []int{i}
	for _, p := range r.parts {
		var next []int
		for _, s := range all {
			next = union(next, m.ends(p, s))
		}
		all = next
	}
	return all
}

func union(a, b []int) []int {
	for _, x := range b {
		if !slices.Contains(a, x) {
			a = append(a, x)
		}
	}
	return a
}

func (m *matcher) name(n string, i int) []int {
	if r := m.rules[n]; r != nil {
		if m.known[n] == nil {
			m.known[n] = map[int][]int{}
		}
		ends, ok := m.known[n][i]
		if !ok {
			ends = m.ends(r, i)
			m.known[n][i] = ends
		}
		return ends
	}
	if i >= len(m.tokens) {
		return nil
	}
	if n == "verb" {
		return m.verb(i)
	}
	if n == "code" {
		return m.code(i)
	}
	if m.is(n, m.tokens[i]) {
		return []int{i + 1}
	}
	return nil
}

func (m *matcher) literal(text string, i int) []int {
	if i < len(m.tokens) && m.tokens[i].Kind != syntax.Bad && m.f.Text(m.tokens[i]) == text {
		return []int{i + 1}
	}
	return nil
}

// is says whether t is a token of class n.
func (m *matcher) is(n string, t syntax.Token) bool {
	text := m.f.Text(t)
	switch n {
	case "eol":
		return t.Kind == syntax.Newline
	case "name":
		return t.Kind == syntax.Word
	case "parameter":
		return t.Kind == syntax.Word && text != "else"
	case "text":
		return t.Kind == syntax.String
	case "number":
		return t.Kind == syntax.Number
	case "time":
		return t.Kind == syntax.Duration
	case "clock":
		return t.Kind == syntax.Clock
	case "cell":
		row, column, _ := strings.Cut(text, ".")
		r, err := strconv.Atoi(row)
		c, err2 := strconv.Atoi(column)
		return t.Kind == syntax.Number && err == nil && err2 == nil && r > 0 && c > 0
	case "kind":
		_, ok := noun.Params[text]
		return ok
	case "lampstate":
		return slices.Contains(syntax.LampStates, text)
	case "condtoken":
		if t.Kind == syntax.Newline || t.Kind == syntax.Bad {
			return false
		}
		ending := []string{"within", "else", "lamp", "hold", "release", "while"}
		return !slices.Contains(ending, text) && !slices.Contains(strings.Fields("( ) [ ] { } ; ="), text)
	}
	panic("no class " + n)
}

func (m *matcher) code(i int) []int {
	if m.tokens[i].Kind != syntax.Word {
		return nil
	}
	ends := []int{i + 1}
	for i++; i+1 < len(m.tokens); i += 2 {
		a, b := m.tokens[i], m.tokens[i+1]
		if m.f.Text(a) != "-" || a.Start != m.tokens[i-1].End || b.Start != a.End || b.Kind != syntax.Word {
			break
		}
		ends = []int{i + 2}
	}
	return ends
}

func (m *matcher) verb(i int) []int {
	v := syntax.VerbNamed(m.f.Text(m.tokens[i]))
	if v == nil || m.tokens[i].Kind != syntax.Word {
		return nil
	}
	return m.slots(v.Slots, i+1)
}

func (m *matcher) slots(slots []syntax.Slot, i int) []int {
	if len(slots) == 0 {
		return []int{i}
	}
	s, rest := slots[0], slots[1:]
	var skipped []int
	if n := s.Opens; n > 0 {
		s.Opens = 0
		skipped = m.slots(slots[n:], i)
	}
	var all []int
	for _, end := range m.slot(s, rest, i) {
		all = union(all, m.slots(rest, end))
	}
	return union(all, skipped)
}

func (m *matcher) slot(s syntax.Slot, rest []syntax.Slot, i int) []int {
	switch {
	case s.Word != "":
		return m.literal(s.Word, i)
	case s.Words != nil:
		return union(m.literal(s.Words[0], i), m.literal(s.Words[1], i))
	case s.Args:
		return union([]int{i}, m.name("Args", i))
	}
	var all []int
	for _, end := range m.name("Operand", i) {
		t := m.tokens[end-1]
		taken := len(rest) > 0 && (rest[0].Word == m.f.Text(t) || slices.Contains(rest[0].Words, m.f.Text(t)))
		if taken || s.Kinds == noun.Duration && t.Kind == syntax.Number {
			continue
		}
		all = append(all, end)
		if s.List && len(m.literal(",", end)) > 0 {
			all = union(all, m.slot(s, rest, end+1))
		}
	}
	return all
}

// writer makes random shows from the grammar.
type writer struct {
	*grammar
	t    *rapid.T
	out  []string
	deep int
}

var tokenChoices = map[string][]string{
	"eol": {"\n"}, "name": {"main", "wide", "x_2", "größe", "cue", "button"}, "text": {`"a \"b\" {"`, `""`, `"# ü"`},
	"number": {"1", "3.5"}, "cell": {"1.1", "2.10"}, "time": {"12f", "1.5s", "00:00:05;12", "500ms", "2m"}, "clock": {"19:30:00", "00:00:00"},
	"kind": {"clip", "source"}, "parameter": {"t"}, "lampstate": syntax.LampStates, "code": {"a-b-c", "loop"},
	"condtoken": {"a", ".", "==", "12", `"x"`, "and", "!", "||"},
}

func (w *writer) pick(n int, label string) int { return rapid.IntRange(0, n-1).Draw(w.t, label) }

func (w *writer) write(r *rule) {
	switch r.op {
	case '\'':
		w.out = append(w.out, r.text)
	case 'n':
		w.name(r.text)
	case '?':
		if w.deep < 30 && w.pick(2, "option") == 1 {
			w.write(r.parts[0])
		}
	case '*':
		for n := w.pick(4, "times"); n > 0 && w.deep < 30; n-- {
			w.write(r.parts[0])
		}
	case '|':
		i := w.pick(len(r.parts), "choice")
		if w.deep >= 30 {
			i = 0 // the first alternative of each production ends soonest
		}
		w.write(r.parts[i])
	case '.':
		for _, p := range r.parts {
			w.write(p)
		}
	}
}

func (w *writer) name(n string) {
	if r := w.rules[n]; r != nil {
		w.deep++
		w.write(r)
		w.deep--
		return
	}
	if n == "verb" {
		w.verb(syntax.Verbs[w.pick(len(syntax.Verbs), "verb")])
		return
	}
	choices := tokenChoices[n]
	w.out = append(w.out, choices[w.pick(len(choices), n)])
}

func (w *writer) verb(v *syntax.Verb) {
	w.out = append(w.out, v.Word)
	for i := 0; i < len(v.Slots); i++ {
		s := v.Slots[i]
		switch {
		case s.Opens > 0 && w.pick(2, "opens") == 0:
			i += s.Opens - 1
		case s.Word != "":
			w.out = append(w.out, s.Word)
		case s.Words != nil:
			w.out = append(w.out, s.Words[w.pick(len(s.Words), s.Role)])
		case s.Args:
			if w.pick(2, "args") == 1 {
				w.name("Args")
			}
		case s.Kinds == noun.Duration:
			w.name("Time")
		default:
			w.name("Operand")
			for s.List && w.pick(2, "more") == 1 {
				w.out = append(w.out, ",")
				w.name("Operand")
			}
		}
	}
}

func TestParserTakesWhatTheGrammarMakes(t *testing.T) {
	g := readGrammar(syntax.Grammar)
	rapid.Check(t, func(t *rapid.T) {
		w := &writer{grammar: g, t: t}
		w.out = append(w.out, `show "x" uses "y"`, "\n")
		w.name("Item")
		text := strings.Join(w.out, " ")
		if _, found := syntax.Parse(source.New("made.show", []byte(text))); twiceParts(found) {
			t.Skip("a button with two holds")
		} else if len(found) > 0 {
			t.Fatalf("%s: %s\n%s", found[0].Code, found[0].What, text)
		}
	})
}

func TestParserAndGrammarRefuseTheSame(t *testing.T) {
	g := readGrammar(syntax.Grammar)
	samples := sampleItems(t)
	for _, s := range samples {
		if f, _ := parse(s); g.refuses(f) {
			t.Fatalf("the grammar refuses a sample:\n%s", s)
		}
	}
	refused := 0
	rapid.Check(t, func(t *rapid.T) {
		text := mutate(t, rapid.SampledFrom(samples).Draw(t, "sample"))
		f, found := parse(text)
		if twiceParts(found) || strings.Contains(text, "expect alert") || strings.Contains(text, "expect finding") {
			return
		}
		refuses := g.refuses(f)
		if refuses != (len(found) > 0) {
			t.Fatalf("the grammar refuses: %v, the parser says: %v\n%s", refuses, found, text)
		}
		if refuses {
			refused++
		}
	})
	if refused == 0 {
		t.Error("no mutation was refused, so nothing was tested")
	}
}
