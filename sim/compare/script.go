package compare

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/program"
)

// line is one line of what a script does, and where it is written.
type line struct {
	text string
	at   program.Place
}

// writer writes the code of a script as lines, with its blocks as the language
// has them. Jumps that no statement makes are written as how far they go.
type writer struct {
	*version
	out   []line
	depth int
	deep  int // macros written in the place of their runs, one in the other
}

// deepest is how many macros are written out one in the other.
const deepest = 8

// script is what one entry of a task does.
func (v *version) script(task, entry int32) []line {
	w := writer{version: v}
	w.task(task, entry)
	return w.out
}

func (w *writer) task(task, entry int32) {
	from, to := w.p.CodeOfEntry(task, entry)
	if to > from && w.p.Code[to-1].Op == program.End {
		to--
	}
	w.block(from, to)
}

func (w *writer) put(at program.Place, format string, args ...any) {
	w.out = append(w.out, line{strings.Repeat("  ", w.depth) + fmt.Sprintf(format, args...), at})
}

// inside writes a block one step further in.
func (w *writer) inside(from, to int32) {
	w.depth++
	w.block(from, to)
	w.depth--
}

func (w *writer) block(from, to int32) {
	for at := from; at < to; {
		at = max(at+1, w.statement(at, to))
	}
}

// statement writes what begins at an address and gives where the next begins.
func (w *writer) statement(at, to int32) int32 {
	in := &w.p.Code[at]
	switch in.Op {
	case program.Do:
		w.put(in.At, "%s", w.action(in.A))
	case program.Fire:
		w.fire(in)
	case program.Sleep:
		w.put(in.At, "wait %s", w.length(in.Micros))
	case program.Until:
		return w.until(at, to)
	case program.Unless:
		return w.branch(at, to)
	case program.Jump:
		w.put(in.At, "go on %d further", in.B-at)
	case program.Run:
		return w.run(at, to)
	case program.Join:
		w.put(in.At, "wait for %s to end", w.macro(in.A))
	case program.Alert:
		w.put(in.At, "alert %q", w.p.Texts[in.A])
	case program.Note:
		w.put(in.At, "note %q", w.p.Texts[in.A])
	case program.Abandon:
		if in.A < 0 {
			w.put(in.At, "abandon")
		} else {
			w.put(in.At, "abandon %q", w.p.Texts[in.A])
		}
	case program.Fail:
		w.put(in.At, "fail")
	case program.GoCue:
		if in.A < 0 {
			w.put(in.At, "go")
		} else {
			w.put(in.At, "go %s", w.cue(in.A))
		}
	case program.Turn:
		w.put(in.At, "page %s to %s", w.p.Surfaces[in.A].Name, w.page(w.p.Surfaces[in.A].Pages[in.B]))
	case program.End:
		w.put(in.At, "end")
	}
	return at + 1
}

// fire names a salvo that both versions have, and writes out another.
func (w *writer) fire(in *program.Instr) {
	if name, ok := w.salvos[in.A]; ok {
		w.put(in.At, "run %s", name)
		return
	}
	lines := w.salvo(in.A)
	if len(lines) == 1 {
		w.put(lines[0].at, "%s", lines[0].text)
		return
	}
	w.put(in.At, "all at once {")
	for _, l := range lines {
		w.put(l.at, "  %s", l.text)
	}
	w.put(in.At, "}")
}

func (w *writer) until(at, to int32) int32 {
	in := &w.p.Code[at]
	text := "wait until "
	if in.C == 1 {
		text = "expect "
	}
	text += w.cond(in.A)
	if in.Micros > 0 {
		text += " within " + w.length(in.Micros)
	}
	if in.B == at+1 {
		w.put(in.At, "%s", text)
		return at + 1
	}
	over := at + 1
	if in.B != at+2 || w.p.Code[over].Op != program.Jump || w.p.Code[over].B > to {
		w.put(in.At, "%s, else go on %d further", text, in.B-at)
		return at + 1
	}
	from, end := in.B, w.p.Code[over].B
	if in.C == 1 && from < end && w.p.Code[from].Op == program.Fail {
		from++ // an expectation that is missed fails: that is what it is
	}
	if from >= end {
		w.put(in.At, "%s", text)
		return end
	}
	w.put(in.At, "%s else {", text)
	w.inside(from, end)
	w.put(in.At, "}")
	return end
}

