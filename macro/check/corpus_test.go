package check

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

const testdata = "../../testdata/"

// read gives the show and the rack of two texts; "" is the small rack.
func read(t testing.TB, show, rack string) (*syntax.File, *plan.Rack, diag.List) {
	t.Helper()
	if rack == "" {
		b, err := os.ReadFile(testdata + "shows/small/rack.yaml")
		if err != nil {
			t.Fatal(err)
		}
		rack = string(b)
	}
	r, list := plan.Read(source.New("rack.yaml", []byte(rack)))
	f, found := syntax.Parse(source.New("small.show", []byte(show)))
	return f, r, append(list, found...)
}

// TestCorpus runs every case of testdata/find that wants a code of this
// package: exactly the wanted findings, as often as wanted, on their lines.
// It is stricter than the test of the whole: warnings count, and how many.
func TestCorpus(t *testing.T) {
	for _, path := range corpus(t) {
		name := strings.TrimSuffix(filepath.Base(path), ".txtar")
		code, _, _ := strings.Cut(name, "_")
		if !diag.IsCheck(diag.Code(code)) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			show, rack := files(t, path)
			f, r, before := read(t, show, rack)
			for _, d := range before {
				if d.Severity == diag.Error && !diag.IsCheck(d.Code) {
					t.Errorf("line %d: %s: %s", d.At.Begin().Line, d.Code, d.What)
				}
			}
			_, list := Show(f, r)
			var got []string
			for _, d := range list {
				got = append(got, fmt.Sprintf("%d: %s", d.At.Begin().Line, d.Code))
			}
			slices.Sort(got)
			if want := wanted(show); !slices.Equal(got, want) {
				t.Errorf("found\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
				for _, d := range list {
					t.Logf("%d: %s: %s", d.At.Begin().Line, d.Code, d.What)
				}
			}
		})
	}
}

// files gives the show and the rack of a case.
func files(t *testing.T, path string) (show, rack string) {
	archive, err := txtar.ParseFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range archive.Files {
		switch f.Name {
		case "small.show":
			show = string(f.Data)
		case "rack.yaml":
			rack = string(f.Data)
		}
	}
	return show, rack
}

// wanted lists the `# want:` comments: "line: code".
func wanted(text string) []string {
	var want []string
	for i, line := range strings.Split(text, "\n") {
		_, codes, _ := strings.Cut(line, "# want:")
		for _, code := range strings.Fields(codes) {
			want = append(want, fmt.Sprintf("%d: %s", i+1, code))
		}
	}
	slices.Sort(want)
	return want
}

// The two shows that everything else is tested on have nothing to say.
func TestGoodShows(t *testing.T) {
	for _, name := range []string{"small", "league"} {
		show, err := os.ReadFile(testdata + "shows/" + name + "/" + name + ".show")
		if err != nil {
			t.Fatal(err)
		}
		rack, err := os.ReadFile(testdata + "shows/" + name + "/rack.yaml")
		if err != nil {
			t.Fatal(err)
		}
		f, r, list := read(t, string(show), string(rack))
		info, found := Show(f, r)
		for _, d := range append(list, found...) {
			t.Errorf("%s:%d: %s: %s", d.At.File.Name, d.At.Begin().Line, d.Code, d.What)
		}
		for n, e := range info.Conds {
			if e == nil || e.Type != 1 {
				t.Errorf("%s: `%s` is not typed", name, n.Text)
			}
		}
	}
}
