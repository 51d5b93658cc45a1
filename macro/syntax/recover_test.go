package syntax_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/diag"
	"cuewright/macro/syntax"
	"github.com/rogpeppe/go-internal/txtar"
	"pgregory.net/rapid"
)

// faults are lines of a macro with exactly one mistake each.
var faults = map[string]diag.Code{
	"cut main wide":                        "word-missing",
	"route screens to main":                "word-wrong",
	"ct main to wide":                      "verb-unknown",
	"cut main to":                          "operand-missing",
	"record iso safety":                    "comma-missing",
	"wait 2":                               "unit-missing",
	"wait 12x":                             "number-wrong",
	"note \"no end":                        "text-not-closed",
	"take main now":                        "too-much",
	"take main take effects":               "separator-missing",
	"if (logo.on { take main }":            "bracket-not-closed",
	"if logo.on { take main } else":        "block-missing",
	"if logo.on = on { take main }":        "equals-single",
	"expect logo.on":                       "else-missing",
	"key logo":                             "choice-missing",
	"send lights(level 40)":                "colon-missing",
	"cut main to $wide":                    "sign-unknown",
	"{ take main }":                        "block-alone",
	"note \"a\\qb\"":                       "escape-unknown",
	"together { if { take main } }":        "condition-missing",
	"wait until logo.on else note \"x\"":   "within-missing",
	"if logo.on { wait 1:30; take main }":  "timecode-wrong",
	"run replay(\"opener\"); take main":    "argument-name-missing",
	"else { take main }; take main":        "place-wrong",
	"fade main to black over 1s over 2s":   "too-much",
	"mix main to wide over 1 s; take main": "unit-missing",
}

// TestFaultsDoNotHideOneAnother puts faults among right lines: each line gives
// its own finding, and nothing else does.
func TestFaultsDoNotHideOneAnother(t *testing.T) {
	var lines []string
	for line := range faults {
		lines = append(lines, line)
	}
	slices.Sort(lines)
	right := []string{"take main", "if logo.on { key logo off } else { key logo on }", "together {\n take main\n}", "# a remark", ""}
	rapid.Check(t, func(t *rapid.T) {
		chosen := rapid.SliceOfN(rapid.SampledFrom(lines), 1, 8).Draw(t, "faults")
		text, want := "show \"x\" uses \"y\"\nmacro a {\n", []string{}
		for _, line := range chosen {
			text += rapid.SampledFrom(right).Draw(t, "right") + "\n"
			want = append(want, fmt.Sprintf("%d %s", strings.Count(text, "\n")+1, faults[line]))
			text += "  " + line + "\ntake effects\n"
		}
		text += "}\nmacro b { take main }\n"
		f, found := parse(text)
		var got []string
		for _, d := range found {
			got = append(got, fmt.Sprintf("%d %s", d.At.Begin().Line, d.Code))
		}
		if !slices.Equal(got, want) {
			t.Fatalf("found %v, want %v\n%s", got, want, text)
		}
		if len(f.Items) != 2 {
			t.Fatalf("%d items are left of 2\n%s", len(f.Items), text)
		}
	})
}

// TestSureMends applies every mend that is sure to the cases of testdata/find:
// the finding is gone, and no other has come.
func TestSureMends(t *testing.T) {
	cases, _ := filepath.Glob(root + "find/*.txtar")
	mended := 0
	for _, path := range cases {
		archive, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range archive.Files {
			if file.Name != "small.show" {
				continue
			}
			text := string(file.Data)
			_, found := parse(text)
			for _, d := range found {
				for _, m := range d.Mends {
					if !m.Sure {
						continue
					}
					mended++
					after := apply(text, m.Edits)
					if _, now := parse(after); len(now) >= len(found) {
						t.Errorf("%s: %s does not mend %s, line %d: %v", filepath.Base(path), m.Do, d.Code, d.At.Begin().Line, now)
					}
				}
			}
		}
	}
	if mended < 20 {
		t.Errorf("only %d sure mends were tried", mended)
	}
}

func apply(text string, edits []diag.Edit) string {
	for _, e := range edits {
		text = text[:e.At.Start] + e.New + text[e.At.End:]
	}
	return text
}

// TestBounds holds the promises about inputs that nobody writes by hand.
func TestBounds(t *testing.T) {
	const n = 100_000
	pieces := []string{"{", "}", "(", "macro a {", "macro a\n", "if a { ", "if a {} else ", "together {{", "button 1.1 {", "never \"x\" {(", "\"", "x\n", "cut\n", "'", "“a", "else ", "//\n"}
	for _, piece := range pieces {
		text := strings.Repeat(piece, n)
		f, found := parse(text)
		if len(found) == 0 || len(found) > 201 {
			t.Errorf("%q gives %d findings", piece, len(found))
		}
		if deep := depth(f); deep > 200 {
			t.Errorf("%q gives a tree %d deep", piece, deep)
		}
		checkTokens(t, text)
	}
}

