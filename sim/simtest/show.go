package simtest

import (
	"fmt"

	"cuewright/macro/program"
	"cuewright/sim/step"

	"pgregory.net/rapid"
)

// Show adds a random small show to a rack: macros that run each other, with
// branches; buttons; cues. Every verb that a show can do to pictures and
// machines is drawn.
func Show(t *rapid.T, m *Maker) {
	m.Done(t) // the sizes of variables, for conditions
	w := &writer{t: t, m: m}
	for i := range rapid.IntRange(0, 3).Draw(t, "macros") {
		var branches []int32
		for b := range rapid.IntRange(0, 2).Draw(t, "branches") {
			branches = append(branches, m.Task(program.BranchTask, 0, program.Ignore, fmt.Sprintf("macro%d branch %d", i, b), w.script()...))
		}
		var start []program.Instr
		for _, b := range branches {
			start = append(start, program.Instr{Op: program.Run, A: b, B: int32(len(start) + 1)})
		}
		for _, b := range branches {
			start = append(start, program.Instr{Op: program.Join, A: b})
		}
		again := rapid.SampledFrom([]uint8{program.Ignore, program.Restart, program.Queue}).Draw(t, "again")
		w.macros = append(w.macros, m.Macro(fmt.Sprint("macro", i), again, w.after(start)...))
	}
	for i := range rapid.IntRange(1, 5).Draw(t, "buttons") {
		m.Button(fmt.Sprint("button ", i), w.script()...)
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "cues") {
		cue := m.Cue(fmt.Sprint(i+1), w.script()...)
		if by := program.MomentKind(rapid.IntRange(0, 2).Draw(t, "moment")); by != program.NoMoment {
			m.P.Cues[cue].By, m.P.Cues[cue].Moment = by, int64(cue)
		}
	}
	m.P.Vars[m.P.StandbyVar()].Size = uint32(len(m.P.Cues) + 1)
}

// writer draws scripts.
type writer struct {
	t      *rapid.T
	m      *Maker
	macros []int32 // tasks that may be run
}

func (w *writer) below(n int, what string) int32 {
	return int32(rapid.IntRange(0, n-1).Draw(w.t, what))
}
func (w *writer) time() int64 { return Second / 4 * int64(rapid.IntRange(0, 8).Draw(w.t, "quarters")) }

func (w *writer) script() []program.Instr { return w.after(nil) }

// after draws a script that goes on after some instructions.
func (w *writer) after(code []program.Instr) []program.Instr {
	for range rapid.IntRange(0, 6).Draw(w.t, "statements") {
		at := int32(len(code))
		switch rapid.IntRange(0, 9).Draw(w.t, "statement") {
		case 0, 1:
			code = append(code, program.Instr{Op: program.Sleep, Micros: w.time()})
		case 2:
			code = append(code, program.Instr{Op: program.Until, A: w.cond(), B: at + 1, C: w.below(2, "expect"), Micros: w.time()})
		case 3:
			code = append(code, program.Instr{Op: program.Unless, A: w.cond(), B: at + 2}, w.action())
		case 4:
			if len(w.macros) > 0 {
				task := rapid.SampledFrom(w.macros).Draw(w.t, "macro")
				code = append(code, program.Instr{Op: program.Run, A: task, B: at + 2}, program.Instr{Op: program.Join, A: task})
			}
		case 5:
			code = append(code, program.Instr{Op: program.GoCue, A: -1})
		default:
			code = append(code, w.action())
		}
	}
	return code
}

// picture is the node of a source or of a bank's output.
func (w *writer) picture() int32 {
	p := &w.m.P
	i := int(w.below(len(p.Sources)-1+len(p.Banks), "picture"))
	if i < len(p.Banks) {
		return p.Banks[i].Node
	}
	return p.Sources[1+i-len(p.Banks)].Node
}

func (w *writer) cond() int32 {
	v := w.below(len(w.m.P.Vars), "variable")
	return w.m.Is(v, rapid.Uint32Range(0, max(w.m.P.Vars[v].Size, 1)-1).Draw(w.t, "value"))
}

// action draws an action that the rack can do. A verb without a thing to do
// it to is drawn again as a cut.
func (w *writer) action() program.Instr {
	p := &w.m.P
	verb := program.Verb(rapid.IntRange(int(program.CutTo), int(program.Protect)).Draw(w.t, "verb"))
	bank := w.below(len(p.Banks), "bank")
	pick := func() int32 { return w.below(len(p.Banks[bank].Picks), "pick") }
	switch verb {
	case program.PresetTo:
		return w.m.Do(verb, bank, pick(), 0)
	case program.Take:
		return w.m.Do(verb, bank, 0, 0)
	case program.Mix, program.Wipe:
		return w.m.Do(verb, bank, 0, w.time())
	case program.Fade:
		return w.m.Do(verb, bank, w.below(2, "to black"), w.time())
	case program.KeyTo:
		if len(p.Keyers) > 0 {
			return w.m.Do(verb, w.below(len(p.Keyers), "keyer"), w.below(2, "on"), 0)
		}
	case program.Route:
		return w.m.Do(verb, w.below(len(p.Destinations), "to"), w.picture(), 0)
	case program.RouteTie:
		if len(p.Ties) > 0 {
			return w.m.Do(verb, w.below(len(p.Ties), "tie"), w.picture(), 0)
		}
	case program.Load, program.Recall, program.Protect:
		return w.m.Do(verb, 0, w.below(2, "second"), 0)
	case program.Play, program.Pause, program.StopDeck, program.Record, program.StopRecorder, program.Start, program.StopEncoder:
		return w.m.Do(verb, 0, 0, 0)
	}
	return w.m.Do(program.CutTo, bank, pick(), 0)
}

// Events draws what happens to a show from outside: presses, go and faults,
// each with the time since the one before.
func Events(t *rapid.T, p *program.Program) (events []step.Event, gaps []int64) {
	for range rapid.IntRange(1, 40).Draw(t, "events") {
		e := step.Event{Kind: step.Go, A: -1}
		switch kind := rapid.IntRange(0, 9).Draw(t, "event"); {
		case kind == 0:
			e = step.Event{Kind: step.Fault, A: int32(rapid.IntRange(0, len(p.Devices)-1).Draw(t, "device")), B: int32(rapid.IntRange(0, int(program.Healths)-1).Draw(t, "health"))}
		case kind == 1 && len(p.Cues) > 0:
			cue := rapid.IntRange(0, len(p.Cues)-1).Draw(t, "cue")
			if e.A = int32(cue); p.Cues[cue].By != program.NoMoment {
				e.Kind = step.Moment
			}
		case kind < 8 && len(p.Buttons) > 0:
			e = step.Event{Kind: step.Down, A: int32(rapid.IntRange(0, len(p.Buttons)-1).Draw(t, "button"))}
		}
		events = append(events, e)
		gaps = append(gaps, Second/8*int64(rapid.IntRange(0, 12).Draw(t, "eighths")))
	}
	return events, gaps
}
