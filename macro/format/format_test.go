package format_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cuewright/macro/format"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"github.com/rogpeppe/go-internal/txtar"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden layouts anew; that run fails")

const root = "../../testdata/"

func show(text string) (string, error) {
	f, _ := syntax.Parse(source.New("test.show", []byte(text)))
	out, err := format.Show(f)
	return string(out), err
}

// samples are the shows under testdata that have no mistakes of form.
func samples(t testing.TB) []string {
	t.Helper()
	var list []string
	add := func(text string) {
		if _, found := syntax.Parse(source.New("test.show", []byte(text))); len(found) == 0 {
			list = append(list, text)
		}
	}
	paths, _ := filepath.Glob(root + "shows/*/*.show")
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		add(string(text))
	}
	for _, pattern := range []string{root + "format/*.txtar", root + "parse/*.txtar", root + "find/*.txtar", "../lesson/*.txtar"} {
		cases, _ := filepath.Glob(pattern)
		for _, path := range cases {
			archive, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, file := range archive.Files {
				if strings.HasSuffix(file.Name, "show") {
					add(string(file.Data))
				}
			}
		}
	}
	if len(list) < 10 {
		t.Fatalf("only %d samples", len(list))
	}
	return list
}

// TestLayouts holds the layout of each case of testdata/format: what stands in
// show becomes what stands in layout, and stays that.
func TestLayouts(t *testing.T) {
	cases, _ := filepath.Glob(root + "format/*.txtar")
	if len(cases) == 0 {
		t.Fatal("no cases")
	}
	for _, path := range cases {
		t.Run(filepath.Base(path), func(t *testing.T) {
			archive, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			files := map[string]string{}
			for _, f := range archive.Files {
				files[f.Name] = string(f.Data)
			}
			got, err := show(files["show"])
			if err != nil {
				t.Fatal(err)
			}
			if got != files["layout"] {
				t.Errorf("the layout is\n%s", got)
				if *update {
					archive.Files[len(archive.Files)-1].Data = []byte(got)
					if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
						t.Fatal(err)
					}
				}
			}
			if again, err := show(got); again != got || err != nil {
				t.Errorf("it does not stay: %v\n%s", err, again)
			}
		})
	}
}

// TestLayoutStays: the layout of a layout is itself.
func TestLayoutStays(t *testing.T) {
	for _, text := range samples(t) {
		once, err := show(text)
		if err != nil {
			t.Errorf("%v\n%s", err, text)
			continue
		}
		if twice, err := show(once); twice != once || err != nil {
			t.Errorf("%v\nonce:\n%s\ntwice:\n%s", err, once, twice)
		}
	}
}

// TestBlanksDoNotMatter changes blanks between words, blank lines, semicolons
// and comments at line ends: a layout comes out, it stays, and where only
// blanks within lines were changed it is the same one.
func TestBlanksDoNotMatter(t *testing.T) {
	all := samples(t)
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(all).Draw(t, "sample")
		f, _ := syntax.Parse(source.New("test.show", []byte(text)))
		onlyBlanks := true
		var b strings.Builder
		for _, token := range f.Tokens {
			s := f.Text(token)
			switch token.Kind {
			case syntax.Space:
				s = rapid.SampledFrom([]string{" ", "   ", "\t", s}).Draw(t, "blanks")
			case syntax.Newline:
				s = rapid.SampledFrom([]string{s, s, s, "\r\n", " # x\n", "\n\n\n", "\n  # y\n"}).Draw(t, "line end")
				onlyBlanks = onlyBlanks && (s == "\n" || s == "\r\n")
			}
			b.WriteString(s)
		}
		once, err := show(b.String())
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if twice, err := show(once); twice != once || err != nil {
			t.Fatalf("%v\nfrom:\n%s\nonce:\n%s\ntwice:\n%s", err, b.String(), once, twice)
		}
		for _, line := range strings.Split(once, "\n") {
			if strings.HasSuffix(line, " ") && !inCondition(once) {
				t.Fatalf("%q ends in blanks", line)
			}
		}
		if plain, _ := show(text); onlyBlanks && plain != once && !inCondition(text) {
			t.Fatalf("the layout is not the same:\n%s\nand\n%s", plain, once)
		}
	})
}

// inCondition says that a show may have line ends or blanks in a condition,
// where they are kept.
func inCondition(text string) bool {
	f, _ := syntax.Parse(source.New("test.show", []byte(text)))
	found := false
	syntax.Walk(f, func(n any) bool {
		if c, ok := n.(*syntax.Cond); ok && strings.ContainsAny(c.Text, " \t\n") {
			found = true
		}
		return true
	})
	return found
}

// TestMistakesAreNotLaidOut: a file with mistakes of form gives an error that
// names the first, and nothing else.
func TestMistakesAreNotLaidOut(t *testing.T) {
	out, err := show("show \"x\" uses \"y\"\nmacro a {\n  cut main\n}\n")
	if out != "" || err == nil || !strings.HasPrefix(err.Error(), "test.show:3:") {
		t.Errorf("%q, %v", out, err)
	}
	if _, err := format.Show(&syntax.File{}); err == nil {
		t.Error("a file without text has a layout")
	}
}

// FuzzFormat: whatever has no mistakes has a layout that stays and that says
// the same.
func FuzzFormat(f *testing.F) {
	for _, text := range samples(f) {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if _, found := syntax.Parse(source.New("test.show", []byte(text))); len(found) > 0 {
			return
		}
		once, err := show(text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if twice, err := show(once); twice != once || err != nil {
			t.Fatalf("%v\nonce:\n%s\ntwice:\n%s", err, once, twice)
		}
	})
}

func BenchmarkShow(b *testing.B) {
	text, err := os.ReadFile(root + "shows/small/small.show")
	if err != nil {
		b.Fatal(err)
	}
	f, _ := syntax.Parse(source.New("small.show", text))
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := format.Show(f); err != nil {
			b.Fatal(err)
		}
	}
}
