package prepare

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
	"cuewright/macro/lesson"
	"cuewright/sim/prove"
	"cuewright/sim/rehearse"
)

const testdata = "../../testdata/"

// fromMap reads files out of memory; the plan is the small one unless the map
// has another.
func fromMap(t *testing.T, files map[string]string) func(string) ([]byte, error) {
	t.Helper()
	small, err := os.ReadFile(testdata + "shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return func(name string) ([]byte, error) {
		if text, ok := files[name]; ok {
			return []byte(text), nil
		}
		if name == "rack.yaml" {
			return small, nil
		}
		return nil, fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	}
}

// TestFind holds the finder against the corpus: in each file the codes wanted
// by `# want: code` stand on exactly those lines, and no other error.
func TestFind(t *testing.T) {
	cases, err := filepath.Glob(testdata + "find/*.txtar")
	if err != nil || len(cases) == 0 {
		t.Fatal("no cases", err)
	}
	for _, path := range cases {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			files := map[string]string{}
			for _, f := range archive.Files {
				files[f.Name] = string(f.Data)
			}
			if _, ok := files["small.show"]; !ok {
				t.Skip("not about a show's text; cmd/cuewright runs it")
			}
			want := wanted(files)
			got := map[string]bool{}
			r := Show("small.show", fromMap(t, files))
			code, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(path), ".txtar"), "_")
			all := withRehearsals(r)
			if diag.IsProof(diag.Code(code)) {
				all.Add(proved(r)...)
			}
			for _, d := range all {
				key := fmt.Sprintf("%s:%d: %s", d.At.File.Name, d.At.Begin().Line, d.Code)
				got[key] = true
				if !want[key] && d.Severity == diag.Error {
					t.Errorf("not wanted: %s: %s", key, d.What)
				}
			}
			for _, key := range slices.Sorted(maps.Keys(want)) {
				if !got[key] {
					t.Errorf("not found: %s; found %v", key, slices.Sorted(maps.Keys(got)))
				}
			}
			if !slices.ContainsFunc(slices.Collect(maps.Keys(want)), func(k string) bool { return strings.HasSuffix(k, ": "+code) }) {
				t.Errorf("the case is named after %s and wants none", code)
			}
		})
	}
}

// wanted reads the `# want: a b` comments: "file:line: code".
func wanted(files map[string]string) map[string]bool {
	want := map[string]bool{}
	for name, text := range files {
		for i, line := range strings.Split(text, "\n") {
			_, codes, ok := strings.Cut(line, "# want:")
			if !ok {
				continue
			}
			for _, code := range strings.Fields(codes) {
				want[fmt.Sprintf("%s:%d: %s", name, i+1, code)] = true
			}
		}
	}
	return want
}

// TestEveryCodeHasACase: a code that no case looks for may be dead, or wrong.
func TestEveryCodeHasACase(t *testing.T) {
	cases, err := filepath.Glob(testdata + "find/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for _, path := range cases {
		code, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(path), ".txtar"), "_")
		have[code] = true
		if !diag.Known(diag.Code(code)) {
			t.Errorf("%s: there is no code %s", path, code)
		}
	}
	for _, e := range diag.Codes() {
		if !have[string(e.Code)] {
			t.Errorf("code %s has no case in testdata/find", e.Code)
		}
	}
}

// withRehearsals are the findings of a show and of all its rehearsals.
func withRehearsals(r Result) diag.List {
	list := slices.Clone(r.Findings)
	if r.Program == nil {
		return list
	}
	runner := rehearse.New(r.Program)
	for i := range r.Program.Rehearsals {
		list.Add(r.Rehearsed(runner.Run(i))...)
	}
	return list
}

// TestLessons runs the examples of every lesson: the wrong one gives the code,
// the mended one does not, nor any error.
func TestLessons(t *testing.T) {
	for _, code := range lesson.All() {
		t.Run(string(code), func(t *testing.T) {
			l, _ := lesson.Get(code)
			if _, ok := l.File("wrong.command"); ok {
				t.Skip("about calling the program; cmd/cuewright runs it")
			}
			if _, ok := l.File("wrong.txt"); ok {
				t.Skip("it takes a device; targets/httpout meets each of these codes")
			}
			example := example
			if diag.IsProof(code) {
				example = provedExample
			}
			wrong := codesOf(example(t, l, "wrong"))
			if !slices.Contains(wrong, code) {
				t.Errorf("the wrong example gives %v", wrong)
			}
			for _, d := range example(t, l, "mended") {
				if d.Code == code || d.Severity == diag.Error {
					t.Errorf("the mended example gives %s, line %d: %s", d.Code, d.At.Begin().Line, d.What)
				}
			}
		})
	}
}

