package explore

import (
	"fmt"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
)

// big is a show of 2,000 buttons and 200 destinations, ten buttons for each,
// half of them after a wait, and a bank that a quarter of them shows.
func big(t simtest.Test) *program.Program {
	m := simtest.New()
	var sources []int32
	for i := range 20 {
		sources = append(sources, m.Source(fmt.Sprint("camera", i), "live"))
	}
	main := m.Bank("main", sources...)
	for d := range 200 {
		sw := m.Switch(fmt.Sprint("router.", d), append(sources, m.BankOut(main))...)
		m.Destination(fmt.Sprint("screen", d), m.Out(sw), program.AlwaysOnAir)
	}
	m.Done(t)
	for b := range 2000 {
		d, from := int32(b/10), sources[b%10]
		if b%40 == 0 {
			from = m.BankOut(main)
		}
		route := m.Do(program.Route, d, from, 0)
		switch b % 4 {
		case 1:
			m.Button(fmt.Sprint("button ", b), program.Instr{Op: program.Sleep, Micros: simtest.Second}, route)
		case 2:
			m.Button(fmt.Sprint("button ", b), m.Do(program.CutTo, main, int32(b%11), 0), route)
		default:
			m.Button(fmt.Sprint("button ", b), route)
		}
	}
	return m.Done(t)
}

func shows(p *program.Program, dest, source int32) *program.Program {
	q := *p
	q.Conds = append(q.Conds[:len(q.Conds):len(q.Conds)], program.Cond{Op: program.Shows, A: dest, B: source})
	q.Rules = []program.Rule{{Kind: program.Never, Cond: int32(len(q.Conds) - 1), While: -1}}
	return &q
}

// A rule of a big show is decided on its slice.
func TestBigShow(t *testing.T) {
	p := big(t)
	for _, c := range []struct {
		dest, source int32
		want         Verdict
		buttons      int
	}{
		{7, 2 + 11, Proved, 0},  // no button sends camera 11 anywhere
		{7, 2 + 5, Refuted, 10}, // one sends camera 5 to screen 7
		{4, 2 + 10, Refuted, 508},
	} {
		r := New(shows(p, c.dest, c.source)).Rule(0, Options{States: 1_000_000})
		if r.Verdict != c.want || len(r.Slice.Buttons) != c.buttons {
			t.Errorf("screen %d, source %d: %v on %d buttons and %d states, want %v on %d", c.dest, c.source, r.Verdict, len(r.Slice.Buttons), r.States, c.want, c.buttons)
		}
	}
}

func BenchmarkBigShow(b *testing.B) {
	p := shows(big(b), 7, 2+5)
	b.ReportAllocs()
	for b.Loop() {
		New(p).Rule(0, Options{})
	}
}
