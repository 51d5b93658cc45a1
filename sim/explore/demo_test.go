package explore

import (
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
)

func demo(t simtest.Test) *program.Program {
	return compiled(t, "../../testdata/shows/league/league.show", "../../testdata/shows/league/rack.yaml")
}

func TestDemo(t *testing.T) {
	p := demo(t)
	e := New(p)
	for i, r := range p.Rules {
		is := e.Rule(i, Options{States: 20_000_000, Bytes: 4 << 30})
		t.Logf("%q: %v, bound %d, %d of %d buttons, %d cues, %d vars, %d timers, %.3g values, %d states, %d zones, %d presses, spurious %d, %d MB", r.Name, is.Verdict, is.Bound, len(is.Slice.Buttons), len(p.Buttons), len(is.Slice.Cues),
			len(is.Slice.Vars), len(is.Slice.Timers), float64(is.Slice.Values), is.States, is.Zones, is.Presses, is.Spurious, is.Bytes>>20)
		for _, v := range is.Slice.Vars {
			if testing.Verbose() && i >= 4 {
				t.Logf("   %s %d", p.Vars[v].Name, p.Vars[v].Size)
			}
		}
		for _, e := range is.Story {
			t.Logf("    %+v", e)
		}
	}
}