func example(t *testing.T, l lesson.Lesson, side string) diag.List {
	t.Helper()
	return withRehearsals(Show("small.show", fromMap(t, filesOf(l, side))))
}

// proved are the findings of a show's proof.
func proved(r Result) diag.List {
	if r.Program == nil {
		return nil
	}
	return r.Proved(prove.Show(r.Program, prove.Options{}))
}

func provedExample(t *testing.T, l lesson.Lesson, side string) diag.List {
	t.Helper()
	r := Show("small.show", fromMap(t, filesOf(l, side)))
	return append(r.Findings, proved(r)...)
}

// filesOf are the files of one side of a lesson.
func filesOf(l lesson.Lesson, side string) map[string]string {
	files := map[string]string{"small.show": "show \"Empty\" uses \"rack.yaml\"\n"}
	if text, ok := l.File(side + ".show"); ok {
		files["small.show"] = text
	}
	if text, ok := l.File(side + ".yaml"); ok {
		files["rack.yaml"] = text
	}
	return files
}

func codesOf(list diag.List) []diag.Code {
	var codes []diag.Code
	for _, d := range list {
		codes = append(codes, d.Code)
	}
	return codes
}

// TestSureMends applies each mend that is sure, alone, to every wrong example
// of the corpus and the lessons, and checks again: that finding is gone and
// there are no more errors than before.
func TestSureMends(t *testing.T) {
	tried := 0
	for name, files := range examples(t) {
		read := fromMap(t, files)
		before := Show("small.show", read).Findings
		for _, d := range before {
			for _, m := range d.Mends {
				if !m.Sure {
					continue
				}
				tried++
				mended := maps.Clone(files)
				for i, e := range m.Edits { // from the back, so that places hold
					if i > 0 && e.At.Start < m.Edits[i-1].At.End {
						t.Errorf("%s: the edits of a mend of %s are not in order", name, d.Code)
					}
				}
				for _, e := range slices.Backward(m.Edits) {
					text, _ := read(e.At.File.Name)
					if other, ok := mended[e.At.File.Name]; ok {
						text = []byte(other)
					}
					mended[e.At.File.Name] = string(text[:e.At.Start]) + e.New + string(text[e.At.End:])
				}
				after := Show("small.show", fromMap(t, mended)).Findings
				if count(after, d.Code) >= count(before, d.Code) {
					t.Errorf("%s: after the mend %q, %s is still there (line %d: %s)", name, m.Do, d.Code, d.At.Begin().Line, d.What)
				}
				if errorsIn(after) > errorsIn(before) {
					t.Errorf("%s: the mend %q of %s makes new errors: %v", name, m.Do, d.Code, codesOf(after))
				}
			}
		}
	}
	if tried == 0 {
		t.Error("no mend was sure")
	}
	t.Logf("%d sure mends", tried)
}

func count(list diag.List, code diag.Code) int {
	n := 0
	for _, d := range list {
		if d.Code == code {
			n++
		}
	}
	return n
}

func errorsIn(list diag.List) int {
	n := 0
	for _, d := range list {
		if d.Severity == diag.Error {
			n++
		}
	}
	return n
}

// examples are the files of every case and of every lesson's wrong side.
func examples(t *testing.T) map[string]map[string]string {
	t.Helper()
	out := map[string]map[string]string{}
	cases, err := filepath.Glob(testdata + "find/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range cases {
		archive, err := txtar.ParseFile(path)
		if err != nil {
			t.Fatal(err)
		}
		files := map[string]string{}
		for _, f := range archive.Files {
			files[f.Name] = string(f.Data)
		}
		if _, ok := files["small.show"]; ok {
			out[filepath.Base(path)] = files
		}
	}
	for _, code := range lesson.All() {
		l, _ := lesson.Get(code)
		out["lesson "+string(code)] = filesOf(l, "wrong")
	}
	return out
}
