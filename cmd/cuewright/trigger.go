package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/nearest"
	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// trigger is the one thing of a show that a command sets off: a button, a cue
// or a macro.
type trigger struct {
	button, cue, macro string
	hold               bool
}

func (t *trigger) flags(c *cobra.Command) {
	c.Flags().StringVar(&t.button, "button", "", "the button, as `\"PAGE ROW.COLUMN\"`")
	c.Flags().BoolVar(&t.hold, "hold", false, "hold the button instead of tapping it")
	c.Flags().StringVar(&t.cue, "cue", "", "the cue, as `NUMBER`")
	c.Flags().StringVar(&t.macro, "macro", "", "the macro, as `NAME`, or \"NAME(VALUES)\" where it is run in several ways")
	completeFlag(c, "button", buttonPlaces, 0)
	completeFlag(c, "cue", cueNumbers, 0)
	completeFlag(c, "macro", macroNames, 0)
}

func (t *trigger) given() int {
	n := 0
	for _, s := range []string{t.button, t.cue, t.macro} {
		if s != "" {
			n++
		}
	}
	return n
}

// one demands that exactly one thing is given.
func (t *trigger) one(c *cobra.Command) error {
	switch n := t.given(); {
	case n == 0:
		return &mistake{what: fmt.Sprintf("`%s` needs --button, --cue or --macro", c.CommandPath()), mend: "for example: " + firstExample(c)}
	case n > 1:
		return &mistake{what: "--button, --cue and --macro cannot go together", mend: "give one of them"}
	case t.hold && t.button == "":
		return &mistake{word: "--hold", what: "only a button can be held", mend: "add --button \"PAGE ROW.COLUMN\""}
	}
	return nil
}

// walk is a trigger found in a program, ready to be set off: name is what is
// set off in people's words, begin does it, end lifts the finger.
type walk struct {
	name  string
	m     *step.Machine
	s     *state.State
	begin func(do func(step.Event))
	end   func(do func(step.Event)) // when nothing moves any more; may be nil
}

// find looks a trigger up.
func (t *trigger) find(p *program.Program) (*walk, error) {
	switch {
	case t.button != "":
		return t.findButton(p)
	case t.cue != "":
		return t.findCue(p)
	}
	return t.findMacro(p)
}

func (t *trigger) findButton(p *program.Program) (*walk, error) {
	b, err := buttonAt(p, t.button)
	if err != nil {
		err.word = "--button"
		return nil, err
	}
	m := step.New(p)
	s := m.Start()
	turnTo(m, s, b)
	button := &p.Buttons[b]
	name := fmt.Sprintf("button %s %d.%d %q", p.Pages[button.Page].Name, button.Row, button.Column, button.Label)
	w := &walk{name: name, m: m, s: s, begin: func(do func(step.Event)) { press(p, b, t.hold, do) }}
	if t.hold {
		w.end = func(do func(step.Event)) { do(step.Event{Kind: step.Up, A: b}) }
	}
	return w, nil
}

// press does what a finger does to fire a button: it opens a cover first.
func press(p *program.Program, b int32, hold bool, do func(step.Event)) {
	if p.Buttons[b].Guarded {
		do(step.Event{Kind: step.Down, A: b})
		do(step.Event{Kind: step.Up, A: b})
	}
	do(step.Event{Kind: step.Down, A: b})
	if !hold {
		do(step.Event{Kind: step.Up, A: b})
	}
}

// buttonAt finds a button by "PAGE ROW.COLUMN".
func buttonAt(p *program.Program, text string) (int32, *mistake) {
	words := strings.Fields(text)
	if len(words) != 2 {
		return -1, &mistake{what: fmt.Sprintf("`%s` is not a page and a place", text), mend: "write it as \"cameras 2.1\""}
	}
	var pages, places []string
	for i, page := range p.Pages {
		pages = append(pages, page.Name)
		if page.Name != words[0] {
			continue
		}
		for _, b := range p.Pages[i].Buttons {
			place := fmt.Sprintf("%d.%d", p.Buttons[b].Row, p.Buttons[b].Column)
			if place == words[1] {
				return b, nil
			}
			places = append(places, place)
		}
		return -1, &mistake{what: fmt.Sprintf("page `%s` has no button `%s`", words[0], words[1]), mend: there(places)}
	}
	return -1, &mistake{what: fmt.Sprintf("there is no page `%s`", words[0]), mend: there(pages)}
}

// there says in a mend what there is, not all of a long list.
func there(names []string) string {
	const shown = 12
	n := len(names)
	switch {
	case n == 0:
		return "there is none"
	case n == 1:
		return "there is `" + names[0] + "`"
	case n > shown:
		return "there are `" + strings.Join(names[:shown], "`, `") + "` and " + strconv.Itoa(n-shown) + " more"
	}
	return "there are `" + strings.Join(names[:n-1], "`, `") + "` and `" + names[n-1] + "`"
}

// turnTo makes the first surface that can show a button's page show it.
func turnTo(m *step.Machine, s *state.State, b int32) {
	if m.Showing(s, b) {
		return
	}
	for _, surface := range m.P.Surfaces {
		if i := slices.Index(surface.Pages, m.P.Buttons[b].Page); i >= 0 {
			m.L.Set(s, surface.Page, uint32(i))
			return
		}
	}
}

func (t *trigger) findCue(p *program.Program) (*walk, error) {
	var numbers []string
	for i, c := range p.Cues {
		numbers = append(numbers, c.Number)
		if c.Number == t.cue {
			return goWalk(p, int32(i), fmt.Sprintf("cue %s %q", c.Number, c.Label)), nil
		}
	}
	return nil, &mistake{word: "--cue", what: fmt.Sprintf("there is no cue `%s`", t.cue), mend: there(numbers)}
}

