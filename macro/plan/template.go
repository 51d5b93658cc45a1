package plan

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
)

// templateKeys are the keys by which a message is said.
var templateKeys = []string{"osc", "args", "request", "headers", "form", "text", "json"}

// template reads how something is said on the wire of c.
func (r *reader) template(c *Control, n *node, of string) *Template {
	f, ok := r.fields(n, of, templateKeys...)
	if !ok {
		return nil
	}
	return r.sayings(c, f, n.at)
}

// sayings reads the keys of a template.
func (r *reader) sayings(c *Control, f fields, at source.Span) *Template {
	if !r.way(c, f, at) {
		return nil
	}
	t := &Template{At: at}
	if osc := f.get("osc"); osc != nil {
		t.Path = r.phrase(osc, "the OSC address")
		if t.Path == nil || !r.oscAddress(t.Path.Text, t.Path.At) {
			return nil
		}
		for _, n := range r.items(f.get("args"), "the arguments") {
			r.argument(t, n)
		}
		r.notFor(f, "OSC", "headers", "form", "text", "json")
		return t
	}
	method, target, ok := r.request(f.get("request"))
	if !ok {
		return nil
	}
	t.Method = method
	t.Target = &Words{target, tail(f.get("request").inside(), target)}
	r.notFor(f, "a request", "args")
	t.Header = r.phrases(f.get("headers"), "the headers")
	t.Form = r.phrases(f.get("form"), "the form")
	if n := f.get("text"); n != nil {
		t.Text = r.phrase(n, "the text")
	}
	if n := f.get("json"); n != nil {
		t.JSON = r.json(n)
	}
	r.oneBody(f)
	return t
}

// way checks that there is one of `osc` and `request`, and that it is the one
// of the device's wire.
func (r *reader) way(c *Control, f fields, at source.Span) bool {
	osc, request := f.get("osc"), f.get("request")
	web := c.Wire == HTTP || c.Wire == HTTPS
	want, has := "osc", osc
	if web {
		want, has = "request", request
	}
	switch {
	case osc != nil && request != nil:
		r.lose(diag.New("bad-message", request.at, "a message is either `osc` or `request`").With(osc.at, "the other"))
	case osc == nil && request == nil && c.Wire == "":
		r.lose(diag.New("missing-key", headOf(at), "%s has neither `osc` nor `request`", f.of))
	case osc == nil && request == nil:
		r.lose(diag.New("missing-key", headOf(at), "%s has no `%s`", f.of, want).
			Mend("write `%s: …`, since `%s` is reached by %s", want, c.Device.Name, c.Wire))
	case c.Wire != "" && has == nil:
		written := osc
		if !web {
			written = request
		}
		r.lose(diag.New("bad-message", written.at, "`%s` is reached by %s, so this is said with `%s`", c.Device.Name, c.Wire, want))
	default:
		return true
	}
	return false
}

// phrase is a text with {…} parts.
func (r *reader) phrase(n *node, what string) *Words {
	text, ok := r.words(n, what)
	if !ok {
		return nil
	}
	return &Words{text, n.inside()}
}

// tail is the place of the last bytes of a place, or the whole when they do
// not stand there as they are.
func tail(at source.Span, text string) source.Span {
	if strings.HasSuffix(at.Text(), text) {
		at.Start = at.End - int32(len(text))
	}
	return at
}

// argument reads an argument: a formula, or `{ tag: formula }`.
func (r *reader) argument(t *Template, n *node) {
	a := Arg{}
	if n.shape == isMapping && len(n.keys) == 1 && n.items[0].shape == isText {
		if tag := n.keys[0].text; len(tag) != 1 || !strings.Contains("ifhdsSbcTFNI", tag) {
			r.unknownWord(n.keys[0].at, tag, "a type of an OSC argument", []string{"i", "f", "s", "T", "h", "d", "b"})
			return
		}
		a.Tag = n.keys[0].text[0]
		n = n.items[0]
	}
	if n.shape != isText {
		r.lose(diag.New("wrong-shape", headOf(n.at), "an argument is a value, or `{ f: value }` with its type"))
		return
	}
	a.Expr = Words{n.text, n.inside()}
	t.Args = append(t.Args, a)
}

// request reads `PUT /path`.
func (r *reader) request(n *node) (method, target string, ok bool) {
	text, ok := r.words(n, "the request")
	if !ok {
		return "", "", false
	}
	method, target, found := strings.Cut(text, " ")
	target = strings.TrimLeft(target, " ")
	known := []string{"GET", "PUT", "POST", "PATCH", "DELETE", "HEAD", "OPTIONS"}
	switch {
	case !slices.Contains(known, method):
		d := diag.New("bad-message", n.at, "a request begins with its method, as `PUT /clip`")
		if slices.Contains(known, strings.ToUpper(method)) {
			d = d.Mend("write `%s`", strings.ToUpper(method)+text[len(method):])
		}
		r.lose(d)
	case !found || target == "":
		r.lose(diag.New("bad-message", n.at, "after the method a request has a path, as `%s /clip`", method))
	default:
		return method, target, true
	}
	return "", "", false
}

