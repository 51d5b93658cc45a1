package control

import (
	"os"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/targets/standin"
)

// failing is what a *testing.T and a *rapid.T have in common.
type failing interface {
	Helper()
	Error(...any)
	Errorf(string, ...any)
	Fatal(...any)
	Fatalf(string, ...any)
}

type showState struct{ *state.State }

// testBox is what one run of a property needs and leaves nothing of.
type testBox struct{ undo []func() }

func (b *testBox) close() {
	for i := len(b.undo) - 1; i >= 0; i-- {
		b.undo[i]()
	}
}

func (b *testBox) dir(t failing) string {
	dir, err := os.MkdirTemp("", "control")
	if err != nil {
		t.Fatal(err)
	}
	b.undo = append(b.undo, func() { os.RemoveAll(dir) })
	return dir
}

func rackFor(t failing, b *testBox, p *program.Program) (*standin.Rack, *lines) {
	out := &lines{}
	r, err := standin.Start(p, standin.Options{Lines: out, AnyPort: true})
	if err != nil {
		t.Fatal(err)
	}
	b.undo = append(b.undo, func() { r.Close() })
	return r, out
}