func goWalk(p *program.Program, cue int32, name string) *walk {
	m := step.New(p)
	return &walk{name: name, m: m, s: m.Start(), begin: func(do func(step.Event)) { do(step.Event{Kind: step.Go, A: cue}) }}
}

func (t *trigger) findMacro(p *program.Program) (*walk, error) {
	name, values, _ := strings.Cut(t.macro, "(")
	values = strings.TrimSuffix(values, ")")
	var names []string
	for _, macro := range p.Macros {
		names = append(names, macro.Name)
		if macro.Name != strings.TrimSpace(name) {
			continue
		}
		task := &p.Tasks[macro.Task]
		if len(task.Entries) == 0 {
			return nil, &mistake{word: "--macro", what: fmt.Sprintf("nothing in the show runs the macro `%s`", macro.Name),
				mend: "run it from a button or a cue"}
		}
		for i := range task.Entries {
			args := ""
			if i < len(task.Args) {
				args = task.Args[i]
			}
			if len(task.Entries) == 1 && values == "" || bare(args) == bare(values) {
				return macroWalk(p, macro, int32(i), args), nil
			}
		}
		return nil, &mistake{word: "--macro", what: fmt.Sprintf("the macro `%s` is run with other values", macro.Name),
			mend: "write " + ways(macro.Name, task.Args)}
	}
	return nil, &mistake{word: "--macro", what: fmt.Sprintf("there is no macro `%s`", name), mend: there(names)}
}

// ways are the ways in which a macro is run.
func ways(name string, args []string) string {
	const shown = 4
	var out []string
	for _, a := range args[:min(shown, len(args))] {
		out = append(out, name+"("+a+")")
	}
	return nearest.Quote(out)
}

// bare is a list of values without the signs around it, for comparing.
func bare(values string) string {
	if i := strings.IndexByte(values, '('); i >= 0 && strings.HasSuffix(values, ")") {
		values = values[i+1 : len(values)-1]
	}
	return strings.ReplaceAll(values, " ", "")
}

// macroWalk sets off a macro by itself: by a cue that a copy of the program
// has at its end and that does nothing but run it.
func macroWalk(p *program.Program, macro program.Macro, entry int32, args string) *walk {
	q := *p
	at := int32(len(p.Code))
	q.Code = append(slices.Clone(p.Code),
		program.Instr{Op: program.Run, A: macro.Task, B: at + 1, C: entry, At: macro.At},
		program.Instr{Op: program.End, At: macro.At})
	name := "macro " + macro.Name
	if args != "" {
		name += " (" + bare(args) + ")"
	}
	cue := int32(len(p.Cues))
	q.Tasks = append(slices.Clone(p.Tasks), program.Task{Name: name, Kind: program.CueTask, Owner: cue,
		Entries: []int32{at}, At: -1, Failed: -1, Queued: -1, Timer: -1, Place: macro.At})
	q.Cues = append(slices.Clone(p.Cues), program.Cue{Number: macro.Name, Label: name, Task: int32(len(p.Tasks)),
		Follow: -1, FollowVar: -1, Timer: -1, At: macro.At})
	if v := p.StandbyVar(); v >= 0 {
		q.Vars = slices.Clone(p.Vars)
		q.Vars[v].Size++
	}
	return goWalk(&q, cue, name)
}

// working says whether anything of the show still runs or waits to follow, so
// that more may be sent.
func (w *walk) working() bool {
	for i := range w.m.P.Tasks {
		if at := w.m.P.Tasks[i].At; at >= 0 && w.m.L.Get(w.s, at) != 0 {
			return true
		}
	}
	for i, t := range w.m.P.Timers {
		if w.s.Due[i] != state.Off && (t.Kind == program.FollowTimer || t.Kind == program.HoldTimer) {
			return true
		}
	}
	return false
}

// stuck names the tasks that rest with no timer left that could move them.
func (w *walk) stuck() []string {
	if timer, _ := w.s.Next(); timer >= 0 || !w.working() {
		return nil
	}
	var names []string
	for _, t := range w.m.P.Tasks {
		if t.At < 0 || w.m.L.Get(w.s, t.At) == 0 {
			continue
		}
		name := t.Name
		if at := w.m.L.Get(w.s, t.At); int(at) <= len(t.Rests) {
			name += " at " + story.Place(w.m.P, w.m.P.Code[t.Rests[at-1]].At)
		}
		names = append(names, name)
	}
	return names
}

// longestWalk is how much show time a walk may take, in microseconds: a day.
const longestWalk = 24 * 3600 * 1_000_000

// run sets the trigger off and lets time pass until nothing is working or can
// move any more. wait is called before time passes, with the moment of the
// next event; see gets what each event did.
func (w *walk) run(wait func(until int64) error, see func(now int64, effects []step.Effect) error) error {
	var failed error
	do := func(e step.Event) {
		if failed == nil {
			e.At = max(e.At, w.s.Now)
			failed = see(e.At, w.m.Apply(w.s, e, nil))
		}
	}
	w.begin(do)
	for failed == nil {
		timer, due := w.s.Next()
		if !w.working() || timer < 0 || due > longestWalk {
			if w.end == nil {
				break
			}
			w.end(do)
			w.end = nil
			continue
		}
		if due > w.s.Now {
			if err := wait(due); err != nil {
				return err
			}
		}
		do(step.Event{Kind: step.Expire, A: timer, At: due})
	}
	return failed
}
