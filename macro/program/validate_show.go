package program

import "slices"

func (c *checker) surfaces() {
	for i, s := range c.p.Surfaces {
		c.want(s.Rows > 0 && s.Rows <= largestRow && s.Columns > 0 && s.Columns <= largestRow, "surface %d has %d rows of %d", i, s.Rows, s.Columns)
		c.variable(s.Page, SurfacePage, i, max(1, len(s.Pages)))
		c.all(s.Pages, len(c.p.Pages), "the pages of surface", i)
		c.place(s.At, "surface", i)
	}
	on := 0
	for i, g := range c.p.Pages {
		on += len(g.Buttons)
		c.place(g.At, "page", i)
		if !c.all(g.Buttons, len(c.p.Buttons), "the buttons of page", i) {
			return
		}
		for _, b := range g.Buttons {
			c.want(int(c.p.Buttons[b].Page) == i, "button %d is not of page %d", b, i)
		}
	}
	c.want(on == len(c.p.Buttons), "%d buttons, and %d on pages", len(c.p.Buttons), on)
}

// lamps are the words that a lamp may be said to be.
var lamps = []string{"fault", "pending", "air", "lit", "dark"}

func (c *checker) buttons() {
	for i, b := range c.p.Buttons {
		c.index(b.Page, len(c.p.Pages), "the page of button", i)
		c.want(b.Row > 0 && b.Row <= largestRow && b.Column > 0 && b.Column <= largestRow, "button %d is in row %d, column %d", i, b.Row, b.Column)
		c.task(b.Press, PressTask, i)
		c.task(b.Hold, HoldTask, i)
		c.task(b.Release, ReleaseTask, i)
		c.duration(b.HoldAfter, "the hold of button", i)
		c.variableIf(b.Hold != -1 || b.Release != -1, b.Down, ButtonDown, i, 3)
		c.variableIf(b.Guarded, b.Cover, ButtonCover, i, 2)
		c.timer(b.Hold != -1, b.HoldTimer, HoldTimer, i)
		c.timer(b.Guarded, b.CoverTimer, CoverTimer, i)
		c.maybe(b.Lit, len(c.p.Conds), "the lit condition of button", i)
		c.maybe(b.Air, len(c.p.Conds), "the on-air condition of button", i)
		for _, l := range b.Lamps {
			c.want(slices.Contains(lamps, l.State), "button %d has the lamp %q", i, l.State)
			c.index(l.Cond, len(c.p.Conds), "the lamp condition of button", i)
		}
		c.all(b.Runs, len(c.p.Tasks), "what is run by button", i)
		c.all(b.Uses, len(c.p.Devices), "the devices of button", i)
		c.place(b.At, "button", i)
	}
}

// task wants t to be -1 or a task of that kind and owner.
func (c *checker) task(t int32, kind TaskKind, owner int) {
	if t != -1 && c.index(t, len(c.p.Tasks), "a task of owner", owner) {
		x := c.p.Tasks[t]
		c.want(x.Kind == kind && int(x.Owner) == owner, "task %d is not of kind %d and owner %d", t, kind, owner)
	}
}

func (c *checker) cues() {
	for i, q := range c.p.Cues {
		c.want(q.Task != -1, "cue %d has no task", i)
		c.task(q.Task, CueTask, i)
		c.maybe(q.Follow, len(c.p.Cues), "what is followed by cue", i)
		c.duration(q.After, "cue", i)
		c.variableIf(q.Follow != -1, q.FollowVar, CueFollow, i, int(FollowStates))
		c.timer(q.Follow != -1, q.Timer, FollowTimer, i)
		c.moment(i, q)
		c.place(q.At, "cue", i)
	}
	if c.err != nil {
		return
	}
	walked := make([]int, len(c.p.Cues)) // 1 + the cue from which it was reached first
	for i := range c.p.Cues {
		for q := int32(i); q != -1 && walked[q] != i+1; q = c.p.Cues[q].Follow {
			if walked[q] != 0 {
				break
			}
			walked[q] = i + 1
			next := c.p.Cues[q].Follow
			c.want(next == -1 || walked[next] != i+1, "cue %d follows itself in a circle", i)
		}
	}
}

// secondsPerDay is a day of the clock; framesPerDay is more than any timecode's.
const (
	secondsPerDay = 24 * 60 * 60
	framesPerDay  = 30 * secondsPerDay
)

func (c *checker) moment(i int, q Cue) {
	limit := [...]int64{NoMoment: 1, ByClock: secondsPerDay, ByTimecode: framesPerDay}
	if int(q.By) >= len(limit) {
		c.want(false, "cue %d is fired by %d", i, q.By)
		return
	}
	c.want(q.Moment >= 0 && q.Moment < limit[q.By], "cue %d fires at %d", i, q.Moment)
	c.want(q.By == NoMoment || q.Follow == -1, "cue %d follows another and has a moment", i)
}

