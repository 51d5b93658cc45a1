package rehearse

import (
	"os"

	"cuewright/macro/check"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// failing is what tests and properties have in common.
type failing interface {
	Helper()
	Fatal(...any)
	Errorf(string, ...any)
	Failed() bool
	FailNow()
}

// compile compiles a show on a rack, the small one when rack is nil.
func compile(t failing, show, rack []byte) *program.Program {
	t.Helper()
	if rack == nil {
		var err error
		if rack, err = os.ReadFile("../../testdata/shows/small/rack.yaml"); err != nil {
			t.Fatal(err)
		}
	}
	file, found := syntax.Parse(source.New("test.show", show))
	r, more := plan.Read(source.New("rack.yaml", rack))
	found.Add(more...)
	info, more := check.Show(file, r)
	found.Add(more...)
	for _, d := range found {
		if d.Severity == 0 {
			t.Errorf("%s:%d: %s: %s", d.At.File.Name, d.At.Begin().Line, d.Code, d.What)
		}
	}
	if t.Failed() {
		t.FailNow()
	}
	return lower.Show(info)
}