// oscAddress checks the fixed parts of an OSC address (OSC 1.0: printable
// ASCII without space # * , / ? [ ] { } in a part's name).
func (r *reader) oscAddress(text string, at source.Span) bool {
	fixed := outside(text)
	i := strings.IndexFunc(fixed, func(c rune) bool { return c <= ' ' || c > '~' || strings.ContainsRune("#*,?[]{}", c) })
	var d diag.Diagnostic
	switch {
	case !strings.HasPrefix(text, "/"):
		d = diag.New("broken-address", at, "`%s` does not begin with `/`", text)
	case i >= 0:
		d = diag.New("broken-address", at, "`%s` has a `%c` in it, which no address of OSC can have", text, []rune(fixed[i:])[0])
	default:
		return true
	}
	r.lose(d)
	return false
}

// outside is a text without its {…} parts. A `}` in quotes does not end one.
func outside(text string) string {
	var b strings.Builder
	depth, quote := 0, byte(0)
	for i := range len(text) {
		c := text[i]
		switch {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case depth > 0 && (c == '"' || c == '\'' || c == '`'):
			quote = c
		case c == '{':
			depth++
		case c == '}' && depth > 0:
			depth--
		case depth == 0:
			b.WriteByte(c)
		}
	}
	return b.String()
}

// phrases reads a mapping of texts with {…} parts.
func (r *reader) phrases(n *node, what string) [][2]*Words {
	var all [][2]*Words
	r.each(n, what, func(key, body *node) {
		if value := r.phrase(body, "the value of `"+key.text+"`"); value != nil {
			all = append(all, [2]*Words{{key.text, key.inside()}, value})
		}
	})
	return all
}

// oneBody reports a request with two bodies.
func (r *reader) oneBody(f fields) {
	var first *node
	for _, key := range []string{"form", "text", "json"} {
		n := f.get(key)
		if n != nil && first != nil {
			r.lose(diag.New("bad-message", headOf(n.at), "a request has one body: `form`, `text` or `json`").With(headOf(first.at), "another"))
		}
		if first == nil {
			first = n
		}
	}
}

// json reads a body. Plain numbers, true, false and null are values; what
// stands in quotes, and every other word, is a text.
func (r *reader) json(n *node) *JSON {
	switch n.shape {
	case isMapping:
		j := &JSON{Kind: 'o'}
		for i, key := range n.keys {
			j.Keys = append(j.Keys, key.text)
			j.Values = append(j.Values, r.json(n.items[i]))
		}
		return j
	case isList:
		j := &JSON{Kind: 'a'}
		for _, item := range n.items {
			j.Values = append(j.Values, r.json(item))
		}
		return j
	}
	raw := n.text
	switch n.tag {
	case "!!null":
		raw = "null"
	case "!!bool":
		raw = strings.ToLower(raw)
	}
	if n.tag != "!!str" && json.Valid([]byte(raw)) {
		return &JSON{Kind: 'v', Raw: raw}
	}
	return &JSON{Kind: 's', Words: &Words{n.text, n.inside()}}
}

// message reads a named message.
func (r *reader) message(key, body *node) {
	e, named := r.name(key, noun.Message)
	f, ok := r.fields(body, "a message", append([]string{"device", "takes"}, templateKeys...)...)
	if !ok {
		return
	}
	m := &Message{Name: key.text, Index: len(r.rack.Messages), At: key.at}
	r.each(f.get("takes"), "what a message takes", func(k, n *node) { r.take(m, k, n) })
	n := f.need("device", "it is the device that the message goes to")
	if n == nil {
		return
	}
	name, ok := r.words(n, "the device")
	if !ok {
		return
	}
	if m.Device = r.deviceNamed(n.at, name, "a device"); m.Device == nil {
		return
	}
	c := m.Device.Control
	if c == nil && r.rack.Lost[name] {
		return
	}
	if c == nil {
		r.lose(diag.New("no-control", n.at, "the plan does not say how `%s` is reached", name).
			Mend("write `%s: { to: … }` under `control`", name))
		c = &Control{Device: m.Device}
	}
	if m.Template = r.sayings(c, f, key.at); m.Template == nil || !named {
		return
	}
	e.Message = m
	r.rack.Messages = append(r.rack.Messages, m)
}

// take reads a value that a message takes: `0..100` or `text`.
func (r *reader) take(m *Message, key, body *node) {
	word, ok := r.words(body, "what a message takes")
	if !ok || !r.goodName(key) {
		return
	}
	t := Take{Name: key.text, Kind: noun.Text, At: key.at}
	if word != "text" {
		low, high, ranged := strings.Cut(word, "..")
		var bad, worse error
		t.Kind = noun.Number
		t.Low, bad = strconv.ParseFloat(low, 64)
		t.High, worse = strconv.ParseFloat(high, 64)
		if !ranged || bad != nil || worse != nil || !(t.Low <= t.High) || t.High-t.Low > 1e15 {
			r.lose(diag.New("unknown-word", body.at, "`%s` is neither `text` nor a range of numbers, as `0..100`", word))
			return
		}
	}
	m.Takes = append(m.Takes, t)
}
