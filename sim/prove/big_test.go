package prove_test

import (
	"fmt"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/prove"
	"cuewright/sim/simtest"
)

// big is a show of 2,000 buttons and 200 destinations on air, ten buttons for
// each, some after a wait, some by a bank that others show; and a camera that
// a button moves only when nobody sees it.
func big(t simtest.Test) *program.Program {
	m := simtest.New()
	var sources []int32
	for i := range 20 {
		sources = append(sources, m.Source(fmt.Sprint("camera", i), "live"))
	}
	sources = append(sources, m.Camera("arm"))
	main := m.Bank("main", sources...)
	for d := range 200 {
		sw := m.Switch(fmt.Sprint("router.", d), append(sources, m.BankOut(main))...)
		m.Destination(fmt.Sprint("screen", d), m.Out(sw), program.AlwaysOnAir)
	}
	for b := range 2000 {
		d, from := int32(b/10), sources[b%10]
		switch {
		case b%40 == 0:
			from = m.BankOut(main)
		case b%101 == 0:
			from = sources[20]
		}
		route := m.Do(program.Route, d, from, 0)
		switch b % 8 {
		case 1:
			m.Button(fmt.Sprint("button ", b), program.Instr{Op: program.Sleep, Micros: simtest.Second}, route)
		case 2:
			m.Button(fmt.Sprint("button ", b), m.Do(program.CutTo, main, int32(b%21), 0), route)
		default:
			m.Button(fmt.Sprint("button ", b), route)
		}
	}
	m.P.Conds = append(m.P.Conds, program.Cond{Op: program.SourceOnAir, A: m.P.Cameras[0].Source}, program.Cond{Op: program.Not, L: 0})
	m.Button("move", program.Instr{Op: program.Unless, A: 1, B: 2}, m.Do(program.Recall, 0, 0, 0))
	m.P.Rules = append(m.P.Rules, program.Rule{Name: "never", Kind: program.Never, Cond: 0, While: -1})
	return m.Done(t)
}

// Every question about a big show is decided, each on its slice.
func TestBigShowIsDecided(t *testing.T) {
	r := prove.Show(big(t), prove.Options{Workers: 2, Bytes: 1 << 30, States: 100_000})
	if r.Undecided() || len(r.Findings) != 1 || r.Findings[0].Code != "rule-broken" || r.Findings[0].Presses != 1 {
		t.Errorf("undecided %v, %d findings", r.Undecided(), len(r.Findings))
	}
	proved := 0
	for _, a := range r.Answers {
		if a.Verdict == prove.Proved {
			proved++
		}
	}
	if proved < 50 {
		t.Errorf("only %d answers are proved", proved)
	}
}

func BenchmarkBig(b *testing.B) {
	p := big(b)
	b.ReportAllocs()
	for b.Loop() {
		prove.Show(p, prove.Options{Workers: 2, States: 100_000})
	}
}
