package lower

import (
	"cmp"
	"slices"

	"cuewright/macro/program"
	"cuewright/macro/syntax"
)

// lowerShow fills the tables of things that the show has: first what others
// point at, then the code, then what is derived from it.
func (l *lowerer) lowerShow() {
	l.tables = newTables(len(l.order))
	pages := l.lowerPages()
	l.lowerSurfaces(pages)
	l.lowerCues()
	l.lowerMacros()
	l.lowerSalvos()
	l.lowerTasks()
	l.lowerLamps(pages)
	l.lowerRules()
	l.lowerRehearsals()
	slices.SortStableFunc(l.p.Allows, func(a, b program.Allow) int {
		return cmp.Or(cmp.Compare(a.At.Line, b.At.Line), cmp.Compare(a.At.Column, b.At.Column), cmp.Compare(a.Task, b.Task))
	})
}

// of lists the items of one kind, in file order.
func of[T syntax.Item](l *lowerer) []T {
	var some []T
	for _, item := range l.info.File.Items {
		if x, ok := item.(T); ok {
			some = append(some, x)
		}
	}
	return some
}

// taskOf is a script's task, or -1 where there is none.
func taskOf[T comparable](scripts map[T]*script, key T) int32 {
	if s, ok := scripts[key]; ok {
		return s.task
	}
	return -1
}

// lowerPages makes pages and their buttons, and gives the syntax of each page.
func (l *lowerer) lowerPages() []*syntax.Page {
	pages := of[*syntax.Page](l)
	buttons := 0
	for _, page := range pages {
		buttons += len(page.Buttons)
	}
	l.p.Buttons = make([]program.Button, 0, buttons)
	for i, page := range pages {
		x := program.Page{Name: page.Name.Text, At: l.place(page.Name.At)}
		for _, b := range page.Buttons {
			x.Buttons = append(x.Buttons, int32(len(l.p.Buttons)))
			l.lowerButton(int32(i), page, b)
		}
		l.p.Pages = append(l.p.Pages, x)
		for _, a := range page.Allows {
			l.allow(a, -1, int32(i))
		}
	}
	for _, a := range of[*syntax.Allow](l) {
		l.allow(a, -1, -1)
	}
	return pages
}

func (l *lowerer) lowerButton(page int32, in *syntax.Page, b *syntax.Button) {
	own := int32(len(l.p.Buttons))
	x := program.Button{
		Page: page, Row: int32(b.Cell.Row), Column: int32(b.Cell.Column), Label: text(b.Label.Text), Guarded: !b.Guarded.IsZero(),
		Press: taskOf(l.presses, b), Hold: taskOf(l.holds, b), Release: taskOf(l.releases, b),
		Down: -1, Cover: -1, HoldTimer: -1, CoverTimer: -1, Lit: -1, Air: -1, At: l.place(b.At)}
	name := buttonName(in, b)
	if x.Hold >= 0 || x.Release >= 0 {
		x.Down = l.variable(program.ButtonDown, own, name+".down", 3, 0)
	}
	if x.Hold >= 0 {
		x.HoldAfter = l.micros(b.HoldAfter.Text)
		x.HoldTimer = l.timer(program.HoldTimer, own)
	}
	if x.Guarded {
		x.Cover = l.variable(program.ButtonCover, own, name+".cover", 2, 0)
		x.CoverTimer = l.timer(program.CoverTimer, own)
	}
	l.p.Buttons = append(l.p.Buttons, x)
	l.belongs(x.Press, own)
	l.belongs(x.Hold, own)
	l.belongs(x.Release, own)
}

func (l *lowerer) lowerSurfaces(pages []*syntax.Page) {
	for i, s := range l.rack.Surfaces {
		x := program.Surface{Name: s.Name, Rows: int32(s.Rows), Columns: int32(s.Columns), By: s.By, At: l.place(s.At)}
		for n, page := range pages {
			if slices.ContainsFunc(page.Surfaces, func(on syntax.Name) bool { return on.Text == s.Name }) {
				x.Pages = append(x.Pages, int32(n))
			}
		}
		x.Page = l.variable(program.SurfacePage, int32(i), s.Name+".page", max(1, len(x.Pages)), 0)
		l.p.Surfaces = append(l.p.Surfaces, x)
	}
}

// turn gives the surface of a page statement and the place of the page in its
// list.
func (l *lowerer) turn(st *syntax.Turn) (surface, page int32) {
	surface = l.surfaces[l.rack.Names[st.Surface.Text].Surface]
	return surface, int32(slices.IndexFunc(l.p.Surfaces[surface].Pages, func(n int32) bool { return l.p.Pages[n].Name == st.Page.Text }))
}

func (l *lowerer) lowerCues() {
	if l.info.Rundown != nil {
		l.p.Zone = l.info.Rundown.Zone.Text
		for i, c := range l.info.Rundown.Cues {
			own := int32(i)
			x := program.Cue{Number: c.Number.Text, Label: text(c.Label.Text), Task: l.cues[i].task,
				Follow: -1, FollowVar: -1, Timer: -1, At: l.place(c.At)}
			if c.Follow.Text != "" {
				x.Follow = l.cue(c.Follow)
				if c.After.Kind != syntax.Bad && c.After.Text != "" {
					x.After = l.micros(c.After.Text)
				}
				x.FollowVar = l.variable(program.CueFollow, own, "cue "+c.Number.Text+".follows", int(program.FollowStates), 0)
				x.Timer = l.timer(program.FollowTimer, own)
			}
			if m, ok := l.info.Moments[c]; ok {
				x.By, x.Moment = program.ByClock, m.At
				if m.Timecode {
					x.By = program.ByTimecode
				}
			}
			l.belongs(x.Task, own)
			l.p.Cues = append(l.p.Cues, x)
		}
	}
	l.standby = l.variable(program.Standby, -1, "rundown.standby", len(l.p.Cues)+1, 0)
}