func (c *checker) scripts() {
	for i, m := range c.p.Macros {
		c.want(m.Task != -1, "macro %d has no task", i)
		c.task(m.Task, MacroTask, i)
		c.place(m.At, "macro", i)
	}
	for i, s := range c.p.Salvos {
		c.all(s.Actions, len(c.p.Actions), "the actions of salvo", i)
		c.place(s.At, "salvo", i)
	}
}

func (c *checker) tasks() {
	end := 0
	for i, t := range c.p.Tasks {
		c.known(i, t)
		c.want(len(t.Entries) > 0 && len(t.Args) == len(t.Entries), "task %d has %d entries and %d sets of arguments", i, len(t.Entries), len(t.Args))
		for _, e := range t.Entries {
			c.want(int(e) >= end && int(e) < len(c.p.Code), "task %d enters at %d", i, e)
			end = int(e) + 1
		}
		c.want(t.Again <= Queue, "task %d has Again %d", i, t.Again)
		c.variableIf(len(t.Rests) > 0, t.At, TaskAt, i, len(t.Rests)+1)
		c.variable(t.Failed, TaskFailed, i, 2)
		c.variableIf(t.Again == Queue, t.Queued, TaskQueued, i, len(t.Entries)+1)
		c.place(t.Place, "task", i)
	}
	c.want(len(c.p.Tasks) > 0 || len(c.p.Code) == 0, "there is code of no task")
	c.want(len(c.p.Tasks) == 0 || c.err != nil || c.p.Tasks[0].Entries[0] == 0, "there is code before the first task")
}

// known wants the task's owner to point at it.
func (c *checker) known(i int, t Task) {
	p, ok := c.p, false
	in := func(n int) bool { return t.Owner >= 0 && int(t.Owner) < n }
	switch t.Kind {
	case MacroTask:
		ok = in(len(p.Macros)) && int(p.Macros[t.Owner].Task) == i
	case PressTask:
		ok = in(len(p.Buttons)) && int(p.Buttons[t.Owner].Press) == i
	case HoldTask:
		ok = in(len(p.Buttons)) && int(p.Buttons[t.Owner].Hold) == i
	case ReleaseTask:
		ok = in(len(p.Buttons)) && int(p.Buttons[t.Owner].Release) == i
	case CueTask:
		ok = in(len(p.Cues)) && int(p.Cues[t.Owner].Task) == i
	case BranchTask:
		ok = in(len(p.Tasks)) && int(t.Owner) > i
	}
	c.want(ok, "task %d (%s) is not known by owner %d", i, t.Name, t.Owner)
}

// Rests says whether a task can rest at the instruction.
func (in Instr) Rests() bool {
	return in.Op == Sleep || in.Op == Join || in.Op == Until && (in.C == 0 || in.Micros > 0)
}

// code checks each task's stretch of code, and who may fire a cue by number.
func (c *checker) code() {
	p := c.p
	named := make([]bool, len(p.Tasks)) // it, or a task it runs, fires a cue by number
	for i, t := range p.Tasks {
		end := len(p.Code)
		if i+1 < len(p.Tasks) {
			end = int(p.Tasks[i+1].Entries[0])
		}
		var rests []int32
		timed := false
		for at := int(t.Entries[0]); at < end; at++ {
			in := p.Code[at]
			c.instr(at, in, i, end)
			if c.err != nil {
				return
			}
			if in.Rests() {
				rests = append(rests, int32(at))
			}
			timed = timed || in.Rests() && (in.Op == Sleep || in.Micros > 0)
			named[i] = named[i] || in.Op == GoCue && in.A >= 0 || in.Op == Run && named[in.A]
		}
		c.want(p.Code[end-1].Op == End || p.Code[end-1].Op == Abandon, "task %d does not end", i)
		c.want(slices.Equal(rests, t.Rests), "task %d can rest at %d, and says %d", i, rests, t.Rests)
		c.timer(timed, t.Timer, TaskTimer, i)
		c.want(t.Kind != CueTask || !named[i], "cue task %d fires a cue by number", i)
	}
}

