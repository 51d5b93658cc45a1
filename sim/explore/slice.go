package explore

import (
	"math"
	stdbits "math/bits"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// influence is what follows from a program about what can change what, found
// once.
type influence struct {
	p       *program.Program
	wire    *wiring
	writers [][]int32 // by variable: tasks with an action or instruction that can set it
	reads   [][]int32 // by variable: variables that what is set depends on
	callers [][]int32 // by task: tasks that run it
	surface [][]int32 // by page: variables of the surfaces that can show it
	goers   []int32   // tasks that fire cues
	standby int32
}

func newInfluence(p *program.Program) *influence {
	x := &influence{p: p, wire: newWiring(p), standby: p.StandbyVar(),
		writers: make([][]int32, len(p.Vars)), reads: make([][]int32, len(p.Vars)),
		callers: make([][]int32, len(p.Tasks)), surface: make([][]int32, len(p.Pages))}
	for _, s := range p.Surfaces {
		for _, page := range s.Pages {
			x.surface[page] = append(x.surface[page], s.Page)
		}
	}
	for t := range p.Tasks {
		x.task(int32(t))
	}
	for i := range x.writers {
		x.writers[i], x.reads[i] = unique(x.writers[i]), unique(x.reads[i])
	}
	x.goers = unique(x.goers)
	return x
}

func unique(l []int32) []int32 {
	slices.Sort(l)
	return slices.Compact(l)
}

// code calls f with every instruction of a task.
func (x *influence) code(t int32, f func(in *program.Instr)) {
	from, to := x.p.CodeOf(t)
	for at := from; at < to; at++ {
		f(&x.p.Code[at])
	}
}

// actions calls f with every action of a task.
func (x *influence) actions(t int32, f func(a *program.Action)) {
	x.code(t, func(in *program.Instr) {
		switch in.Op {
		case program.Do:
			f(&x.p.Actions[in.A])
		case program.Fire:
			for _, a := range x.p.Salvos[in.A].Actions {
				f(&x.p.Actions[a])
			}
		}
	})
}

func (x *influence) task(t int32) {
	x.code(t, func(in *program.Instr) {
		switch in.Op {
		case program.Run:
			x.callers[in.A] = append(x.callers[in.A], t)
		case program.GoCue:
			x.goers = append(x.goers, t)
			x.sets(t, x.standby, nil)
		case program.Turn:
			x.sets(t, x.p.Surfaces[in.A].Page, nil)
		}
	})
	x.actions(t, func(a *program.Action) { x.action(t, a) })
}

// sets notes that a task can set a variable, depending on others.
func (x *influence) sets(t, v int32, on []int32) {
	x.writers[v] = append(x.writers[v], t)
	x.reads[v] = append(x.reads[v], on...)
}

func (x *influence) action(t int32, a *program.Action) {
	set, on := x.footprint(a)
	if a.Verb == program.Route || a.Verb == program.RouteTie {
		for i, s := range set {
			x.sets(t, s, append(slices.Clone(on), x.health(x.p.Switches[x.p.Vars[set[i]].Owner].Device)...))
		}
		return
	}
	for _, v := range set {
		x.sets(t, v, on)
	}
}

func (x *influence) health(device int32) []int32 {
	if device < 0 {
		return nil
	}
	return []int32{x.p.Devices[device].Health}
}

// footprint is the variables that an action can set, and those that what it
// sets depends on.
func (x *influence) footprint(a *program.Action) (set, on []int32) {
	p := x.p
	on = x.health(a.Device)
	switch a.Verb {
	case program.CutTo, program.Take, program.Mix, program.Wipe, program.Fade:
		b := &p.Banks[a.A]
		set = []int32{b.Program, b.Preset, b.Transition}
		if slices.ContainsFunc(p.Actions, func(f program.Action) bool { return f.Verb == program.Fade && f.A == a.A }) {
			set = append(set, b.Faded)
		}
		on = append(on, set...)
	case program.PresetTo:
		b := &p.Banks[a.A]
		set = []int32{b.Preset}
		if slices.ContainsFunc(p.Actions, func(m program.Action) bool {
			return (m.Verb == program.Mix || m.Verb == program.Wipe) && m.A == a.A
		}) { // a mix that runs comes to its end first
			set = append(set, b.Program, b.Transition)
			on = append(on, set...)
		}
	case program.KeyTo:
		set = []int32{p.Keyers[a.A].On}
	case program.Route, program.RouteTie:
		w := x.wire.way(a)
		for _, s := range w.switches {
			set = append(set, p.Switches[s].Var)
		}
		on = append(on, w.reads...)
	case program.Load, program.Play, program.Pause, program.StopDeck:
		d := &p.Decks[a.A]
		set = []int32{d.State}
		if a.Verb == program.Load {
			set = append(set, d.Clip)
		}
		on = append(on, d.State, d.Clip)
	case program.Record, program.StopRecorder:
		set = []int32{p.Recorders[a.A].State}
	case program.Start, program.StopEncoder:
		set = []int32{p.Encoders[a.A].State}
	case program.Recall:
		set = []int32{p.Cameras[a.A].Shot}
	case program.SwitchTo:
		set = []int32{p.Outlets[a.A].On}
	case program.Protect:
		set = []int32{p.Destinations[a.A].Protect}
	}
	return set, on
}

// cone is a slice being found: everything that can make a difference to some
// variables, to the fixpoint.
type cone struct {
	*influence
	faults  bool
	loose   bool // any page may be showing and any cue on standby, at any time
	freed   bits // variables that are so; those in vars are not
	vars    bits
	tasks   bits
	buttons bits
	cues    bits
	todo    []func()
}

func (x *influence) newCone(faults, loose bool) *cone {
	return &cone{influence: x, faults: faults, loose: loose, freed: newBits(len(x.p.Vars)), vars: newBits(len(x.p.Vars)), tasks: newBits(len(x.p.Tasks) + 1),
		buttons: newBits(len(x.p.Buttons) + 1), cues: newBits(len(x.p.Cues) + 1)}
}

// everything is the slice without slicing.
func (c *cone) everything() {
	for v := range c.p.Vars {
		c.needVar(int32(v))
	}
	for t := range c.p.Tasks {
		c.needTask(int32(t))
	}
	for b := range c.p.Buttons {
		c.needButton(int32(b))
	}
	for i := range c.p.Cues {
		c.needCue(int32(i))
	}
	c.close()
}

func (c *cone) close() {
	for len(c.todo) > 0 {
		next := c.todo[len(c.todo)-1]
		c.todo = c.todo[:len(c.todo)-1]
		next()
	}
}

// changes says whether anything can change a variable.
func (c *cone) changes(v int32) bool {
	x := &c.p.Vars[v]
	if x.Size < 2 {
		return false
	}
	switch x.Kind {
	case program.DeviceHealth:
		return c.faults
	case program.TaskAt, program.TaskFailed, program.TaskQueued, program.CueFollow, program.ButtonDown, program.ButtonCover:
		return true
	case program.Standby:
		return len(c.p.Cues) > 0
	}
	return len(c.writers[v]) > 0
}

func (c *cone) needVars(l []int32) {
	for _, v := range l {
		c.needVar(v)
	}
}

func (c *cone) needVar(v int32) {
	if v < 0 || c.vars.has(v) || !c.changes(v) {
		return
	}
	c.vars.add(v)
	c.todo = append(c.todo, func() {
		c.needVars(c.reads[v])
		for _, t := range c.writers[v] {
			c.needTask(t)
		}
		c.needOwner(&c.p.Vars[v])
	})
}

// needOwner needs what changes a variable beside actions: its script, its
// button, its cue.
func (c *cone) needOwner(x *program.Var) {
	switch x.Kind {
	case program.TaskAt, program.TaskQueued:
		c.needTask(x.Owner)
	case program.TaskFailed:
		c.needTask(x.Owner)
		c.actions(x.Owner, func(a *program.Action) { // they mark it when they fail
			set, on := c.footprint(a)
			c.needVars(on)
			for _, v := range set {
				if c.p.Vars[v].Kind == program.SwitchPick {
					c.needVars(c.health(c.p.Switches[c.p.Vars[v].Owner].Device))
				}
			}
			if a.Verb == program.Route {
				c.needVar(c.p.Destinations[a.A].Protect)
			}
		})
	case program.ButtonDown, program.ButtonCover:
		c.needButton(x.Owner)
	case program.Standby:
		for i := range c.p.Cues { // a cue that is running is not fired again
			c.needVar(c.p.Tasks[c.p.Cues[i].Task].At)
		}
	case program.CueFollow:
		c.needCue(x.Owner)
	}
}

// needTask needs all that decides where a task is.
func (c *cone) needTask(t int32) {
	if c.tasks.has(t) {
		return
	}
	c.tasks.add(t)
	c.todo = append(c.todo, func() {
		k := &c.p.Tasks[t]
		c.needVar(k.At)
		c.needVar(k.Queued)
		c.code(t, func(in *program.Instr) {
			switch in.Op {
			case program.Until, program.Unless:
				c.wire.cond(in.A, c.needVar)
			case program.Run, program.Join:
				c.needVar(c.p.Tasks[in.A].At)
			}
		})
		for _, caller := range c.callers[t] {
			c.needTask(caller)
		}
		switch k.Kind {
		case program.PressTask, program.HoldTask, program.ReleaseTask:
			c.needButton(k.Owner)
		case program.CueTask:
			c.needCue(k.Owner)
		case program.BranchTask:
			c.needTask(k.Owner)
		}
	})
}

func (c *cone) needButton(b int32) {
	if c.buttons.has(b) {
		return
	}
	c.buttons.add(b)
	x := &c.p.Buttons[b]
	c.needVar(x.Down)
	c.needVar(x.Cover)
	for _, v := range c.surface[x.Page] {
		c.needChoice(v)
	}
}

// needChoice needs a variable that only chooses which button or cue can be
// fired: loosely, it is taken to be able to have any value at any time.
func (c *cone) needChoice(v int32) {
	if !c.loose {
		c.needVar(v)
	} else if c.changes(v) {
		c.freed.add(v)
	}
}

// free says whether a variable may have any value at any time.
func (c *cone) free(v int32) bool { return c.freed.has(v) && !c.vars.has(v) }

func (c *cone) needCue(i int32) {
	if c.cues.has(i) {
		return
	}
	c.cues.add(i)
	x := &c.p.Cues[i]
	c.needTask(x.Task)
	c.needVar(x.FollowVar)
	c.needChoice(c.standby)
	for _, t := range c.goers {
		c.needTask(t)
	}
	if x.Follow >= 0 {
		c.needTask(c.p.Cues[x.Follow].Task)
	}
}

// slice is the cone as it is told.
func (c *cone) slice(timers []int32) Slice {
	s := Slice{Vars: c.vars.list(), Buttons: c.buttons.list(), Cues: c.cues.list(), Timers: timers, Values: 1}
	for _, v := range s.Vars {
		over, product := stdbits.Mul64(s.Values, uint64(c.p.Vars[v].Size))
		if s.Values = product; over != 0 {
			s.Values = math.MaxUint64
			break
		}
	}
	return s
}

// mayRunLong says whether one event could run more instructions than Apply
// lets it. Then a script that does not matter could cut one short that does,
// and there is no slice but everything.
func (x *influence) mayRunLong() bool {
	cost := make([]int, len(x.p.Tasks)) // of a whole run and all that it runs
	longest, resumed := 0, 0
	for t := range x.p.Tasks {
		k := &x.p.Tasks[t]
		first := int32(math.MaxInt32)
		if len(k.Rests) > 0 {
			first = k.Rests[0]
		}
		at := k.Entries[0]
		x.code(int32(t), func(in *program.Instr) {
			n := 1
			if in.Op == program.Run {
				n += cost[in.A]
			}
			cost[t] = min(cost[t]+n, step.FuelPerEvent)
			if at > first {
				resumed = min(resumed+n, step.FuelPerEvent)
			}
			at++
		})
		longest = max(longest, cost[t])
	}
	return 2*longest+resumed >= step.FuelPerEvent
}
