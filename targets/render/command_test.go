package render

import (
	"maps"
	"os"
	"slices"
	"testing"

	"cuewright/macro/check"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// TestValuesAreWhatThePlanPromises: each command of the small show has a value
// of its kind for each name that plan.Does gives its template, and no others.
func TestValuesAreWhatThePlanPromises(t *testing.T) {
	file := func(name string) *source.File {
		data, err := os.ReadFile("../../testdata/shows/small/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return source.New(name, data)
	}
	rack, _ := plan.Read(file("rack.yaml"))
	tree, _ := syntax.Parse(file("small.show"))
	info, found := check.Show(tree, rack)
	if found.Blocking() {
		t.Fatal(found)
	}
	r := renderer{p: lower.Show(info), rack: rack}
	seen := map[program.Verb]bool{}
	for _, s := range r.all() {
		if s.command.Verb == program.SendTo {
			continue
		}
		seen[s.command.Verb] = true
		given, known := r.values(s.command), namesOf(actionOf[s.command.Verb])
		if !slices.Equal(slices.Sorted(maps.Keys(given)), slices.Sorted(maps.Keys(known))) {
			t.Errorf("%+v has %v, want %v", s.command, given, known)
		}
		for name, k := range known {
			if kindOf(given[name]) != k {
				t.Errorf("%+v: %s is %s, want %s", s.command, name, kindOf(given[name]), k)
			}
		}
	}
	for verb, action := range actionOf {
		if !seen[verb] {
			t.Errorf("the small show has no %s", action)
		}
	}
}

func kindOf(v value) kind {
	switch v.(type) {
	case int64:
		return whole
	case float64:
		return number
	case string:
		return text
	case bool:
		return truth
	}
	return unknown
}
