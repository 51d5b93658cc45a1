package render

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/program"
)

// field is one header field.
type field struct {
	name  string
	value *phrase
}

// body is what a request carries: at most one of form, text and json is set.
type body struct {
	form [][2]*phrase
	text *phrase
	json *document
}

// document is a JSON body. Strings are phrases; a string that is one formula
// becomes the value itself.
type document struct {
	kind   byte // as plan.JSON
	keys   []string
	values []*document
	words  *phrase
	raw    string
}

// newHTTP reads an HTTP template.
func newHTTP(t *plan.Template, known names, c *plan.Control) (*template, diag.List) {
	out := &template{at: t.At, method: t.Method, base: c.Base}
	var found diag.List
	read := func(w *plan.Words) *phrase {
		p, mistakes := newPhrase(w, known)
		found.Add(mistakes...)
		return p
	}
	if t.Target != nil {
		out.target = read(t.Target)
		found.Add(checkTarget(t.Target, out.target)...)
	}
	for _, h := range t.Header {
		out.header = append(out.header, field{h[0].Text, read(h[1])})
		found.Add(checkHeader(h[0], h[1])...)
	}
	for _, f := range t.Form {
		out.body.form = append(out.body.form, [2]*phrase{read(f[0]), read(f[1])})
	}
	if t.Text != nil {
		out.body.text = read(t.Text)
	}
	if t.JSON != nil {
		out.body.json = newDocument(t.JSON, read)
	}
	return out, found
}

func newDocument(j *plan.JSON, read func(*plan.Words) *phrase) *document {
	d := &document{kind: j.Kind, keys: j.Keys, raw: j.Raw}
	if j.Words != nil {
		d.words = read(j.Words)
	}
	for _, v := range j.Values {
		d.values = append(d.values, newDocument(v, read))
	}
	return d
}

// checkTarget holds the fixed part of a target against RFC 9112, 3.2.1 (the
// origin form: an absolute path and a query) with the characters of RFC 3986.
func checkTarget(w *plan.Words, p *phrase) diag.List {
	if fixed := p.literals("x"); !strings.HasPrefix(fixed, "/") || strings.HasPrefix(fixed, "//") {
		return diag.List{diag.New(badAddress, w.At, "`%s` does not begin with one `/`", w.Text)}
	}
	for i, part := range p.parts {
		if i%2 == 1 {
			continue
		}
		for j, r := range part.literal {
			if r > ' ' && r < 0x7f && !strings.ContainsRune("\"#<>\\^`{|}", r) {
				continue
			}
			return diag.List{diag.New(badAddress, w.At, "`%s` has a `%c` in it, which no address of a request can have", w.Text, r).
				Mend("write `%s`", url.PathEscape(part.literal[j:j+len(string(r))]))}
		}
	}
	if dotted(p.literals("x")) {
		return diag.List{diag.New(badAddress, w.At, "`%s` has a part that is only dots", w.Text)}
	}
	return nil
}

// dotted says whether a path has a segment "." or "..", which servers take as
// "here" and "one up" (RFC 3986, 5.2.4), also when the dots are escaped.
func dotted(target string) bool {
	path, _, _ := strings.Cut(target, "?")
	for _, segment := range strings.Split(path, "/") {
		plain := strings.NewReplacer("%2e", ".", "%2E", ".").Replace(segment)
		if plain == "." || plain == ".." {
			return true
		}
	}
	return false
}

// ours are the header fields that the sender writes itself.
var ours = []string{"authorization", "connection", "content-length", "host", "transfer-encoding", "trailer", "te", "upgrade", "expect"}

// checkHeader holds a field's name against RFC 9110, 5.6.2 (a token).
func checkHeader(name, value *plan.Words) diag.List {
	token := func(r rune) bool {
		return r > ' ' && r < 0x7f && !strings.ContainsRune("\"(),/:;<=>?@[\\]{}", r)
	}
	if name.Text == "" || strings.TrimLeftFunc(name.Text, token) != "" {
		return diag.List{diag.New(badHeader, name.At, "`%s` cannot be the name of a header", name.Text)}
	}
	for _, o := range ours {
		if strings.EqualFold(o, name.Text) {
			return diag.List{diag.New(badHeader, name.At, "the header `%s` is written by the sender itself", name.Text).
				Mend("leave it out")}
		}
	}
	if strings.ContainsFunc(value.Text, control) {
		return diag.List{diag.New(badHeader, value.At, "the header `%s` has a line end or another control character in it", name.Text)}
	}
	return nil
}

func control(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f }

