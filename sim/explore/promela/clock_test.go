package promela

import (
	"testing"

	"cuewright/sim/explore"
	"cuewright/sim/simtest"
)

// TestSpinWithAClock holds verdicts that hang on how long things take against
// SPIN with a clock. The rules of each show are: what cannot be in time, though
// in another order it could, and then what can. Cues are fired in their order: a
// cue that is called by its number need not wait for what it follows.
func TestSpinWithAClock(t *testing.T) {
	findSpin(t)
	const cannot, can = explore.Proved, explore.Refuted
	for _, c := range []struct{ name, show string }{
		{"the shorter wait ends first", `
page front on desk {
  button 1.1 "Both" { cut main to deck; cut under to deck; together { { wait 1s; cut main to near }; { wait 2s; cut under to near } } }
}
never "cannot" { main.program == deck and under.program == near }
never "can" { main.program == near and under.program == deck }
`},
		{"of two that end together the first in the table is first", `
page front on desk {
  button 1.1 "Both" { cut main to deck; key logo off; together { { wait 1s; cut main to arm }; { wait 1s; key logo on } } }
}
never "cannot" { main.program == deck and logo.on }
never "can" { main.program == arm and not logo.on }
`},
		{"a second finger comes between", `
page front on desk {
  button 1.1 "One" { wait 1s; cut main to arm }
  button 1.2 "Two" { wait 1s; key logo on; wait 1s; key logo off }
}
never "can" { main.program != arm and logo.on }
never "can too" { main.program == arm and logo.on }
`},
		{"a recorder rolls before it is waited for in vain", `
page front on desk {
  button 1.1 "Roll" { record iso; expect iso.rolling within 500ms else { key logo on } }
  button 1.2 "Stop" guarded { if iso.rolling { stop iso } }
}
never "cannot" { logo.on and iso.starting }
never "can" { iso.rolling and not logo.on }
`},
		{"a mix is over before the cue that follows", `
page front on desk { button 1.1 "Go" { go } }
rundown {
  cue 1 "Mix" { mix main to arm over 1s }
  cue 2 "After" follow 1 after 2s { if main.mixing { key logo on } else { cut under to arm } }
}
never "cannot" { logo.on }
never "can" { under.program == arm }
`},
		{"a hold fires while its cover would still be open", `
page front on desk {
  button 1.1 "Clear" guarded { key logo on } hold 1s { cut main to arm }
  button 1.2 "Wait" { cut under to arm; wait 2s; cut under to near }
}
never "can" { logo.on and main.program == arm }
never "can too" { logo.on and under.program == arm }
`},
		{"started again, it waits its whole time", `
macro macro0 restart { wait 2s; key logo on }
page front on desk {
  button 1.1 "Again" { run macro0 }
  button 1.2 "Both" { key logo off; cut main to arm; together { run macro0; { wait 1s; cut main to near } } }
}
never "cannot" { logo.on and main.program == arm }
never "can" { main.program == near and not logo.on and macro0.running }
`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := simtest.Compile(t, "show \"Time\" uses \"rack.yaml\"\n"+c.show, simtest.MixerRack())
			says, err := timedSpin(t.TempDir(), p, true)
			if err != nil {
				t.Fatal(err)
			}
			anyOrder := count(p, 0, most)
			for i, r := range p.Rules {
				want := can
				if r.Name == "cannot" {
					want = cannot
				}
				if !anyOrder.seen[i] {
					t.Errorf("%q does not hang on time", r.Name)
				}
				is := explore.New(p).Rule(i, explore.Options{InOrder: true})
				if spin := verdict(p, i, says); is.Verdict != want || spin != want {
					t.Errorf("%q is %v; SPIN with a clock, %d states: %v", r.Name, is.Verdict, says.states, spin)
				}
			}
		})
	}
}
