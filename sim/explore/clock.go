package explore

import "cuewright/macro/program"

// Timers are no variables of a search: whether one runs follows from the
// variables of what it belongs to. clocks says how.
type clocks struct {
	p     *program.Program
	space *space
	timed [][]bool // by task, by value of its TaskAt: it rests for a time
	list  []int32  // the slice's timers, in table order
}

func newClocks(p *program.Program, s *space, c *cone) *clocks {
	k := &clocks{p: p, space: s, timed: make([][]bool, len(p.Tasks))}
	for t := range p.Tasks {
		rests := p.Tasks[t].Rests
		k.timed[t] = make([]bool, len(rests)+1)
		for i, at := range rests {
			in := &p.Code[at]
			k.timed[t][i+1] = (in.Op == program.Sleep || in.Op == program.Until) && in.Micros > 0
		}
	}
	for i := range p.Timers {
		if v := k.variable(int32(i)); v >= 0 && s.of[v] >= 0 && (p.Timers[i].Kind != program.TaskTimer || c.tasks.has(p.Timers[i].Owner)) {
			k.list = append(k.list, int32(i))
		}
	}
	return k
}

// variable is the variable that says first of all whether a timer runs.
func (k *clocks) variable(timer int32) int32 {
	p := k.p
	switch x := p.Timers[timer]; x.Kind {
	case program.TaskTimer:
		return p.Tasks[x.Owner].At
	case program.BankTimer:
		return p.Banks[x.Owner].Transition
	case program.DeckTimer:
		return p.Decks[x.Owner].State
	case program.MachineTimer:
		return machineState(p, x.Owner)
	case program.FollowTimer:
		return p.Cues[x.Owner].FollowVar
	case program.HoldTimer:
		return p.Buttons[x.Owner].Down
	default:
		return p.Buttons[x.Owner].Cover
	}
}

func machineState(p *program.Program, owner int32) int32 {
	if n := int32(len(p.Recorders)); owner >= n {
		return p.Encoders[owner-n].State
	}
	return p.Recorders[owner].State
}

// may says whether a timer can be running when its variable has a value.
func (k *clocks) may(timer int32, value uint32) bool {
	switch x := k.p.Timers[timer]; x.Kind {
	case program.TaskTimer:
		return k.timed[x.Owner][value]
	case program.DeckTimer:
		return value == program.DeckLoading || value == program.DeckPlaying
	case program.MachineTimer:
		return value == program.MachineStarting
	case program.FollowTimer:
		return value == program.WaitsToFollow
	case program.HoldTimer:
		return value == 1 && k.p.Buttons[x.Owner].Hold >= 0
	default:
		return value != 0
	}
}

// runs says whether a timer runs in a packed state.
func (k *clocks) runs(timer int32, words []uint64) bool {
	value := k.space.fields[k.space.of[k.variable(timer)]].get(words)
	if !k.may(timer, value) {
		return false
	}
	field, ok := k.besides(timer, value)
	return field < 0 || ok(k.space.fields[field].get(words))
}

// besides says what else must be so for a timer to run whose variable has a
// value that it may run with: a field that has one of some values, or nothing,
// which is -1.
func (k *clocks) besides(timer int32, value uint32) (field int32, ok func(value uint32) bool) {
	s := k.space
	switch x := k.p.Timers[timer]; {
	case x.Kind == program.DeckTimer && value == program.DeckPlaying:
		d := &k.p.Decks[x.Owner]
		ends := func(clip uint32) bool { return clip > 0 && k.p.Clips[d.Clips[clip-1]].Length > 0 }
		if f := s.of[d.Clip]; f >= 0 {
			return f, ends
		}
		if !ends(k.p.Vars[d.Clip].Start) {
			return s.of[d.State], func(uint32) bool { return false }
		}
	case x.Kind == program.MachineTimer && int(x.Owner) < len(s.hangs) && s.hangs[x.Owner] >= 0:
		return s.hangs[x.Owner], func(hangs uint32) bool { return hangs == 0 }
	}
	return -1, nil
}