// instr checks one instruction of a task whose code ends before end.
func (c *checker) instr(at int, in Instr, task, end int) {
	p := c.p
	c.place(in.At, "instruction", at)
	c.duration(in.Micros, "instruction", at)
	forward := func() {
		if int(in.B) <= at || int(in.B) >= end {
			c.want(false, "instruction %d goes to %d", at, in.B)
		}
	}
	switch in.Op {
	case End, Sleep, Fail:
	case Do:
		c.index(in.A, len(p.Actions), "the action of instruction", at)
	case Fire:
		c.index(in.A, len(p.Salvos), "the salvo of instruction", at)
	case Until:
		c.want(in.C == 0 || in.C == 1, "instruction %d waits in a way %d", at, in.C)
		c.index(in.A, len(p.Conds), "the condition of instruction", at)
		forward()
	case Unless:
		c.index(in.A, len(p.Conds), "the condition of instruction", at)
		forward()
	case Jump:
		forward()
	case Run, Join:
		c.runs(at, in, task)
		if in.Op == Run {
			forward()
		}
	case Alert, Note:
		c.index(in.A, len(p.Texts), "the text of instruction", at)
	case Abandon:
		c.maybe(in.A, len(p.Texts), "the text of instruction", at)
	case GoCue:
		c.maybe(in.A, len(p.Cues), "the cue of instruction", at)
	case Turn:
		if c.index(in.A, len(p.Surfaces), "the surface of instruction", at) {
			c.index(in.B, len(p.Surfaces[in.A].Pages), "the page of instruction", at)
		}
	default:
		c.want(false, "instruction %d has operation %d", at, in.Op)
	}
}

// runs checks a Run or Join: a macro, or a branch of its own, before it in the
// table.
func (c *checker) runs(at int, in Instr, task int) {
	if !c.want(in.A >= 0 && int(in.A) < task, "instruction %d of task %d runs task %d", at, task, in.A) {
		return
	}
	t := c.p.Tasks[in.A]
	c.want(t.Kind == MacroTask || t.Kind == BranchTask && int(t.Owner) == task, "instruction %d runs task %d, which is not its to run", at, in.A)
	if in.Op == Run {
		c.index(in.C, len(t.Entries), "the entry of instruction", at)
	}
}

func (c *checker) actions() {
	for i, a := range c.p.Actions {
		c.maybe(a.Device, len(c.p.Devices), "the device of action", i)
		c.place(a.At, "action", i)
		c.want(a.Verb != Crosspoint, "action %d is a crosspoint", i)
		c.command(Command{a.Verb, a.A, a.B, a.Micros}, "action", i)
	}
}

// command checks the operands of an action or command.
func (c *checker) command(k Command, what string, i int) {
	c.duration(k.Micros, what, i)
	if k.Micros != 0 && k.Verb != Mix && k.Verb != Wipe && k.Verb != Fade {
		c.want(false, "%s %d takes no time and has %d", what, i, k.Micros)
	}
	tables, second := c.operands(k, what, i)
	switch {
	case k.A < 0 || int(k.A) >= tables:
		c.index(k.A, tables, "the first operand of "+what, i)
	case k.B < 0 || int(k.B) >= second():
		c.want(false, "the second operand of %s %d is %d", what, i, k.B)
	}
}

// operands gives the number of things that A may name, and that B may name
// once A is known to be right.
func (c *checker) operands(k Command, what string, i int) (int, func() int) {
	p := c.p
	none, two := func() int { return 1 }, func() int { return 2 }
	switch k.Verb {
	case CutTo, PresetTo:
		return len(p.Banks), func() int { return len(p.Banks[k.A].Picks) }
	case Take, Mix, Wipe:
		return len(p.Banks), none
	case Fade:
		return len(p.Banks), two
	case KeyTo:
		return len(p.Keyers), two
	case Route:
		return len(p.Destinations), func() int { return len(p.Nodes) }
	case RouteTie:
		return len(p.Ties), func() int { return len(p.Nodes) }
	case Crosspoint:
		return len(p.Switches), func() int { return len(p.Switches[k.A].Picks) }
	case Load:
		return len(p.Decks), func() int { return len(p.Decks[k.A].Clips) }
	case Play, Pause, StopDeck:
		return len(p.Decks), none
	case Record, StopRecorder:
		return len(p.Recorders), none
	case Start, StopEncoder:
		return len(p.Encoders), none
	case Recall:
		return len(p.Cameras), func() int { return len(p.Cameras[k.A].Shots) }
	case SwitchTo:
		return len(p.Outlets), two
	case SendTo:
		return len(p.Sends), none
	case Protect:
		return len(p.Destinations), two
	}
	c.want(false, "%s %d has the verb %d", what, i, k.Verb)
	return 0, none
}

