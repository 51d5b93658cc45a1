package promela

import (
	"fmt"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/simtest"
)

// hall is a show of some millions of states on the mixer: two banks, a keyer,
// two buses, a deck, a recorder, an encoder, and scripts that run side by side.
const hall = `show "Hall" uses "rack.yaml"
macro replay { load deck with "opener"; expect deck.cued within 1s else abandon "not cued"; play deck; cut main to deck; wait 2s; cut main to near }
page front on desk {
  button 1.1 "Near" { cut main to near }
  button 1.2 "Under" { cut main to under }
  button 1.3 "Mix" { preset under to arm; mix under over 1s }
  button 1.4 "Other" { preset under to near; mix under over 1s }
  button 1.5 "Name" { key logo on; wait 2s; key logo off }
  button 2.1 "Replay" { run replay }
  button 2.2 "Roll" { record iso }
  button 2.3 "Stop" guarded { stop iso }
  button 2.4 "Live" { start stream }
  button 2.5 "Hall near" { route hall from near }
  button 3.1 "Hall main" { route hall from main }
  button 3.2 "Side" { route side from main }
  button 3.3 "Side card" { route side from card }
  button 3.4 "Robot" { recall arm shot 1; wait 1s; recall arm shot 2 }
  button 3.5 "Fan" { switch fan on; wait 5s; switch fan off }
  button 2.6 "Keep" guarded { protect side } release { release side }
}
never "nothing breaks it" { hall.shows(slides) or main.program == card }
`

// BenchmarkSpin searches one show whole with both engines in turn, in one run:
// SPIN depth-first and breadth-first with packed variables and exact flags, and
// Reach, which is breadth-first by presses too. It tells of each the states in a
// second, at its fastest, and the bytes for a state: what SPIN's process held at
// most, and what Reach says it held; and how much faster than SPIN's fastest
// Reach is, and the show's rule decided on its slice.
func BenchmarkSpin(b *testing.B) {
	findSpin(b)
	p := simtest.Compile(b, hall, simtest.MixerRack())
	engines := engines(b, p)
	for b.Loop() {
		for i := range engines {
			engines[i].run(b)
		}
	}
	for _, e := range engines {
		if e.states != engines[0].states {
			b.Errorf("%s finds %d states, %s %d", e.name, e.states, engines[0].name, engines[0].states)
		}
		b.Logf("%-28s %9d states %8.2f s %11.0f states/s %6.1f bytes/state", e.name, e.states, e.best.Seconds(), e.rate(), e.bytes)
		b.ReportMetric(e.rate(), e.unit+"-states/s")
		b.ReportMetric(e.bytes, e.unit+"-B/state")
	}
	from := time.Now()
	for range rules {
		if r := explore.New(p).Rule(0, explore.Options{}); r.Verdict != explore.Proved {
			b.Fatalf("the rule is %v", r.Verdict)
		}
	}
	reach := engines[len(engines)-1].best.Seconds()
	spin, rule := min(engines[0].best, engines[1].best).Seconds(), time.Since(from).Seconds()/rules
	b.Logf("SPIN depth-first takes %.0f times as long as Reach, and %.0f times as long as the rule on its slice", spin/reach, spin/rule)
	b.ReportMetric(spin/reach, "spin/reach")
	b.ReportMetric(spin/rule, "spin/rule")
}

// rules is how often the rule is decided for a mean.
const rules = 20

// engine is one way to search the show; best is its shortest time.
type engine struct {
	name, unit string
	search     func() (states int64, took time.Duration, bytes float64, err error)
	states     int64
	best       time.Duration
	bytes      float64
}

func (e *engine) rate() float64 { return float64(e.states) / e.best.Seconds() }

func (e *engine) run(b *testing.B) {
	states, took, bytes, err := e.search()
	if err != nil {
		b.Fatal(err)
	}
	if e.best == 0 || took < e.best {
		e.best = took
	}
	e.states, e.bytes = states, bytes
}

func engines(b *testing.B, p *program.Program) []engine {
	var all []engine
	for _, x := range []struct {
		name, unit string
		o          Options
		flags      []string
	}{
		{"SPIN depth-first", "dfs", Options{Apart: true}, []string{"-DNOCOMP"}},
		{"SPIN depth-first, masking", "masking", Options{Apart: true}, nil},
		{"SPIN breadth-first", "bfs", Options{Apart: true}, []string{"-DBFS", "-DNOCOMP"}},
	} {
		p := *p
		p.Rules = nil
		model, err := Translate(&p, x.o)
		if err != nil {
			b.Fatal(err)
		}
		v, err := compile(b.TempDir(), model, append(x.flags, "-O2", "-DNOFAIR", "-DNOBOUNDCHECK")...)
		if err != nil {
			b.Fatal(err)
		}
		all = append(all, engine{name: x.name, unit: x.unit, search: func() (int64, time.Duration, float64, error) {
			h, err := v.run(0, "-m4000000", "-w22")
			return h.states, h.took, float64(h.memory) / float64(max(h.states, 1)), err
		}})
	}
	return append(all, engine{name: "Reach", unit: "reach", search: func() (int64, time.Duration, float64, error) {
		var bytes int64
		from := time.Now()
		n, ok := explore.New(p).Reach(explore.Options{Progress: func(x explore.Progress) bool { bytes = x.Bytes; return true }})
		if !ok {
			return 0, 0, 0, fmt.Errorf("Reach stopped at %d states", n)
		}
		return int64(n), time.Since(from), float64(bytes) / float64(n), nil
	}})
}
