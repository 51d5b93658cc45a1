package observe

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// Source: RFC 6901 section 5, from memory.
const rfc6901 = `{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}`

func TestPointerExamplesOfRFC6901(t *testing.T) {
	for text, want := range map[string]string{
		"":       fmt.Sprint(readJSON([]byte(rfc6901))),
		"/foo":   "[bar baz]",
		"/foo/0": "bar",
		"/":      "0",
		"/a~1b":  "1",
		"/c%d":   "2",
		"/e^f":   "3",
		"/g|h":   "4",
		`/i\j`:   "5",
		`/k"l`:   "6",
		"/ ":     "7",
		"/m~0n":  "8",
	} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.Find([]byte(rfc6901)); !ok || fmt.Sprint(readJSON(v)) != want {
			t.Errorf("%s is %s, %v; want %s", text, v, ok, want)
		}
		if p.String() != text {
			t.Errorf("%s comes back as %s", text, p)
		}
	}
}

// RFC 6901 sections 3 and 4: ~01 is ~1; an index has no leading zero; - is
// the element after the last, which is not there.
func TestPointerRules(t *testing.T) {
	document := []byte(`{"~1": "tilde one", "list": [10, 11, [12]], "n": null, "deep": {"0": "name"}}`)
	for text, want := range map[string]string{
		"/~01": "tilde one", "/list/1": "11", "/list/2/0": "12", "/deep/0": "name", "/n": "<nil>",
	} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.Find(document); !ok || fmt.Sprint(readJSON(v)) != want {
			t.Errorf("%s is %s, %v", text, v, ok)
		}
	}
	for _, text := range []string{"/list/01", "/list/-", "/list/3", "/list/+1", "/list/-1", "/list/", "/list/1/0", "/absent", "/n/x",
		"/list/99999999999999999999"} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.Find(document); ok {
			t.Errorf("%s is %s", text, v)
		}
	}
	for _, text := range []string{"foo", "/a~", "/a~2", "~0", "#/foo"} {
		if p, err := ParsePointer(text); err == nil {
			t.Errorf("%s is taken as %v", text, p)
		}
	}
}

// findIn is Find in a document as encoding/json reads it: the second opinion.
func (p Pointer) findIn(at any) (any, bool) {
	for _, step := range p {
		switch v := at.(type) {
		case map[string]any:
			member, ok := v[step]
			if !ok {
				return nil, false
			}
			at = member
		case []any:
			i, ok := index(step)
			if !ok || i >= len(v) {
				return nil, false
			}
			at = v[i]
		default:
			return nil, false
		}
	}
	return at, true
}

// FuzzPointer holds Find against encoding/json.
func FuzzPointer(f *testing.F) {
	f.Add("/a~1b/0", rfc6901)
	f.Add("/foo/1", rfc6901)
	f.Add("/~01/-", `[[1]]`)
	f.Add("/a/b", "{\"a\":1 , \"\\u0061\" :{\"b\" : \"]}\\\"\" ,\"c\":[{},[]]}}\r\n")
	f.Add("/\ufffd", "{\"\xff\": 1}")
	f.Fuzz(func(t *testing.T, text, document string) {
		p, err := ParsePointer(text)
		if err != nil {
			return
		}
		if p.String() != text {
			t.Fatalf("%q comes back as %q", text, p)
		}
		if !json.Valid([]byte(document)) {
			return
		}
		want, there := p.findIn(readJSON([]byte(document)))
		got, ok := p.Find([]byte(document))
		if ok != there || ok && !reflect.DeepEqual(readJSON(got), want) {
			t.Errorf("%s in %s is %s, %v; encoding/json: %v, %v", text, document, got, ok, want, there)
		}
	})
}

// BenchmarkFind is what a garbage answer of a mebibyte costs to look through.
func BenchmarkFind(b *testing.B) {
	body := []byte("[" + strings.Repeat("0,", 500_000) + "0]")
	p, err := ParsePointer("/transport")
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(body)))
	b.ReportAllocs()
	for b.Loop() {
		if json.Valid(body) {
			p.Find(body)
		}
	}
}
