package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// find makes a finding at the first place of mark in text.
func find(name, text, mark, what string) diag.Diagnostic {
	f := source.New(name, []byte(text))
	at := strings.Index(text, mark)
	return diag.Diagnostic{Code: "wrong-name", At: f.At(at, at+len(mark)), What: what,
		Why: "nothing happens when the button is pressed"}
}

func text(t *testing.T, list diag.List, colour bool) string {
	t.Helper()
	var b strings.Builder
	if err := Text(&b, list, colour); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestText(t *testing.T) {
	d := find("a.show", "macro m {\n  cut main to wdie\n}\n", "wdie", "there is no source `wdie` in the plan").
		Mend("write `wide`").Mend("write `side`")
	plan := source.New("rack.yaml", []byte("devices:\n  wide:\n"))
	d = d.With(plan.At(11, 15), "the nearest source stands here")
	want := "a.show:2:15: error: there is no source `wdie` in the plan  [wrong-name]\n" +
		"  nothing happens when the button is pressed\n" +
		"  mend: write `wide`, or write `side`\n" +
		"   2 |   cut main to wdie\n" +
		"     |               ^^^^\n" +
		"  rack.yaml:2:3: the nearest source stands here\n" +
		"   2 |   wide:\n" +
		"     |   ^^^^\n" +
		"\n" +
		"1 error\n" +
		"  error    wrong-name  a.show:2\n" +
		"`cuewright explain wrong-name` says more\n"
	if got := text(t, diag.List{d}, false); got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
}

// Widths: Unicode 15 East Asian Width for 場 (W) and ８ (F); 😀 U+1F600 is W;
// the combining acute accent takes no cell.
func TestCaretsStandUnderTheSpan(t *testing.T) {
	tests := []struct{ name, line, mark, carets string }{
		{"first column", "wdie", "wdie", "^^^^"},
		{"tab", "\tcut wdie", "wdie", "            ^^^^"},
		{"tab inside", "ab\tc wdie", "wdie", "          ^^^^"},
		{"wide letters", "場場 wdie", "wdie", "     ^^^^"},
		{"full width digit", "８ wdie", "wdie", "   ^^^^"},
		{"emoji", "😀😀 wdie", "wdie", "     ^^^^"},
		{"combining", "e\u0301 wdie", "wdie", "  ^^^^"},
		{"under wide letters", "a 場場 b", "場場", "  ^^^^"},
		{"empty span is one caret", "cut ", "", "^"},
		{"bytes that are no text", "\xff\xfe wdie", "wdie", "   ^^^^"},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			lines := strings.Split(text(t, diag.List{find("a", c.line+"\n", c.mark, "x")}, false), "\n")
			if got := lines[3]; got != "     | "+c.carets {
				t.Errorf("\n%s\n%s\nwant carets %q", lines[2], got, c.carets)
			}
		})
	}
}

func TestSpanOfSeveralLines(t *testing.T) {
	got := text(t, diag.List{find("a", "if x {\n  y\n}\nz\n", "{\n  y\n}", "x")}, false)
	if !strings.Contains(got, "   1 | if x {\n     |      ^ and 2 more lines\n") {
		t.Error(got)
	}
}

func TestLongLineIsCutAroundTheSpan(t *testing.T) {
	line := strings.Repeat("a", 500) + "wdie" + strings.Repeat("b", 500)
	lines := strings.Split(text(t, diag.List{find("a", line, "wdie", "x")}, false), "\n")
	shown, carets := lines[2], lines[3]
	if n := utf8.RuneCountInString(shown); n > frameCells+12 {
		t.Errorf("%d cells", n)
	}
	at := strings.Index(carets, "^^^^")
	if got := string([]rune(shown)[at : at+4]); got != "wdie" {
		t.Errorf("the carets stand under %q\n%s\n%s", got, shown, carets)
	}
}

func TestTerminalIsNotSteered(t *testing.T) {
	evil := "\x1b[2J\u009b31m\u202eabc\a"
	d := find("a\x1b[1m.show", evil+" wdie", "wdie", "no `"+evil+"`").Mend("write `%s`", evil)
	for _, r := range text(t, diag.List{d}, false) {
		if r != '\n' && steers(r) {
			t.Fatalf("%U reaches the terminal", r)
		}
	}
}

func TestColour(t *testing.T) {
	list := diag.List{find("a", "wdie", "wdie", "x")}
	if got := text(t, list, true); !strings.Contains(got, "\x1b[1;31merror\x1b[0m") {
		t.Errorf("%q", got)
	}
	bare := strings.NewReplacer("\x1b[1;31m", "", "\x1b[0m", "").Replace(text(t, list, true))
	if bare != text(t, list, false) {
		t.Error("colour changed the words")
	}
}

