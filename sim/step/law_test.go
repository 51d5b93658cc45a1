package step

import (
	"reflect"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"pgregory.net/rapid"
)

// anyScript draws a script that may call the macros before it.
func anyScript(t *rapid.T, k *maker, callees []int32) []program.Instr {
	var code []program.Instr
	for range rapid.IntRange(0, 5).Draw(t, "statements") {
		at := int32(len(code))
		switch rapid.IntRange(0, 6).Draw(t, "statement") {
		case 0:
			code = append(code, sleep(anyTime(t)))
		case 1, 2, 3:
			code = append(code, anyAction(t, k))
		case 4:
			if len(callees) > 0 {
				code = append(code, call(rapid.SampledFrom(callees).Draw(t, "callee"), at+2)...)
			}
		case 5:
			code = append(code, program.Instr{Op: program.Until, A: anyCond(t, k), B: at + 1,
				C: int32(rapid.IntRange(0, 1).Draw(t, "expect")), Micros: anyTime(t)})
		case 6:
			code = append(code, program.Instr{Op: program.GoCue, A: -1})
		}
	}
	return code
}

func anyTime(t *rapid.T) int64 { return rapid.Int64Range(0, 4).Draw(t, "half seconds") * second / 2 }

func anyAction(t *rapid.T, k *maker) program.Instr {
	b := func(n int32) int32 { return rapid.Int32Range(0, n-1).Draw(t, "operand") }
	switch v := rapid.SampledFrom([]program.Verb{program.CutTo, program.PresetTo, program.Take, program.Mix, program.Wipe, program.Fade,
		program.KeyTo, program.Route, program.Load, program.Play, program.Pause, program.StopDeck, program.Record, program.StopRecorder,
		program.Start, program.StopEncoder, program.Recall, program.SwitchTo, program.SendTo, program.Protect}).Draw(t, "verb"); v {
	case program.CutTo, program.PresetTo:
		return k.do(v, 0, b(4))
	case program.Mix, program.Wipe:
		return k.do(v, 0, 0, anyTime(t))
	case program.Fade:
		return k.do(v, 0, b(2), anyTime(t))
	case program.Route:
		return k.do(v, b(2), b(8))
	case program.Protect:
		return k.do(v, b(2), b(2))
	case program.KeyTo, program.Load, program.Recall, program.SwitchTo:
		return k.do(v, 0, b(2))
	default:
		return k.do(v, 0, 0)
	}
}

func anyCond(t *rapid.T, k *maker) int32 {
	if rapid.Bool().Draw(t, "derived") {
		k.Conds = append(k.Conds, program.Cond{Op: program.SourceOnAir, A: rapid.Int32Range(0, 5).Draw(t, "source")})
		return int32(len(k.Conds) - 1)
	}
	b := k.Banks[0]
	v := rapid.SampledFrom([]int32{b.Program, b.Transition, b.Faded, k.Decks[0].State, k.Recorders[0].State}).Draw(t, "variable")
	return k.is(v, uint32(rapid.IntRange(0, int(k.Vars[v].Size)-1).Draw(t, "value")))
}

// anyShow draws a whole small show.
func anyShow(t *rapid.T) *program.Program {
	k := newMaker()
	var macros []int32
	for range rapid.IntRange(0, 3).Draw(t, "macros") {
		code := anyScript(t, k, macros)
		if rapid.Bool().Draw(t, "together") {
			branch := k.branch("branch", anyScript(t, k, macros)...)
			code = append([]program.Instr{{Op: program.Run, A: branch, B: 1}, {Op: program.Join, A: branch}}, shifted(code, 2)...)
		}
		macros = append(macros, k.macro("m", uint8(rapid.IntRange(0, 2).Draw(t, "again")), code...))
	}
	for range rapid.IntRange(1, 4).Draw(t, "buttons") {
		b := k.button(anyScript(t, k, macros)...)
		switch rapid.IntRange(0, 3).Draw(t, "shape") {
		case 1:
			k.guard(b)
		case 2:
			k.hold(b, second/2, anyScript(t, k, macros)...)
		case 3:
			k.release(b, anyScript(t, k, macros)...)
		}
	}
	for i := range rapid.Int32Range(0, 3).Draw(t, "cues") {
		k.cue("cue", rapid.Int32Range(-1, i-1).Draw(t, "follow"), anyTime(t), anyScript(t, k, macros)...)
	}
	k.variable("standby", program.Standby, -1, len(k.Cues)+1)
	if err := program.Validate(&k.Program); err != nil {
		t.Fatalf("the drawn show: %v", err)
	}
	return &k.Program
}

// shifted moves a script's own addresses by n.
func shifted(code []program.Instr, n int32) []program.Instr {
	for i := range code {
		switch code[i].Op {
		case program.Until, program.Run:
			code[i].B += n
		}
	}
	return code
}

