package lower

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/check"
	"cuewright/macro/diag"
	"cuewright/macro/lesson"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

var update = flag.Bool("update", false, "write the listings anew; the run fails so that they are looked at")

// findings reads and checks a show on its rack.
func findings(show, rack *source.File) (*check.Info, diag.List) {
	var found diag.List
	file, d := syntax.Parse(show)
	found.Add(d...)
	r, d := plan.Read(rack)
	found.Add(d...)
	info, d := check.Show(file, r)
	found.Add(d...)
	return info, found
}

// checked is what check gives, and no error among its findings.
func checked(t testing.TB, show, rack *source.File) *check.Info {
	t.Helper()
	info, found := findings(show, rack)
	for _, f := range found {
		if f.Severity == diag.Error {
			t.Errorf("%s:%d: %s (%s)", f.At.File.Name, f.At.Begin().Line, f.What, f.Code)
		}
	}
	if found.Blocking() {
		t.FailNow()
	}
	return info
}

func read(t testing.TB, parts ...string) *source.File {
	t.Helper()
	path := filepath.Join(append([]string{"..", "..", "testdata"}, parts...)...)
	bytes, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return source.New(filepath.Base(path), bytes)
}

func sample(t testing.TB, name string) *check.Info {
	return checked(t, read(t, "shows", name, name+".show"), read(t, "shows", name, "rack.yaml"))
}

// Each case in testdata/program is a show (the small one where there is none)
// on a rack (likewise), and the parts of its listing that are looked at.
func TestListings(t *testing.T) {
	cases, _ := filepath.Glob("../../testdata/program/*.txtar")
	if len(cases) == 0 {
		t.Fatal("no cases")
	}
	for _, path := range cases {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) {
			archive, err := txtar.ParseFile(path)
			if err != nil {
				t.Fatal(err)
			}
			show, rack := read(t, "shows", "small", "small.show"), read(t, "shows", "small", "rack.yaml")
			for _, f := range archive.Files {
				switch filepath.Ext(f.Name) {
				case ".show":
					show = source.New(f.Name, f.Data)
				case ".yaml":
					rack = source.New(f.Name, f.Data)
				}
			}
			p := Show(checked(t, show, rack))
			for i, f := range archive.Files {
				section, ok := sections[f.Name]
				if !ok {
					continue
				}
				got := strings.Join(section(lister{p}), "\n") + "\n"
				if got == string(f.Data) {
					continue
				}
				t.Errorf("%s differs:\n%s", f.Name, difference(string(f.Data), got))
				archive.Files[i].Data = []byte(got)
			}
			if *update && t.Failed() {
				if err := os.WriteFile(path, txtar.Format(archive), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

// difference lists the lines that only one side has.
func difference(want, got string) string {
	var out []string
	only := func(sign, a, b string) {
		lines := map[string]int{}
		for _, l := range strings.Split(b, "\n") {
			lines[l]++
		}
		for _, l := range strings.Split(a, "\n") {
			if lines[l]--; lines[l] < 0 {
				out = append(out, sign+l)
			}
		}
	}
	only("-", want, got)
	only("+", got, want)
	return strings.Join(out, "\n")
}

// The same show gives the same bytes, however often maps are walked anew, and
// the file gives the same Program back.
func TestSameBytes(t *testing.T) {
	for _, name := range []string{"small", "league"} {
		first := program.Encode(Show(sample(t, name)))
		for range 30 {
			if again := program.Encode(Show(sample(t, name))); !bytes.Equal(first, again) {
				t.Fatalf("%s gives other bytes", name)
			}
		}
		p, err := program.Decode(first)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(p, Show(sample(t, name))) {
			t.Errorf("%s: decode(encode(p)) is another program", name)
		}
	}
}

func BenchmarkShow(b *testing.B) {
	info := sample(b, "league")
	for b.Loop() {
		Show(info)
	}
}

// Whatever check lets through can be lowered: Show reports a bug, which is a
// panic under test, when what it made does not pass Validate.
func TestEveryLessonWithoutErrorsLowers(t *testing.T) {
	lowered := 0
	for _, code := range lesson.All() {
		l, _ := lesson.Get(code)
		sides := map[string]map[string]string{"wrong": {}, "mended": {}}
		for _, f := range l.Files {
			side, form, _ := strings.Cut(f.Name, ".")
			sides[side][form] = f.Text
		}
		for side, texts := range sides {
			if texts["show"] == "" && texts["yaml"] == "" {
				continue
			}
			show, rack := source.New("small.show", []byte(texts["show"])), source.New("rack.yaml", []byte(texts["yaml"]))
			if texts["show"] == "" {
				show = source.New("small.show", []byte("show \"Empty\" uses \"rack.yaml\"\n"))
			}
			if texts["yaml"] == "" {
				rack = read(t, "shows", "small", "rack.yaml")
			}
			info, found := findings(show, rack)
			if found.Blocking() {
				continue
			}
			p := Show(info)
			lowered++
			if back, err := program.Decode(program.Encode(p)); err != nil || !reflect.DeepEqual(p, back) {
				t.Errorf("%s, %s: decode(encode(p)) is another program (%v)", code, side, err)
			}
		}
	}
	t.Logf("%d shows of lessons", lowered)
	if lowered < 50 {
		t.Errorf("only %d shows of lessons could be lowered", lowered)
	}
}
