package plan

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
	"cuewright/macro/lesson"
	"cuewright/macro/source"
)

// ours are the codes that reading a plan alone reports. Addresses are looked at
// here for OSC, and in targets/render for requests.
func ours() []string {
	set := map[string]bool{"plan-too-large": true, "plan-too-deep": true}
	for _, f := range faults {
		set[f.code] = true
	}
	delete(set, "broken-address")
	return slices.Sorted(maps.Keys(set))
}

// The wrong plan of a lesson has its code, the mended one has no finding.
func TestLessons(t *testing.T) {
	for _, code := range ours() {
		l, ok := lesson.Get(diag.Code(code))
		if !ok {
			t.Errorf("no lesson for %s", code)
			continue
		}
		wrong, _ := l.File("wrong.yaml")
		mended, _ := l.File("mended.yaml")
		if _, found := Read(source.New("rack.yaml", []byte(wrong))); !slices.Contains(codes(found), code) {
			t.Errorf("%s: the wrong plan has\n%s", code, listing(found))
		}
		if _, found := Read(source.New("rack.yaml", []byte(mended))); len(found) > 0 {
			t.Errorf("%s: the mended plan has\n%s", code, listing(found))
		}
	}
}

// In the cases about plans, each code stands on the lines that want it and
// nowhere else.
func TestCases(t *testing.T) {
	paths, err := filepath.Glob("../../testdata/find/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, path := range paths {
		code, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(path), ".txtar"), "_")
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range txtar.Parse(text).Files {
			if f.Name != "rack.yaml" || !slices.Contains(ours(), code) || !strings.Contains(string(f.Data), "# want:") {
				continue
			}
			tried++
			var want, got []string
			for i, line := range strings.Split(string(f.Data), "\n") {
				_, words, _ := strings.Cut(line, "# want:")
				for _, w := range strings.Fields(words) {
					want = append(want, fmt.Sprint(i+1, " ", w))
				}
			}
			_, found := Read(source.New("rack.yaml", f.Data))
			for _, d := range found {
				got = append(got, fmt.Sprint(d.At.Begin().Line, " ", d.Code))
			}
			if !slices.Equal(got, want) {
				t.Errorf("%s: want %q, got\n%s", filepath.Base(path), want, listing(found))
			}
		}
	}
	if tried < len(ours()) {
		t.Errorf("%d cases for %d codes", tried, len(ours()))
	}
}