func TestSummary(t *testing.T) {
	var list diag.List
	for i := range 30 {
		for range i%5 + 1 {
			d := find("a.show", "wdie", "wdie", "x")
			d.Code, d.Severity = diag.Code(fmt.Sprintf("code-%02d", i)), diag.Severity(i%3)
			list.Add(d)
		}
	}
	got := strings.Split(strings.TrimSuffix(Summary(list), "\n"), "\n")
	if len(got) != SummaryLines {
		t.Errorf("%d lines", len(got))
	}
	if want := "30 errors, 30 warnings and 30 pieces of advice"; got[0] != want {
		t.Errorf("%q, want %q", got[0], want)
	}
	if want := "  error    code-03  a.show:1, a.show:1, a.show:1 and 1 more"; got[2] != want {
		t.Errorf("%q, want %q", got[2], want)
	}
	if want := "  and 13 more kinds"; got[18] != want {
		t.Errorf("%q, want %q", got[18], want)
	}
	if got := Summary(nil); got != "no findings\n" {
		t.Errorf("%q", got)
	}
}

func TestJSON(t *testing.T) {
	d := find("a.show", "# 😀\n\t😀 wdie\n", "wdie", "no `wdie`")
	d = d.Replace(d.At, "wide", true, "write `wide`").With(d.At, "here")
	var b bytes.Buffer
	if err := JSON(&b, diag.List{d}); err != nil {
		t.Fatal(err)
	}
	span := `"file":"a.show","from":{"line":2,"column":4,"utf16":4,"offset":13},"to":{"line":2,"column":8,"utf16":8,"offset":17}`
	want := `{"version":1,"findings":[{"code":"wrong-name","severity":"error","what":"no ` + "`wdie`" +
		`","why":"nothing happens when the button is pressed",` + span +
		`,"also":[{` + span + `,"note":"here"}],"mends":[{"do":"write ` + "`wide`" + `","sure":true,"edits":[{` + span +
		`,"new":"wide"}]}]}],"summary":{"errors":1,"warnings":0,"advice":0}}`
	var flat bytes.Buffer
	if err := json.Compact(&flat, b.Bytes()); err != nil {
		t.Fatal(err)
	}
	if flat.String() != want {
		t.Errorf("got:\n%s\nwant:\n%s", flat.String(), want)
	}
}

func TestEmptyListIsAnEmptyArray(t *testing.T) {
	var b bytes.Buffer
	if err := JSON(&b, nil); err != nil || !strings.Contains(b.String(), `"findings": []`) {
		t.Error(err, b.String())
	}
}

// Whatever the file and the span: the text ends, has its carets on the line
// after the source line, and never leaves the frame.
func TestAnySpanOfAnyText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.SampledFrom([]byte("ab \t\n\r{\"\xf0\x9f\x98\x80\xe5")), 0, 300).Draw(t, "data")
		start := rapid.IntRange(0, len(data)).Draw(t, "start")
		end := rapid.IntRange(start, len(data)).Draw(t, "end")
		f := source.New("a", data)
		var b strings.Builder
		frame(&b, f.At(start, end), func(s string) string { return s })
		if strings.TrimSpace(f.Line(f.Position(start).Line)) == "" {
			if b.Len() > 0 {
				t.Fatalf("a frame without text: %q", b.String())
			}
			return
		}
		lines := strings.Split(b.String(), "\n")
		if len(lines) != 3 || !strings.Contains(lines[1], "^") {
			t.Fatalf("%q", b.String())
		}
		if w := source.Width(lines[0]); w > frameCells+10 {
			t.Fatalf("%d cells", w)
		}
		if from := strings.Index(lines[1], "^"); len(f.Line(f.Position(start).Line)) < 50 && from-7 != f.Position(start).Cell {
			t.Fatalf("caret at cell %d, span at %d", from-7, f.Position(start).Cell)
		}
	})
}

// What is said of the same place needs no second frame, and what only lists
// what there is, is no alternative.
func TestNotesOfTheSamePlace(t *testing.T) {
	f := source.New("a.show", []byte("expect wide.on_air\n"))
	d := diag.Diagnostic{Code: "expectation-missed", At: f.At(7, 18), What: "it is not so"}.
		With(f.At(7, 18), "wide is dark").Mend("write `goal`").Mend("the kinds are `a` or `b`").Mend("leave it out")
	var b strings.Builder
	if err := Alone(&b, d, false); err != nil {
		t.Fatal(err)
	}
	const want = "a.show:1:8: error: it is not so  [expectation-missed]\n" +
		"  mend: write `goal`; the kinds are `a` or `b`, or leave it out\n" +
		"   1 | expect wide.on_air\n     |        ^^^^^^^^^^^\n  wide is dark\n"
	if got := b.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}
