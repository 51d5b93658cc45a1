package observe

import (
	"encoding/json"
	"fmt"
	"testing"
)

// Source: RFC 6901 section 5, from memory.
const rfc6901 = `{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}`

func TestPointerExamplesOfRFC6901(t *testing.T) {
	document, ok := readJSON([]byte(rfc6901))
	if !ok {
		t.Fatal("the document cannot be read")
	}
	for text, want := range map[string]string{
		"":       fmt.Sprint(document),
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
		if v, ok := p.Find(document); !ok || fmt.Sprint(v) != want {
			t.Errorf("%s is %v, %v; want %s", text, v, ok, want)
		}
		if p.String() != text {
			t.Errorf("%s comes back as %s", text, p)
		}
	}
}

// RFC 6901 sections 3 and 4: ~01 is ~1; an index has no leading zero; - is
// the element after the last, which is not there.
func TestPointerRules(t *testing.T) {
	document, _ := readJSON([]byte(`{"~1": "tilde one", "list": [10, 11, [12]], "n": null, "deep": {"0": "name"}}`))
	for text, want := range map[string]string{
		"/~01": "tilde one", "/list/1": "11", "/list/2/0": "12", "/deep/0": "name", "/n": "<nil>",
	} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.Find(document); !ok || fmt.Sprint(v) != want {
			t.Errorf("%s is %v, %v", text, v, ok)
		}
	}
	for _, text := range []string{"/list/01", "/list/-", "/list/3", "/list/+1", "/list/-1", "/list/", "/list/1/0", "/absent", "/n/x",
		"/list/99999999999999999999"} {
		p, err := ParsePointer(text)
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.Find(document); ok {
			t.Errorf("%s is %v", text, v)
		}
	}
	for _, text := range []string{"foo", "/a~", "/a~2", "~0", "#/foo"} {
		if p, err := ParsePointer(text); err == nil {
			t.Errorf("%s is taken as %v", text, p)
		}
	}
}

func FuzzPointer(f *testing.F) {
	f.Add("/a~1b/0", rfc6901)
	f.Add("/~01/-", `[[1]]`)
	f.Fuzz(func(t *testing.T, text, document string) {
		p, err := ParsePointer(text)
		if err != nil {
			return
		}
		if p.String() != text {
			t.Fatalf("%q comes back as %q", text, p)
		}
		var v any
		if json.Unmarshal([]byte(document), &v) == nil {
			p.Find(v)
		}
	})
}
