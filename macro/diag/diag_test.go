package diag

import (
	"regexp"
	"strings"
	"testing"

	"cuewright/macro/source"
)

// Every code reads well after `allow`, is there once, and has a title and a
// reason in the words of the people who read them.
func TestTables(t *testing.T) {
	kebab := regexp.MustCompile(`^[a-z]+(-[a-z0-9]+)*$`)
	forbidden := regexp.MustCompile(`(?i)\b(illegal|unexpected token|AST|node|parse|identifier|expression|nil|int32|struct)\b`)
	seen := map[Code]bool{}
	for _, e := range Codes() {
		if !kebab.MatchString(string(e.Code)) {
			t.Errorf("%q is not kebab words", e.Code)
		}
		if seen[e.Code] {
			t.Errorf("%q is there twice", e.Code)
		}
		seen[e.Code] = true
		if e.Title == "" || e.Why == "" {
			t.Errorf("%s has no title or no reason", e.Code)
		}
		if w := forbidden.FindString(e.Title + " " + e.Why); w != "" {
			t.Errorf("%s says %q", e.Code, w)
		}
		if strings.HasSuffix(e.Title, ".") {
			t.Errorf("%s: a title has no full stop: %q", e.Code, e.Title)
		}
		if !Known(e.Code) || Lookup(e.Code).Code != e.Code {
			t.Errorf("%s is not found by its name", e.Code)
		}
	}
}

func TestTidy(t *testing.T) {
	a, b := source.New("a", []byte("0123456789")), source.New("b", []byte("0123456789"))
	find := func(f *source.File, at int, what string) Diagnostic {
		return Diagnostic{Code: "some-code", At: f.At(at, at+1), What: what}
	}
	l := List{find(b, 1, "x"), find(a, 5, "x"), find(a, 2, "y"), find(a, 5, "x"), find(a, 2, "x")}.Tidy()
	var got []string
	for _, d := range l {
		got = append(got, d.At.File.Name+d.At.Text()+d.What)
	}
	if want := "a2x a2y a5x b1x"; strings.Join(got, " ") != want {
		t.Errorf("Tidy gives %q, want %q", got, want)
	}
}

func TestBlocking(t *testing.T) {
	if (List{{Severity: Warning}, {Severity: Advice}}).Blocking() {
		t.Error("a warning stops nothing")
	}
	if !(List{{Severity: Warning}, {Severity: Error}}).Blocking() {
		t.Error("an error stops the show from being compiled")
	}
}

// Adding a place or a mend leaves the finding it was added to alone.
func TestFindingsAreValues(t *testing.T) {
	f := source.New("f", []byte("abc"))
	base := Diagnostic{Code: "x"}.With(f.At(0, 1), "here").Mend("do this")
	one, two := base.Mend("one").With(f.At(1, 2), "one"), base.Replace(f.At(1, 2), "z", true, "two")
	if len(base.Mends) != 1 || len(base.Also) != 1 || one.Mends[1].Do != "one" || two.Mends[1].Do != "two" {
		t.Errorf("base %v one %v two %v", base, one, two)
	}
	if got := base.With(source.Span{}, "nowhere"); len(got.Also) != 1 {
		t.Error("a place that is nowhere is not added")
	}
}
