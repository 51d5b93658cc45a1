package explore

import (
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/rehearse"
	"cuewright/sim/simtest"
)

func demo(t simtest.Test) *program.Program {
	return compiled(t, "../../testdata/shows/league/league.show", "../../testdata/shows/league/rack.yaml")
}

// goal is what a rule's story ends in.
func goal(r *program.Rule) func(v *View) bool {
	return func(v *View) bool {
		switch r.Kind {
		case program.Always:
			return (r.While < 0 || v.Holds(r.While)) && !v.Holds(r.Cond)
		default:
			return v.Holds(r.Cond)
		}
	}
}

// tooLarge is the rule of the demo that needs too many states when no device
// fails: nearly all of the show matters to it. Of 47 variables with more than
// 10^19 values, a sweep has found 10^9 states within ten presses in 200 s, and no
// end of them. sim/prove decides it without a search, since no single event can
// break it (TestDemoIsClean). On parts of the demo explore does, and SPIN says the
// same (TestSpinOnTheDemo).
const tooLarge = "the deck loads where a take could bring it"

// Every other rule of the demo is decided, with and without a fault, and what
// is told of it happens.
func TestDemo(t *testing.T) {
	p := demo(t)
	for faults := range 2 {
		e := New(p)
		for i := range p.Rules {
			r := e.Rule(i, Options{States: 2_000_000, Faults: faults})
			t.Logf("%d faults, %q: %v, bound %d, %d of %d buttons, %d cues, %d vars, %d timers, %.3g values, %d states, %d zones, %d presses, %d spurious, %d kB", faults, p.Rules[i].Name, r.Verdict, r.Bound,
				len(r.Slice.Buttons), len(p.Buttons), len(r.Slice.Cues), len(r.Slice.Vars), len(r.Slice.Timers), float64(r.Slice.Values), r.States, r.Zones, r.Presses, r.Spurious, r.Bytes>>10)
			if name := p.Rules[i].Name; (r.Verdict == Unfinished) != (name == tooLarge && faults == 0) {
				t.Errorf("%q is %v", name, r.Verdict)
			}
			if r.HasStory {
				for _, e := range r.Story {
					t.Logf("    %+v", e)
				}
				replay(t, p, r.Story, goal(&p.Rules[i]))
				if steps, ok := rehearse.Steps(p, r.Story); ok && !rehearsed(t, p, steps, goal(&p.Rules[i])) {
					t.Errorf("%q: its rehearsal does not end in it", p.Rules[i].Name)
				}
			}
		}
	}
}

func BenchmarkDemo(b *testing.B) {
	p := demo(b)
	for i := range p.Rules {
		b.Run(p.Rules[i].Name, func(b *testing.B) {
			var r Result
			b.ReportAllocs()
			for b.Loop() {
				r = New(p).Rule(i, Options{})
			}
			b.ReportMetric(float64(r.States+r.Zones), "states")
			b.ReportMetric(float64(r.Bytes), "bytes")
			b.ReportMetric(float64(len(r.Slice.Buttons)), "buttons")
		})
	}
}

// BenchmarkReach is the search itself, on all variables of the demo, as far as
// two million states.
func BenchmarkReach(b *testing.B) {
	p := demo(b)
	var s *search
	b.ReportAllocs()
	for b.Loop() {
		s = New(p).whole(Options{}).search(2_000_000)
		s.run()
	}
	n := float64(s.found.len())
	b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "states/s")
	b.ReportMetric(float64(s.bytes())/n, "bytes/state")
}