func (w *writer) branch(at, to int32) int32 {
	in := &w.p.Code[at]
	if in.B > to || in.B <= at {
		w.put(in.At, "unless %s go on %d further", w.cond(in.A), in.B-at)
		return at + 1
	}
	w.put(in.At, "if %s {", w.cond(in.A))
	end := in.B
	if last := &w.p.Code[in.B-1]; in.B-1 > at && last.Op == program.Jump && last.B >= in.B && last.B <= to {
		w.inside(at+1, in.B-1)
		if last.B > in.B {
			w.put(in.At, "} else {")
			w.inside(in.B, last.B)
		}
		end = last.B
	} else {
		w.inside(at+1, in.B)
	}
	w.put(in.At, "}")
	return end
}

// run writes a macro's run, the macro itself where only this version has it
// and it makes no difference, and the branches of together.
func (w *writer) run(at, to int32) int32 {
	in := &w.p.Code[at]
	task := &w.p.Tasks[in.A]
	if task.Kind == program.BranchTask && in.B == at+1 {
		return w.together(at, to)
	}
	waits := at+1 < to && in.B == at+2 && w.p.Code[at+1].Op == program.Join && w.p.Code[at+1].A == in.A
	if waits && w.deep < deepest && w.blends(in.A) {
		w.deep++
		w.task(in.A, in.C)
		w.deep--
		return at + 2
	}
	text := "run " + w.macro(in.A)
	if args := argValues(task.Args[in.C]); args != "" {
		text += "(" + args + ")"
	}
	if waits {
		w.put(in.At, "%s", text)
		return at + 2
	}
	w.put(in.At, "%s, and not wait for it", text)
	return at + 1
}

func (w *writer) together(at, to int32) int32 {
	first := at
	w.put(w.p.Code[at].At, "together {")
	w.depth++
	for at < to && w.p.Code[at].Op == program.Run && w.p.Code[at].B == at+1 && w.p.Tasks[w.p.Code[at].A].Kind == program.BranchTask {
		in := &w.p.Code[at]
		w.put(in.At, "at once {")
		w.depth++
		w.task(in.A, in.C)
		w.depth--
		w.put(in.At, "}")
		at++
	}
	w.depth--
	w.put(w.p.Code[first].At, "}")
	for n := at - first; n > 0 && at < to && w.p.Code[at].Op == program.Join; n-- {
		at++
	}
	return at
}

// blends says whether a macro that the other version does not have makes no
// difference to writing its statements where it is run: it is not asked for,
// does not abandon, and cannot be running when it is run, because it runs in
// one go or from one place only.
func (v *version) blends(task int32) bool {
	t := &v.p.Tasks[task]
	if _, both := v.macros[task]; both || t.Again != program.Ignore {
		return false
	}
	for _, c := range v.p.Conds {
		if c.Op == program.Running && c.A == task || c.Op == program.In && c.A == t.Failed {
			return false
		}
	}
	runs, restarts := 0, false
	for owner := range v.p.Tasks {
		for e := range v.p.Tasks[owner].Entries {
			from, to := v.p.CodeOfEntry(int32(owner), int32(e))
			for _, in := range v.p.Code[from:to] {
				if int32(owner) == task && in.Op == program.Abandon {
					return false
				}
				if in.Op == program.Run && in.A == task {
					runs++
					restarts = restarts || v.p.Tasks[owner].Again != program.Ignore
				}
			}
		}
	}
	return len(t.Rests) == 0 || runs == 1 && !restarts
}

// press is all that a button does when it is pressed, held and let go.
func (v *version) press(button int32) []line {
	b := &v.p.Buttons[button]
	var out []line
	part := func(task int32, head string) {
		if task < 0 {
			return
		}
		indent := ""
		if head != "" {
			out = append(out, line{head, b.At})
			indent = "  "
		}
		for _, l := range v.script(task, 0) {
			out = append(out, line{indent + l.text, l.at})
		}
	}
	part(b.Press, "")
	part(b.Hold, "held for "+v.length(b.HoldAfter)+":")
	part(b.Release, "let go:")
	return out
}

// lamps are the lamp states that a button's show text says.
func (v *version) lamps(button int32) []line {
	var out []line
	for _, l := range v.p.Buttons[button].Lamps {
		out = append(out, line{"lamp " + l.State + " when " + v.cond(l.Cond), v.p.Buttons[button].At})
	}
	return out
}

func text(lines []line) string {
	var b strings.Builder
	for _, l := range lines {
		b.WriteString(strconv.Quote(l.text))
	}
	return b.String()
}