// depth is how deep the nodes of a tree stand in one another, by their places.
func depth(f *syntax.File) int {
	var ends []int32
	deepest := 0
	syntax.Walk(f, func(n any) bool {
		if b, ok := n.(*syntax.Block); ok {
			for len(ends) > 0 && ends[len(ends)-1] <= b.At.Start {
				ends = ends[:len(ends)-1]
			}
			ends = append(ends, b.At.End)
			deepest = max(deepest, len(ends))
		}
		return true
	})
	return deepest
}

func TestUnquote(t *testing.T) {
	for quoted, want := range map[string]string{
		`""`: "", `"a"`: "a", `"a\"b"`: `a"b`, `"\\"`: `\`, `"\n\t"`: "\n\t", `"ü\x"`: "üx", `"open`: "open", `"\"`: `"`, ``: "",
	} {
		if got := syntax.Unquote(quoted); got != want {
			t.Errorf("Unquote(%s) = %q, want %q", quoted, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		if got := syntax.Unquote(syntax.Quote(text)); got != text {
			t.Fatalf("%q comes back as %q", text, got)
		}
	})
}

// TestVerbExamples: the one example that help, messages and lessons show is
// right itself.
func TestVerbExamples(t *testing.T) {
	for _, v := range syntax.Verbs {
		f, found := parse("show \"x\" uses \"y\"\nmacro a { " + v.Example + " }\n")
		if len(found) > 0 {
			t.Errorf("%s: %s", v.Example, found[0].What)
			continue
		}
		a, ok := f.Items[0].(*syntax.Macro).Body.Statements[0].(*syntax.Action)
		if !ok || a.Verb != v {
			t.Errorf("the example of %s is not of %s", v.Word, v.Word)
		}
	}
}

// TestMendExamples: every "write it as in `…`" of the cases is right itself.
func TestMendExamples(t *testing.T) {
	cases, _ := filepath.Glob(root + "find/*.txtar")
	seen := map[string]bool{}
	for _, path := range cases {
		archive, _ := txtar.ParseFile(path)
		for _, file := range archive.Files {
			if file.Name != "small.show" {
				continue
			}
			_, found := parse(string(file.Data))
			for _, d := range found {
				for _, m := range d.Mends {
					if _, example, ok := strings.Cut(m.Do, "as in `"); ok {
						seen[strings.TrimSuffix(example, "`")] = true
					}
				}
			}
		}
	}
	for example := range seen {
		right := slices.ContainsFunc([]string{"%s", "show \"x\" uses \"y\"\n%s", "show \"x\" uses \"y\"\nmacro a { %s }",
			"show \"x\" uses \"y\"\npage a on b { button 1.1 \"x\" %s }", "show \"x\" uses \"y\"\npage a on b { %s }",
			"show \"x\" uses \"y\"\nrundown { %s }", "show \"x\" uses \"y\"\nrehearsal \"a\" { %s }", "show \"x\" uses \"y\"\nmacro a { wait %s }"},
			func(around string) bool {
				_, found := parse(fmt.Sprintf(around+"\n", example))
				return len(found) == 0
			})
		if !right {
			t.Errorf("the example `%s` is wrong wherever it is put", example)
		}
	}
	if len(seen) < 20 {
		t.Errorf("only %d examples were tried", len(seen))
	}
}

// FuzzParse: no panic, no lost byte, bounded findings with places in the file,
// and a refusal whenever a token is Bad.
func FuzzParse(f *testing.F) {
	for _, text := range sampleShows(f) {
		f.Add(text)
	}
	for _, pattern := range []string{"parse", "find", "format"} {
		cases, _ := filepath.Glob(root + pattern + "/*.txtar")
		for _, path := range cases {
			archive, _ := txtar.ParseFile(path)
			for _, file := range archive.Files {
				if strings.HasSuffix(file.Name, "show") {
					f.Add(string(file.Data))
				}
			}
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		file, found := parse(text)
		end := int32(0)
		for _, token := range file.Tokens {
			if token.Start != end || token.End <= token.Start {
				t.Fatalf("token %v follows one that ends at %d", token, end)
			}
			if end = token.End; token.Kind == syntax.Bad && len(found) == 0 {
				t.Fatalf("nothing is said of %q", file.Text(token))
			}
		}
		if int(end) != len(text) || len(found) > 201 {
			t.Fatalf("tokens end at %d of %d; %d findings", end, len(text), len(found))
		}
		for _, d := range found {
			if d.At.File != file.Source || d.At.Start > d.At.End || int(d.At.End) > len(text) || d.At.Start < 0 {
				t.Fatalf("%s is at %v", d.Code, d.At)
			}
		}
		syntax.Walk(file, func(any) bool { return true })
	})
}