// lowerMacros lists the macros that are run, or could be.
func (l *lowerer) lowerMacros() {
	for _, m := range of[*syntax.Macro](l) {
		if s, ok := l.macros[m]; ok {
			l.belongs(s.task, int32(len(l.p.Macros)))
			l.p.Macros = append(l.p.Macros, program.Macro{Name: m.Name.Text, Task: s.task, At: l.place(m.Name.At)})
		}
	}
}

func (l *lowerer) lowerSalvos() {
	salvos := of[*syntax.Salvo](l)
	l.salvoAt = numbered(salvos, 0)
	for _, s := range salvos {
		x := program.Salvo{Name: s.Name.Text, At: l.place(s.Name.At)}
		for _, st := range s.Body.Statements {
			if a, ok := st.(*syntax.Action); ok {
				for _, one := range l.actions(a, &binding{}) {
					x.Actions = append(x.Actions, l.action(one))
				}
			}
		}
		l.p.Salvos = append(l.p.Salvos, x)
	}
}

func (l *lowerer) lowerRules() {
	kinds := map[string]program.RuleKind{"never": program.Never, "always": program.Always, "possible": program.Possible}
	for _, r := range of[*syntax.Rule](l) {
		x := program.Rule{Kind: kinds[r.Verb], Name: text(r.Name.Text), Cond: l.condition(r.Cond, &binding{}), While: -1, At: l.place(r.At)}
		if r.While != nil {
			x.While = l.condition(r.While, &binding{})
		}
		l.p.Rules = append(l.p.Rules, x)
	}
}

func (l *lowerer) lowerRehearsals() {
	for _, r := range of[*syntax.Rehearsal](l) {
		l.p.Rehearsals = append(l.p.Rehearsals, program.Rehearsal{Name: text(r.Name.Text), Steps: l.steps(r.Steps), At: l.place(r.At)})
	}
}

// healths are the words of `fault`.
var healths = map[string]uint32{"well": program.Well, "away": program.Away, "refuses": program.Refuses, "slow": program.Slow, "full": program.Full}

// steps lowers the steps of a rehearsal. What the clock shows is a step for each
// cue that it fires.
func (l *lowerer) steps(of []*syntax.Step) (steps []program.Step) {
	for _, s := range of {
		if s.Verb != "clock" && s.Verb != "timecode" {
			steps = append(steps, l.step(s))
			continue
		}
		for i, c := range l.info.Rundown.Cues {
			if m, ok := l.info.Moments[c]; ok && m == l.info.Shown[s] {
				steps = append(steps, program.Step{Op: program.StepMoment, A: int32(i), At: l.place(s.At)})
			}
		}
	}
	return steps
}

func (l *lowerer) step(s *syntax.Step) program.Step {
	x := program.Step{At: l.place(s.At)}
	switch s.Verb {
	case "go":
		x.Op, x.A = program.StepGo, l.cue(s.Cue)
	case "standby":
		if x.Op, x.A = program.StepStand, l.cue(s.Cue); x.A < 0 {
			x.A = int32(len(l.cues))
		}
	case "press":
		x.Op, x.A = program.StepPress, l.button(s)
	case "hold":
		x.Op, x.A, x.Micros = program.StepHold, l.button(s), l.micros(s.Time.Text)
	case "after":
		x.Op, x.Micros = program.StepAfter, l.micros(s.Time.Text)
	case "expect":
		x.Op, x.A, x.Text = program.StepExpect, l.condition(s.Cond, &binding{}), text(s.Cond.Text)
	case "expect alert":
		x.Op, x.Text = program.StepExpectAlert, text(s.Text.Text)
	case "expect finding":
		x.Op, x.Text = program.StepExpectFinding, s.Code.Text
	case "fault":
		x.Op, x.A, x.B = program.StepFault, l.devices[l.rack.Names[s.Device.Text].Device], int32(healths[s.Fault.Text])
	}
	return x
}

// button is the button that a step presses, or -1.
func (l *lowerer) button(s *syntax.Step) int32 {
	return int32(slices.IndexFunc(l.p.Buttons, func(b program.Button) bool {
		return l.p.Pages[b.Page].Name == s.Page.Text && int(b.Row) == s.Cell.Row && int(b.Column) == s.Cell.Column
	}))
}

// allow adds a suppression, once for the place where it holds.
func (l *lowerer) allow(a *syntax.Allow, task, page int32) {
	x := program.Allow{Code: a.Code.Text, Reason: text(a.Reason.Text), Until: text(a.Until.Text), Task: task, Page: page, At: l.place(a.At)}
	if !slices.Contains(l.p.Allows, x) {
		l.p.Allows = append(l.p.Allows, x)
	}
}