func (c *checker) conds() {
	asked := make([]int, len(c.p.Conds)) // the conditions that each is made of
	for i, n := range c.p.Conds {
		asked[i] = 1
		smaller := func(k int32) {
			if c.want(k >= 0 && int(k) < i, "condition %d is made of condition %d", i, k) {
				asked[i] += asked[k]
				c.want(asked[i] <= mostAsked, "condition %d is made of too many others", i)
			}
		}
		switch n.Op {
		case Const:
			c.want(n.A == 0 || n.A == 1, "condition %d is %d", i, n.A)
		case Not:
			smaller(n.L)
		case And, Or:
			smaller(n.L)
			smaller(n.R)
		case In:
			c.set(i, n)
		case Shows:
			c.index(n.A, len(c.p.Destinations), "the destination of condition", i)
			c.index(n.B, len(c.p.Sources), "the source of condition", i)
		case ShowsNode:
			c.index(n.A, len(c.p.Destinations), "the destination of condition", i)
			c.index(n.B, len(c.p.Nodes), "the node of condition", i)
		case SourceOnAir:
			c.index(n.A, len(c.p.Sources), "the source of condition", i)
		case Running:
			c.index(n.A, len(c.p.Tasks), "the task of condition", i)
		default:
			c.want(false, "condition %d has operation %d", i, n.Op)
		}
	}
}

// set checks that an In's set has one bit for each value of its variable.
func (c *checker) set(i int, n Cond) {
	if !c.index(n.A, len(c.p.Vars), "the variable of condition", i) || !c.index(n.B, len(c.p.Sets), "the set of condition", i) {
		return
	}
	size, set := c.p.Vars[n.A].Size, c.p.Sets[n.B]
	words := (uint64(size) + 31) / 32
	c.want(uint64(len(set)) == words && (size%32 == 0 || set[words-1]>>(size%32) == 0),
		"condition %d has a set of %d words for a variable of %d values", i, len(set), size)
}

func (c *checker) rules() {
	for i, r := range c.p.Rules {
		c.want(r.Kind <= Possible, "rule %d has kind %d", i, r.Kind)
		c.index(r.Cond, len(c.p.Conds), "the condition of rule", i)
		c.maybe(r.While, len(c.p.Conds), "the while of rule", i)
		c.place(r.At, "rule", i)
	}
	for i, a := range c.p.Allows {
		c.maybe(a.Task, len(c.p.Tasks), "the task of allow", i)
		c.maybe(a.Page, len(c.p.Pages), "the page of allow", i)
		c.place(a.At, "allow", i)
	}
}

func (c *checker) rehearsals() {
	for i, r := range c.p.Rehearsals {
		c.place(r.At, "rehearsal", i)
		for _, s := range r.Steps {
			c.place(s.At, "a step of rehearsal", i)
			c.duration(s.Micros, "a step of rehearsal", i)
			switch s.Op {
			case StepGo:
				c.maybe(s.A, len(c.p.Cues), "a cue of rehearsal", i)
			case StepMoment:
				c.index(s.A, len(c.p.Cues), "a cue of rehearsal", i)
			case StepStand:
				c.index(s.A, len(c.p.Cues)+1, "a cue of rehearsal", i)
			case StepPress, StepHold:
				c.index(s.A, len(c.p.Buttons), "a button of rehearsal", i)
			case StepExpect:
				c.index(s.A, len(c.p.Conds), "a condition of rehearsal", i)
			case StepFault:
				c.index(s.A, len(c.p.Devices), "a device of rehearsal", i)
				c.index(s.B, int(Healths), "a fault of rehearsal", i)
			case StepAfter, StepExpectAlert, StepExpectFinding:
			default:
				c.want(false, "rehearsal %d has a step %d", i, s.Op)
			}
		}
	}
}

func (c *checker) messages() {
	seen := make(map[Command]bool, len(c.p.Messages))
	for i, m := range c.p.Messages {
		c.command(m.Command, "message", i)
		c.index(m.Device, len(c.p.Devices), "the device of message", i)
		c.want((m.OSC != nil) != (m.HTTP != nil), "message %d is not one of OSC and HTTP", i)
		c.want(m.Command.Verb != Route && m.Command.Verb != RouteTie && !seen[m.Command], "message %d is for a command that has one, or none", i)
		seen[m.Command] = true
	}
	for i, o := range c.p.Observations {
		c.index(o.Device, len(c.p.Devices), "the device of observation", i)
		c.duration(o.Every, "observation", i)
		c.want(o.Arg >= 0, "observation %d hears argument %d", i, o.Arg)
		if !c.index(o.Var, len(c.p.Vars), "the variable of observation", i) {
			return
		}
		for _, m := range o.Means {
			c.want(m.Value < c.p.Vars[o.Var].Size, "observation %d means %d", i, m.Value)
		}
		c.place(o.At, "observation", i)
	}
}
