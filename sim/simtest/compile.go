package simtest

import (
	"cuewright/macro/check"
	"cuewright/macro/diag"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// Compile makes a program of a show and its plan, and fails the test when
// either has an error.
func Compile(t Test, show, rack string) *program.Program {
	t.Helper()
	file, found := syntax.Parse(source.New("test.show", []byte(show)))
	r, more := plan.Read(source.New("rack.yaml", []byte(rack)))
	found = append(found, more...)
	info, more := check.Show(file, r)
	for _, d := range append(found, more...) {
		if d.Severity == diag.Error {
			t.Fatalf("%s:%d: %s: %s", d.At.File.Name, d.At.Begin().Line, d.Code, d.What)
		}
	}
	return lower.Show(info)
}
