package lower

import (
	"slices"

	"cuewright/macro/bug"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// lowerTasks makes the tasks and their code.
func (l *lowerer) lowerTasks() {
	l.p.Tasks = slices.Grow(l.p.Tasks, len(l.order))
	l.p.Vars = slices.Grow(l.p.Vars, 2*len(l.order)) // each has failed, most no more
	l.p.Actions = slices.Grow(l.p.Actions, len(l.order))
	l.p.Code = slices.Grow(l.p.Code, 3*len(l.order)) // most do a thing and end
	for i, s := range l.order {
		t := program.Task{Name: s.name, Kind: s.kind, Owner: s.of, Again: s.again, At: -1, Queued: -1, Timer: -1, Place: l.place(s.at)}
		t.Failed = l.variable(program.TaskFailed, int32(i), s.name+".failed", 2, 0)
		l.p.Tasks = append(l.p.Tasks, t)
	}
	for i, s := range l.order {
		if s.owner != nil {
			l.p.Tasks[i].Owner = s.owner.task
		}
		l.lowerTask(&l.p.Tasks[i], s)
	}
}

// lowerTask writes a task's code once for each set of arguments.
func (l *lowerer) lowerTask(t *program.Task, s *script) {
	first := int32(len(l.p.Code))
	for _, b := range s.bound {
		t.Entries = append(t.Entries, int32(len(l.p.Code)))
		t.Args = append(t.Args, b.text)
		w := writer{lowerer: l, script: s, bound: b}
		w.statements(s.body)
		w.put(program.End, s.at, 0, 0, 0, 0)
	}
	timed := false
	for at := first; int(at) < len(l.p.Code); at++ {
		if in := l.p.Code[at]; in.Rests() {
			t.Rests = append(t.Rests, at)
			timed = timed || in.Op == program.Sleep || in.Micros > 0
		}
	}
	if len(t.Rests) > 0 {
		t.At = l.variable(program.TaskAt, s.task, s.name+".at", len(t.Rests)+1, 0)
	}
	if s.again == program.Queue {
		t.Queued = l.variable(program.TaskQueued, s.task, s.name+".queued", len(t.Entries)+1, 0)
	}
	if timed {
		t.Timer = l.timer(program.TaskTimer, s.task)
	}
}

// writer writes the code of one entry of one script.
type writer struct {
	*lowerer
	script *script
	bound  *binding
}

// put adds an instruction and gives its address.
func (w *writer) put(op program.Op, at source.Span, a, b, c int32, micros int64) int32 {
	w.p.Code = append(w.p.Code, program.Instr{Op: op, A: a, B: b, C: c, Micros: micros, At: w.place(at)})
	return int32(len(w.p.Code) - 1)
}

// here lets an instruction go to what comes next.
func (w *writer) here(instr int32) { w.p.Code[instr].B = int32(len(w.p.Code)) }

func (w *writer) statements(list []syntax.Statement) {
	for _, st := range list {
		w.statement(st)
	}
}

func (w *writer) block(b *syntax.Block) {
	if b != nil {
		w.statements(b.Statements)
	}
}

func (w *writer) statement(st syntax.Statement) {
	switch st := st.(type) {
	case *syntax.Action:
		for _, a := range w.actions(st, w.bound) {
			w.put(program.Do, st.At, w.action(a), 0, 0, 0)
		}
	case *syntax.Wait:
		w.put(program.Sleep, st.At, 0, 0, 0, w.micros(w.bound.operand(st.Time).Text))
	case *syntax.Until:
		w.until(st)
	case *syntax.If:
		w.branchOff(st)
	case *syntax.Together:
		w.together(st)
	case *syntax.Run:
		w.run(st)
	case *syntax.Say:
		w.say(st)
	case *syntax.Go:
		w.put(program.GoCue, st.At, w.cue(st.Cue), 0, 0, 0)
	case *syntax.Turn:
		surface, page := w.turn(st)
		w.put(program.Turn, st.At, surface, page, 0, 0)
	case *syntax.Block:
		w.block(st)
	case *syntax.Allow:
		w.allow(st, w.script.task, -1)
	default:
		bug.Report("no code for a statement of type %T", st)
	}
}

// until is a wait for a condition, and an expectation: one that has failed
// and goes on.
func (w *writer) until(st *syntax.Until) {
	limit, expect := int64(0), int32(0)
	if st.Within.Kind != syntax.Bad {
		limit = w.micros(w.bound.operand(st.Within).Text)
	}
	if st.Expect {
		expect = 1
	}
	wait := w.put(program.Until, st.At, w.condition(st.Cond, w.bound), 0, expect, limit)
	if !st.Expect && st.Else == nil {
		w.here(wait)
		return
	}
	came := w.put(program.Jump, st.At, 0, 0, 0, 0)
	w.here(wait)
	if st.Expect {
		w.put(program.Fail, st.At, 0, 0, 0, 0)
	}
	w.block(st.Else)
	w.here(came)
}

func (w *writer) branchOff(st *syntax.If) {
	unless := w.put(program.Unless, st.Cond.At, w.condition(st.Cond, w.bound), 0, 0, 0)
	w.block(st.Then)
	if st.Else == nil {
		w.here(unless)
		return
	}
	over := w.put(program.Jump, st.At, 0, 0, 0, 0)
	w.here(unless)
	w.block(st.Else)
	w.here(over)
}

// together starts every branch and then waits for each.
func (w *writer) together(st *syntax.Together) {
	for _, other := range st.Body.Statements {
		if a, ok := other.(*syntax.Allow); ok {
			w.allow(a, w.script.task, -1)
		}
	}
	branches := branchesOf(st)
	for _, b := range branches {
		s := w.scripts.branches[b]
		w.here(w.put(program.Run, b.Span(), s.task, 0, s.entry(w.bound), 0))
	}
	for _, b := range branches {
		w.put(program.Join, b.Span(), w.scripts.branches[b].task, 0, 0, 0)
	}
}

// run starts a macro and waits for its end, or fires a salvo.
func (w *writer) run(st *syntax.Run) {
	if salvo := w.info.Salvos[st.Name.Text]; salvo != nil {
		w.put(program.Fire, st.At, w.salvoAt[salvo], 0, 0, 0)
		for _, inside := range salvo.Body.Statements {
			if a, ok := inside.(*syntax.Allow); ok {
				w.allow(a, w.script.task, -1)
			}
		}
		return
	}
	m := w.info.Macros[st.Name.Text]
	s := w.macros[m]
	run := w.put(program.Run, st.At, s.task, 0, s.entry(w.bound.bind(m, st.Args)), 0)
	w.put(program.Join, st.At, s.task, 0, 0, 0)
	w.here(run)
}

func (w *writer) say(st *syntax.Say) {
	op, words := program.Abandon, int32(-1)
	switch st.Verb {
	case "alert":
		op = program.Alert
	case "note":
		op = program.Note
	}
	if said := w.bound.operand(st.Text); said.Kind == syntax.String {
		words = w.words(said.Text)
	}
	w.put(op, st.At, words, 0, 0, 0)
}

// cue is the index of a cue by its number, or -1 where none is named.
func (l *lowerer) cue(number syntax.Name) int32 {
	if number.Text == "" {
		return -1
	}
	return int32(l.info.Cues[number.Text])
}
