package simtest

import "cuewright/macro/program"

// Task adds a script and an End after it. The addresses in B count from the
// script's own first instruction. A branch belongs to the next task that is
// not one; a task must stand after those that it runs.
func (m *Maker) Task(kind program.TaskKind, owner int, again uint8, name string, code ...program.Instr) int32 {
	t, from := len(m.P.Tasks), int32(len(m.P.Code))
	x := program.Task{Name: name, Kind: kind, Owner: int32(owner), Again: again, Entries: []int32{from}, Args: []string{""},
		At: -1, Queued: -1, Timer: -1, Failed: m.Var(name+".failed", program.TaskFailed, t, 2), Place: Place(1 + t)}
	timed := false
	for i, in := range append(code, program.Instr{Op: program.End}) {
		switch in.Op {
		case program.Until, program.Unless, program.Jump, program.Run:
			in.B += from
		}
		if in.Op == program.Sleep || in.Op == program.Join || in.Op == program.Until && (in.C == 0 || in.Micros > 0) {
			x.Rests = append(x.Rests, from+int32(i))
			timed = timed || in.Op == program.Sleep || in.Micros > 0
		}
		in.At = x.Place
		m.P.Code = append(m.P.Code, in)
	}
	if len(x.Rests) > 0 {
		x.At = m.Var(name+".at", program.TaskAt, t, len(x.Rests)+1)
	}
	if timed {
		x.Timer = m.Timer(program.TaskTimer, t)
	}
	if again == program.Queue {
		x.Queued = m.Var(name+".queued", program.TaskQueued, t, 2)
	}
	m.P.Tasks = append(m.P.Tasks, x)
	if kind == program.BranchTask {
		m.branches = append(m.branches, int32(t))
		return int32(t)
	}
	for _, b := range m.branches {
		m.P.Tasks[b].Owner = int32(t)
	}
	m.branches = nil
	return int32(t)
}

// Macro adds a macro and gives its task.
func (m *Maker) Macro(name string, again uint8, code ...program.Instr) int32 {
	t := m.Task(program.MacroTask, len(m.P.Macros), again, name, code...)
	m.P.Macros = append(m.P.Macros, program.Macro{Name: name, Task: t, At: Place(int(1 + t))})
	return t
}

// Button adds a button with a press script to the one page, and gives the
// button. The first one makes the page, on a surface of its own.
func (m *Maker) Button(label string, code ...program.Instr) int32 {
	if len(m.P.Pages) == 0 {
		m.P.Pages = []program.Page{{Name: "page", At: Place(900)}}
		m.P.Surfaces = []program.Surface{{Name: "desk", Rows: 8, Columns: 8, Pages: []int32{0}, Page: m.Var("desk.page", program.SurfacePage, 0, 1), At: Place(901)}}
	}
	i := len(m.P.Buttons)
	m.P.Buttons = append(m.P.Buttons, program.Button{Row: int32(i/8 + 1), Column: int32(i%8 + 1), Label: label, Hold: -1, Release: -1,
		Down: -1, Cover: -1, HoldTimer: -1, CoverTimer: -1, Lit: -1, Air: -1, At: Place(910 + i)})
	m.P.Buttons[i].Press = m.Task(program.PressTask, i, program.Ignore, label, code...)
	m.P.Pages[0].Buttons = append(m.P.Pages[0].Buttons, int32(i))
	return int32(i)
}

// Cue adds a cue that follows no other, and gives the cue.
func (m *Maker) Cue(number string, code ...program.Instr) int32 {
	i := len(m.P.Cues)
	t := m.Task(program.CueTask, i, program.Ignore, "cue "+number, code...)
	m.P.Cues = append(m.P.Cues, program.Cue{Number: number, Label: number, Task: t, Follow: -1, FollowVar: -1, Timer: -1, At: Place(int(1 + t))})
	return int32(i)
}

// Do is an instruction that does one action.
func (m *Maker) Do(verb program.Verb, a, b int32, micros int64) program.Instr {
	act := program.Action{Verb: verb, A: a, B: b, Micros: micros, Device: m.carrier(verb, a), At: Place(1 + len(m.P.Tasks))}
	m.P.Actions = append(m.P.Actions, act)
	return program.Instr{Op: program.Do, A: int32(len(m.P.Actions) - 1)}
}

// carrier is the device that carries out an action; routes go to several.
func (m *Maker) carrier(verb program.Verb, a int32) int32 {
	switch verb {
	case program.Route, program.RouteTie, program.Protect:
		return -1
	case program.Load, program.Play, program.Pause, program.StopDeck:
		return m.P.Decks[a].Device
	case program.Record, program.StopRecorder:
		return m.P.Recorders[a].Device
	case program.Start, program.StopEncoder:
		return m.P.Encoders[a].Device
	case program.Recall:
		return m.P.Cameras[a].Device
	}
	return 0
}

// Is is the condition that a variable has one of the values.
func (m *Maker) Is(v int32, values ...uint32) int32 {
	set := make([]uint32, (m.P.Vars[v].Size+31)/32)
	for _, x := range values {
		set[x/32] |= 1 << (x % 32)
	}
	m.P.Sets = append(m.P.Sets, set)
	m.P.Conds = append(m.P.Conds, program.Cond{Op: program.In, A: v, B: int32(len(m.P.Sets) - 1)})
	return int32(len(m.P.Conds) - 1)
}
