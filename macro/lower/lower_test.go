package lower

import (
	"os"
	"path/filepath"
	"testing"

	"cuewright/macro/check"
	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// compile lowers a show as the driver does.
func compile(t testing.TB, show, rack *source.File) *program.Program {
	t.Helper()
	var found diag.List
	file, d := syntax.Parse(show)
	found.Add(d...)
	r, d := plan.Read(rack)
	found.Add(d...)
	info, d := check.Show(file, r)
	found.Add(d...)
	for _, f := range found {
		if f.Severity == diag.Error {
			t.Errorf("%s:%d: %s (%s)", f.At.File.Name, f.At.Begin().Line, f.What, f.Code)
		}
	}
	if found.Blocking() {
		t.FailNow()
	}
	return Show(info)
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

func sample(t testing.TB, name string) *program.Program {
	return compile(t, read(t, "shows", name, name+".show"), read(t, "shows", name, "rack.yaml"))
}

func TestX(t *testing.T) {
	sample(t, "small")
	sample(t, "league")
}