func anyEvent(t *rapid.T, p *program.Program, s *state.State) Event {
	e := Event{Kind: EventKind(rapid.IntRange(0, int(StopAll)).Draw(t, "kind")), At: s.Now}
	draw := func(n int) int32 { return rapid.Int32Range(0, int32(n)-1).Draw(t, "which") }
	switch e.Kind {
	case Down, Up:
		e.A = draw(len(p.Buttons))
	case Go:
		e.A = draw(len(p.Cues)+1) - 1
	case Expire:
		e.A = draw(len(p.Timers))
	case Fault:
		e.A, e.B = draw(len(p.Devices)), draw(int(program.Healths))
	case Observe:
		e.A = draw(len(p.Vars))
		e.B = draw(int(p.Vars[e.A].Size) + 1)
	}
	return e
}

// The laws of Apply, on drawn shows and events: the same state and event give
// the same state and effects, on a used machine and on a new one; every
// variable stays in its domain; no timer is due before now; every task that
// runs rests somewhere; and an event that is not enabled changes no state.
func TestApplyLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyShow(t)
		m := New(p)
		s := m.Start()
		for range rapid.IntRange(1, 30).Draw(t, "events") {
			if rapid.Bool().Draw(t, "wait") {
				m.Advance(s, s.Now+anyTime(t), func(Event, []Effect) {})
			}
			e := anyEvent(t, p, s)
			before := s.Clone()
			fresh, twin := New(p), s.Clone()
			enabled := m.Enabled(s, e)
			effects := m.Apply(s, e, nil)
			if other := fresh.Apply(twin, e, nil); !s.Equal(twin) || !reflect.DeepEqual(effects, other) {
				t.Fatalf("%+v gave two answers", e)
			}
			if !enabled && !s.Equal(before) {
				t.Fatalf("%+v is not enabled and changed the state", e)
			}
			sane(t, m, s)
		}
	})
}

func sane(t *rapid.T, m *Machine, s *state.State) {
	for i, v := range m.P.Vars {
		if got := m.L.Get(s, int32(i)); got >= v.Size {
			t.Fatalf("%s is %d, of %d", v.Name, got, v.Size)
		}
	}
	for i, due := range s.Due {
		if due != state.Off && due < s.Now {
			t.Fatalf("timer %d was due %d before now", i, s.Now-due)
		}
	}
	for _, live := range m.live {
		if live != 0 {
			t.Fatal("a task did not come to rest")
		}
	}
	for i, k := range m.P.Tasks {
		if k.Timer >= 0 && s.Due[k.Timer] != state.Off && m.L.Get(s, k.At) == 0 {
			t.Fatalf("task %d is idle and its timer runs", i)
		}
	}
}

// Time that passes in one go is time that passes in pieces.
func TestAdvanceInPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := anyShow(t)
		m := New(p)
		s := m.Start()
		for range rapid.IntRange(1, 6).Draw(t, "events") {
			m.Apply(s, anyEvent(t, p, s), nil)
		}
		var whole, pieces []Event
		end := s.Now + 5*second
		twin := s.Clone()
		m.Advance(s, end, func(e Event, _ []Effect) { whole = append(whole, e) })
		for twin.Now < end {
			to := twin.Now + rapid.Int64Range(1, 2*second).Draw(t, "piece")
			m.Advance(twin, min(to, end), func(e Event, _ []Effect) { pieces = append(pieces, e) })
		}
		if !s.Equal(twin) || !reflect.DeepEqual(whole, pieces) {
			t.Fatalf("in one go %v, in pieces %v", whole, pieces)
		}
	})
}

// A mix pressed and run to its end, over and over: the hot path of exploring.
func BenchmarkApply(b *testing.B) {
	k := newMaker()
	m := k.macro("m", program.Restart, k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second/2), sleep(second))
	button := k.button(call(m, 2)...)
	for range 100 {
		k.button(k.do(program.CutTo, 0, pickWide))
	}
	waits := k.button(program.Instr{Op: program.Until, A: k.is(k.Banks[0].Program, uint32(pickBlack)), B: 1})
	k.variable("standby", program.Standby, -1, 1)
	x := New(&k.Program)
	s := x.Start()
	x.Apply(s, Event{Kind: Down, A: waits}, nil)
	var effects []Effect
	events := 0
	b.ReportAllocs()
	for b.Loop() {
		effects = x.Apply(s, Event{Kind: Down, A: button, At: s.Now}, effects[:0])
		events++
		x.Advance(s, s.Now+2*second, func(Event, []Effect) { events++ })
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(events), "ns/event")
}

// A cut from a button of one instruction: the commonest press of all.
func BenchmarkCut(b *testing.B) {
	k := newMaker()
	cuts := [2]int32{k.button(k.do(program.CutTo, 0, pickWide)), k.button(k.do(program.CutTo, 0, pickGoal))}
	for range 100 {
		k.button(k.do(program.CutTo, 0, pickDeck))
	}
	k.variable("standby", program.Standby, -1, 1)
	x := New(&k.Program)
	s := x.Start()
	var effects []Effect
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		effects = x.Apply(s, Event{Kind: Down, A: cuts[i&1], At: s.Now}, effects[:0])
	}
}
