package promela

import (
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
)

const twoRules = `show "Two" uses "rack.yaml"
page front on desk {
  button 1.1 "Arm" { cut main to arm; wait 1s; cut main to near }
  button 1.2 "Mix" { mix main to under over 1s }
}
never "holds" { main.program == card }
never "breaks" { main.program == arm and main.mixing }
`

// However a model is written, it has the same states.
func TestShapes(t *testing.T) {
	findSpin(t)
	p := simtest.Compile(t, twoRules, simtest.MixerRack())
	want := count(p, 0, most)
	for name, o := range map[string]Options{"together": {}, "apart": {Apart: true}, "asserted": {Assert: true, Rule: 0}} {
		model, err := Translate(p, o)
		if err != nil {
			t.Fatal(err)
		}
		v, err := compile(t.TempDir(), model, "-O0")
		if err != nil {
			t.Fatal(err)
		}
		h, err := v.run(0)
		if err != nil || h.states != int64(want.states) {
			t.Errorf("%s: SPIN finds %d states, the plain search %d: %v", name, h.states, want.states, err)
		}
	}
}

// A rule that breaks is an assertion that fails.
func TestAssert(t *testing.T) {
	findSpin(t)
	model, err := Translate(simtest.Compile(t, twoRules, simtest.MixerRack()), Options{Assert: true, Rule: 1})
	if err != nil {
		t.Fatal(err)
	}
	v, err := compile(t.TempDir(), model, "-O0")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := v.run(0); err == nil || !strings.Contains(err.Error(), "assertion violated") {
		t.Errorf("no assertion fails: %v", err)
	}
}

// What cannot be written is refused, and never left out.
func TestRefusals(t *testing.T) {
	p := simtest.Compile(t, twoRules, simtest.MixerRack())
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{Tick: 300_000}, "no whole number of ticks"},
		{Options{Tick: 100_000, Faults: 1}, "cannot be written"},
		{Options{Tick: -1}, "cannot be written"},
	} {
		if _, err := Translate(p, c.o); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.o, err, c.want)
		}
		if _, err := Batch([]*program.Program{p}, c.o); err == nil || !strings.Contains(err.Error(), "show 0: ") {
			t.Errorf("%+v in a batch: %v", c.o, err)
		}
	}
}

// A picture with too many ways to a destination is refused.
func TestTooManyWays(t *testing.T) {
	m := simtest.New()
	camera := m.Source("camera", "live")
	from := []int32{camera}
	for range 4 { // 4 rows of 4 switches: 256 ways
		var row []int32
		for range 4 {
			row = append(row, m.Out(m.Switch("router", from...)))
		}
		from = row
	}
	d := m.Destination("screen", m.Out(m.Switch("last", from...)), program.NeverOnAir)
	m.Button("all", m.Do(program.Route, d, camera, 0))
	if _, err := Translate(m.Done(t), Options{}); err == nil || !strings.Contains(err.Error(), "ways") {
		t.Errorf("not refused: %v", err)
	}
}
