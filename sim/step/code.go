package step

import "cuewright/macro/program"

// obey does one instruction of a task.
func (m *Machine) obey(task, at int32) {
	in := &m.P.Code[at]
	m.pc[task] = at + 1
	switch in.Op {
	case program.End:
		m.finish(task)
	case program.Do:
		m.act(work{task: task, instr: at, action: in.A})
	case program.Fire:
		m.group++
		for _, a := range m.P.Salvos[in.A].Actions {
			m.act(work{task: task, instr: at, action: a, group: m.group})
		}
	case program.Sleep:
		if in.Micros > 0 {
			m.rest(task, at, in.Micros)
		}
	case program.Until:
		m.until(task, at)
	case program.Unless:
		if !m.holds(in.A) {
			m.pc[task] = in.B
		}
	case program.Jump:
		m.pc[task] = in.B
	case program.Run:
		if !m.launch(in.A, in.C, task) {
			m.pc[task] = in.B
		}
	case program.Join:
		if m.running(in.A) {
			m.rest(task, at, 0)
		}
	case program.Alert:
		m.tell(Alerted, task, at)
	case program.Note:
		m.tell(Noted, task, at)
	case program.Abandon:
		if in.A >= 0 {
			m.tell(Alerted, task, at)
		}
		m.mark(m.P.Tasks[task].Failed, 1)
		m.finish(task)
	case program.Fail:
		m.mark(m.P.Tasks[task].Failed, 1)
	case program.GoCue:
		m.goCue(in.A, task)
	case program.Turn:
		m.set(m.P.Surfaces[in.A].Page, uint32(in.B))
	}
}

// until begins a wait for a condition, unless it holds already. An
// expectation without a time is decided at once.
func (m *Machine) until(task, at int32) {
	in := &m.P.Code[at]
	switch {
	case m.holds(in.A):
		m.came(task, at)
	case in.C == 1 && in.Micros <= 0:
		m.late(task, at)
	default:
		m.rest(task, at, in.Micros)
	}
}

// came is a condition that holds.
func (m *Machine) came(task, at int32) {
	m.out = append(m.out, Effect{Kind: Came, Task: task, Action: -1, Instr: at, Device: -1})
}

// late is a condition that did not come true in its time.
func (m *Machine) late(task, at int32) {
	in := &m.P.Code[at]
	kind := Timed
	if in.C == 1 {
		kind = Missed
		m.mark(m.P.Tasks[task].Failed, 1)
	}
	m.out = append(m.out, Effect{Kind: kind, Task: task, Action: -1, Instr: at, Device: -1})
	m.goOn(task, in.B)
}

// tell says a text of the show.
func (m *Machine) tell(kind EffectKind, task, at int32) {
	m.out = append(m.out, Effect{Kind: kind, Task: task, Action: -1, Instr: at, Device: -1,
		Text: m.P.Texts[m.P.Code[at].A]})
}
