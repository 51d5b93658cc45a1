package control

import (
	"slices"
	"strconv"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// carry brings a show to where another one is, by the names of variables and
// of what they stand at. What the new show does not have is left as it is at
// its power-on. Scripts that run go on at the same place; the caller has seen
// to it that they are the same in both, or that none runs.
func carry(was, next *show) {
	carryVars(was, was.state, next, next.state, func(from, v int32) { next.facts[v] = carryFact(was, from, next, v) })
	next.state.Now = was.state.Now
	next.carryMoments(was)
	for t := range next.p.Timers {
		next.carryTimer(was, t)
	}
	for i, l := range next.lines {
		if at := slices.Index(was.lines, l); l != nil && at >= 0 {
			next.met[i] = was.met[at]
		}
	}
	next.carryWishes(was)
}

// carryVars brings a state of one show to one of another, by names. each is
// told of every variable that both have.
func carryVars(was *show, from *state.State, next *show, to *state.State, each func(from, v int32)) {
	old := varsByName(was.p)
	for v := range next.p.Vars {
		at, ok := old[nameOf(&next.p.Vars[v])]
		if !ok {
			continue
		}
		if value, ok := translate(was.p, at, was.m.L.Get(from, at), next.p, int32(v)); ok {
			next.m.L.Set(to, int32(v), value)
			each(at, int32(v))
		}
	}
}

// carryMoments leaves disarmed what is, and keeps moments that have come from
// coming again when the clock is set back over them.
func (s *show) carryMoments(was *show) {
	for i := range s.p.Cues {
		from := slices.IndexFunc(was.p.Cues, func(q program.Cue) bool { return q.Number == s.p.Cues[i].Number })
		if from >= 0 {
			s.disarmed[i] = was.disarmed[from] && s.p.Cues[i].By != program.NoMoment
		}
	}
	for i := range s.moments.all {
		x := &s.moments.all[i]
		for _, y := range was.moments.all {
			a, b := &was.p.Cues[y.cue], &s.p.Cues[x.cue]
			if a.Number == b.Number && a.Moment == b.Moment && was.p.Zone == s.p.Zone {
				x.past = max(x.past, y.past)
			}
		}
	}
}

// carryTimer has a timer run out when it would in another show, if what it
// belongs to still waits for it.
func (s *show) carryTimer(was *show, t int) {
	name := timerName(s.p, int32(t))
	from := slices.IndexFunc(was.p.Timers, func(x program.Timer) bool { return x.Kind == s.p.Timers[t].Kind && ownerName(was.p, x) == name })
	if from >= 0 && was.state.Due[from] != state.Off && s.goesOn(s.p.Timers[t]) {
		s.state.Due[t] = was.state.Due[from]
	}
}

// nameOf is a variable without what differs between two programs.
func nameOf(v *program.Var) program.Var { return program.Var{Name: v.Name, Kind: v.Kind} }

func varsByName(p *program.Program) map[program.Var]int32 {
	all := make(map[program.Var]int32, len(p.Vars))
	for v := range p.Vars {
		all[nameOf(&p.Vars[v])] = int32(v)
	}
	return all
}

// carryFact carries over what the show has set. What a device said is heard
// again.
func carryFact(was *show, from int32, next *show, v int32) fact {
	f := was.facts[from]
	wanted, ok := translate(was.p, from, f.wanted, next.p, v)
	if !f.set || !ok {
		return fact{sent: f.sent}
	}
	return fact{wanted: wanted, wantedAt: f.wantedAt, set: true, sent: f.sent}
}

// translate is the value of a variable in the new program that means the same.
func translate(was *program.Program, from int32, value uint32, next *program.Program, to int32) (uint32, bool) {
	x, y := &was.Vars[from], &next.Vars[to]
	find := func(name string, all []string) (uint32, bool) {
		i := slices.Index(all, name)
		return uint32(max(i, 0)), i >= 0
	}
	switch x.Kind {
	case program.BankProgram, program.BankPreset, program.SwitchPick:
		return find(pickNames(was, x)[value], pickNames(next, y))
	case program.DeckClip, program.CameraShot, program.SurfacePage:
		return find(words(was, x)[value], words(next, y))
	case program.Standby:
		return standby(was, value, next), true
	}
	return value, value < y.Size
}

// pickNames are what a bus can show.
func pickNames(p *program.Program, v *program.Var) []string {
	var picks []program.Pick
	if v.Kind == program.SwitchPick {
		picks = p.Switches[v.Owner].Picks
	} else {
		picks = p.Banks[v.Owner].Picks
	}
	var out []string
	for _, k := range picks {
		out = append(out, k.Label+" "+strconv.Itoa(int(k.Number)))
	}
	return out
}

// words are what the values of a clip, shot or page stand for.
func words(p *program.Program, v *program.Var) []string {
	var out []string
	switch v.Kind {
	case program.DeckClip:
		out = append(out, "")
		for _, c := range p.Decks[v.Owner].Clips {
			out = append(out, p.Clips[c].Name)
		}
	case program.CameraShot:
		out = append(out, "")
		for _, s := range p.Cameras[v.Owner].Shots {
			out = append(out, strconv.Itoa(int(s.Number)))
		}
	case program.SurfacePage:
		for _, g := range p.Surfaces[v.Owner].Pages {
			out = append(out, p.Pages[g].Name)
		}
		if len(out) == 0 {
			out = append(out, "")
		}
	}
	return out
}

// standby is the cue of the same number, or the next one that there still is.
func standby(was *program.Program, value uint32, next *program.Program) uint32 {
	for ; int(value) < len(was.Cues); value++ {
		if i := slices.IndexFunc(next.Cues, func(c program.Cue) bool { return c.Number == was.Cues[value].Number }); i >= 0 {
			return uint32(i)
		}
	}
	return uint32(len(next.Cues))
}

func timerName(p *program.Program, t int32) string { return ownerName(p, p.Timers[t]) }

// ownerName names what a timer belongs to.
func ownerName(p *program.Program, t program.Timer) string {
	switch t.Kind {
	case program.TaskTimer:
		k := &p.Tasks[t.Owner]
		return strconv.Itoa(int(k.Kind)) + k.Name
	case program.BankTimer:
		return p.Banks[t.Owner].Name
	case program.DeckTimer:
		return p.Decks[t.Owner].Name
	case program.MachineTimer:
		if n := int(t.Owner) - len(p.Recorders); n >= 0 {
			return p.Encoders[n].Name
		}
		return p.Recorders[t.Owner].Name
	case program.FollowTimer:
		c := &p.Cues[t.Owner]
		return c.Number + " after " + p.Cues[c.Follow].Number
	}
	b := &p.Buttons[t.Owner]
	return p.Pages[b.Page].Name + strconv.Itoa(int(b.Row)) + "." + strconv.Itoa(int(b.Column))
}

// goesOn says whether what a timer belongs to still waits for it in this show.
func (s *show) goesOn(t program.Timer) bool {
	get := func(v int32) uint32 { return s.m.L.Get(s.state, v) }
	switch t.Kind {
	case program.TaskTimer:
		return s.running(t.Owner)
	case program.BankTimer:
		return get(s.p.Banks[t.Owner].Transition) != program.NoTransition
	case program.FollowTimer:
		return get(s.p.Cues[t.Owner].FollowVar) == program.WaitsToFollow
	case program.HoldTimer:
		return get(s.p.Buttons[t.Owner].Down) == 1
	case program.CoverTimer:
		return get(s.p.Buttons[t.Owner].Cover) == 1
	}
	return true
}