// fillHTTP makes an HTTP request.
func (t *template) fillHTTP(given map[string]value) (program.Message, *refusal) {
	target, no := t.fillTarget(given)
	if no != nil {
		return program.Message{}, no
	}
	q := &program.Request{Method: t.method, Target: target}
	for _, h := range t.header {
		value, no := h.value.fill(given, func(_, s string) (string, error) {
			if strings.ContainsFunc(s, control) {
				return "", errors.New("a value with a line end in it cannot be put into a header")
			}
			return s, clean(s)
		})
		if no != nil {
			return program.Message{}, no
		}
		q.Header = append(q.Header, [2]string{h.name, strings.TrimSpace(value)})
	}
	kind, content, no := t.body.fill(given)
	if no != nil {
		return program.Message{}, no
	}
	q.Body = content
	if kind != "" && !has(q.Header, "Content-Type") {
		q.Header = append(q.Header, [2]string{"Content-Type", kind})
	}
	if n := len(target) + len(content); n > largest {
		return program.Message{}, &refusal{tooLarge, t.at, fmt.Sprintf("a request of %d bytes is too large, %d is the most", n, largest)}
	}
	return program.Message{HTTP: q, Text: readable(q)}, nil
}

func has(header [][2]string, name string) bool {
	for _, h := range header {
		if strings.EqualFold(h[0], name) {
			return true
		}
	}
	return false
}

// readable is a request in one line.
func readable(q *program.Request) string {
	text := q.Method + " " + q.Target
	if len(q.Body) > 0 {
		text += " " + string(bytes.ReplaceAll(q.Body, []byte("\n"), []byte(" ")))
	}
	return text
}

// fillTarget puts values into the path and the query, escaped for where they
// stand, so that a clip called "x/../y?z" stays one segment of the path.
func (t *template) fillTarget(given map[string]value) (string, *refusal) {
	target, no := t.target.fill(given, func(sofar, s string) (string, error) {
		if err := clean(s); err != nil {
			return "", err
		}
		if strings.Contains(sofar, "?") {
			return url.QueryEscape(s), nil
		}
		if s == "" {
			return "", errors.New("an empty text cannot be a part of a path")
		}
		return url.PathEscape(s), nil
	})
	if no == nil && dotted(target) {
		no = &refusal{refused, t.target.at, fmt.Sprintf("`%s` would have a part that is only dots, which a device takes as another path", target)}
	}
	return t.base + target, no
}

// fill makes the content and its media type.
func (b *body) fill(given map[string]value) (kind string, content []byte, no *refusal) {
	switch {
	case b.json != nil:
		content, no = b.json.fill(nil, given)
		return "application/json", content, no
	case b.form != nil:
		var out strings.Builder
		escape := func(_, s string) (string, error) { return url.QueryEscape(s), clean(s) }
		for i, f := range b.form {
			if i > 0 {
				out.WriteByte('&')
			}
			for side, p := range f {
				text, no := p.escaped(given, escape)
				if no != nil {
					return "", nil, no
				}
				out.WriteString(text)
				if side == 0 {
					out.WriteByte('=')
				}
			}
		}
		return "application/x-www-form-urlencoded", []byte(out.String()), nil
	case b.text != nil:
		text, no := b.text.fill(given, func(_, s string) (string, error) { return s, clean(s) })
		return "text/plain; charset=utf-8", []byte(text), no
	}
	return "", nil, nil
}

// escaped is fill with the literal pieces escaped too.
func (p *phrase) escaped(given map[string]value, put func(sofar, text string) (string, error)) (string, *refusal) {
	q := &phrase{at: p.at}
	for i, part := range p.parts {
		if i%2 == 0 {
			part.literal, _ = put("", part.literal)
		}
		q.parts = append(q.parts, part)
	}
	return q.fill(given, put)
}

// fill appends the JSON of a document (RFC 8259), with the keys in the plan's
// order.
func (d *document) fill(dst []byte, given map[string]value) (out []byte, no *refusal) {
	switch d.kind {
	case 'o', 'a':
		open, shut := byte('{'), byte('}')
		if d.kind == 'a' {
			open, shut = '[', ']'
		}
		dst = append(dst, open)
		for i, v := range d.values {
			if i > 0 {
				dst = append(dst, ',')
			}
			if d.kind == 'o' {
				dst = append(appendJSON(dst, d.keys[i]), ':')
			}
			if dst, no = v.fill(dst, given); no != nil {
				return nil, no
			}
		}
		return append(dst, shut), nil
	case 's':
		return d.string(dst, given)
	}
	return append(dst, d.raw...), nil
}

func (d *document) string(dst []byte, given map[string]value) ([]byte, *refusal) {
	if f := d.words.sole(); f != nil {
		v, err := f.eval(given)
		if s, ok := v.(string); ok && err == nil {
			err = clean(s)
		}
		if err != nil {
			return nil, &refusal{refused, f.at, "`" + strings.TrimSpace(f.at.Text()) + "` " + err.Error()}
		}
		if n, ok := v.(float64); ok {
			return append(dst, show(n)...), nil
		}
		return appendJSON(dst, v), nil
	}
	text, no := d.words.fill(given, func(_, s string) (string, error) { return s, clean(s) })
	if no != nil {
		return nil, no
	}
	return appendJSON(dst, text), nil
}

// appendJSON appends a string, a whole number or a truth.
func appendJSON(dst []byte, v any) []byte {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil { // strings and numbers always encode
		return dst
	}
	return append(dst, bytes.TrimSuffix(b.Bytes(), []byte("\n"))...)
}
