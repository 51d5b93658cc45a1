package prove

import (
	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/route"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Most of what is right is right for a reason close by: the button asks
// whether the camera is on air, and only then moves it. Such a check needs no
// search. local takes every event on its own and begins it in any state at
// all, reachable or not: each variable that the event or the check reads may
// have any value that the show could ever give it, and each condition on
// pictures may hold or not, but the same one does not both hold and not while
// no picture changes. A check that finds nothing then finds nothing ever. One
// that finds something has learnt nothing, and is explored.
//
// Apply is the machine's own; only what it reads is chosen here. Timers are
// taken to run out whenever what they are for is going on. With faults it is
// not tried.
type local struct {
	p     *program.Program
	watch *onair.Watch
	m     *step.Machine
	plain *state.Layout
	now   *state.State // the event's
	was   *state.State // before it

	run     uint32
	known   []uint32 // by variable: the run in which its value now is known
	began   []uint32 // and the value before the event
	picked  []choice // of this run, in order
	next    int
	lost    bool // a route has more ways than are looked at
	version int  // of the pictures, counted by changes
	atoms   map[atom]bool
	changed []uint32 // by variable: the run in which it was changed
	left    [][]bool // by variable: the values that it may have had before the event
	leftIn  []uint32 // and the run for which that is so
	sight   []bool   // by variable: pictures depend on it
	wakes   [][]int32
	looks   []bool // by task: it waits for something about pictures
	cabled  []bool // by node: another one can show it
}

type choice struct{ at, of int }

// atom is a condition on pictures at one version of them.
type atom struct {
	op      program.CondOp
	a, b    int32
	version int
}

// mostLeaves is how many ways one event may go before it is given up.
const mostLeaves = 200_000

func newLocal(p *program.Program, w *onair.Watch) *local {
	x := &local{p: p, watch: w, plain: state.NewLayout(p), known: make([]uint32, len(p.Vars)), began: make([]uint32, len(p.Vars)),
		changed: make([]uint32, len(p.Vars)), left: make([][]bool, len(p.Vars)), leftIn: make([]uint32, len(p.Vars)), sight: make([]bool, len(p.Vars)), wakes: make([][]int32, len(p.Tasks)), looks: make([]bool, len(p.Tasks))}
	x.m = step.On(p, x.plain.Watched(after{x}))
	x.m.Routes.Choose = x.way
	x.m.Graph.Ask = x.ask
	x.m.Asleep = x.asleep
	x.now, x.was = x.plain.Start(p), x.plain.Start(p)
	x.cabled = make([]bool, len(p.Nodes))
	for _, n := range p.Nodes {
		for _, up := range n.Up {
			if up >= 0 {
				x.cabled[up] = true
			}
		}
	}
	for _, d := range p.Destinations {
		x.cabled[d.Node] = true
	}
	for v := range p.Vars {
		switch p.Vars[v].Kind {
		case program.BankProgram, program.BankPreset, program.BankTransition, program.BankFaded, program.KeyerOn, program.SwitchPick, program.EncoderState:
			x.sight[v] = true
		}
	}
	for t := range p.Tasks {
		for _, at := range p.Tasks[t].Rests {
			if in := &p.Code[at]; in.Op == program.Until {
				x.looks[t] = x.leaves(in.A, &x.wakes[t]) || x.looks[t]
			}
		}
	}
	return x
}

func (x *local) asleep(task int32) bool {
	if x.looks[task] && x.version > 0 {
		return false
	}
	for _, v := range x.wakes[task] {
		if x.changed[v] == x.run {
			return false
		}
	}
	return true
}

// choose takes the next choice of a run: the first way first, then by turns.
func (x *local) choose(of int) int {
	if x.next == len(x.picked) {
		x.picked = append(x.picked, choice{0, of})
	}
	at := x.picked[x.next].at
	x.next++
	return at
}

// turn sets the choices to the next run's; it says false after the last.
func (x *local) turn() bool {
	for n := len(x.picked); n > 0; n-- {
		if c := &x.picked[n-1]; c.at+1 < c.of {
			c.at++
			x.picked = x.picked[:n]
			return true
		}
	}
	return false
}

// mostWays is how many ways one route may have before nothing is known of it.
const mostWays = 64

// way chooses which way a route takes. Where there is a way of one crosspoint,
// one such is always free.
func (x *local) way(to, picture int32) (route.Plan, *route.Refusal) {
	ways, all := x.m.Routes.Ways(to, picture, mostWays)
	x.lost = x.lost || !all
	n := len(ways)
	if n == 0 || len(ways[0].Points) > 1 {
		n++
	}
	if at := x.choose(n); at < len(ways) {
		return ways[at], nil
	}
	return route.Plan{}, &route.Refusal{}
}

// may are the values that a variable may have had before the event, as far as
// a run knows.
func (x *local) may(v int32) []bool {
	if x.left[v] == nil {
		x.left[v] = make([]bool, x.p.Vars[v].Size)
	}
	if x.leftIn[v] == x.run {
		return x.left[v]
	}
	x.leftIn[v] = x.run
	can := x.watch.Values(v)
	for value := range x.left[v] {
		x.left[v][value] = can == nil || can[value]
	}
	if x.p.Vars[v].Kind == program.DeviceHealth {
		clear(x.left[v])
		x.left[v][x.p.Vars[v].Start] = true
	}
	return x.left[v]
}

// any chooses a value of a variable.
func (x *local) any(v int32) uint32 {
	n := 0
	for _, is := range x.may(v) {
		if is {
			n++
		}
	}
	at := x.choose(n)
	for value, is := range x.left[v] {
		if is {
			if at == 0 {
				return uint32(value)
			}
			at--
		}
	}
	return 0
}

// within chooses whether a variable was one of some values before the event,
// and keeps to it.
func (x *local) within(v int32, set []uint32) bool {
	in := func(value int) bool { return value/32 < len(set) && set[value/32]>>(value%32)&1 != 0 }
	var can [2]bool
	for value, is := range x.may(v) {
		if is {
			can[map[bool]int{true: 1}[in(value)]] = true
		}
	}
	is := can[1]
	if can[0] && can[1] {
		is = x.choose(2) == 1
	}
	for value := range x.left[v] {
		x.left[v][value] = x.left[v][value] && in(value) == is
	}
	return is
}

// after watches the layout of the event, before that of what was.
type (
	after  struct{ *local }
	before struct{ *local }
)

func (x after) Read(s *state.State, v int32) {
	if x.known[v] != x.run {
		x.begin(v)
		x.plain.Set(s, v, x.plain.Get(x.was, v))
		x.known[v] = x.run
	}
}

func (x after) Put(s *state.State, v int32, value uint32) bool {
	if x.known[v] == x.run && x.plain.Get(s, v) == value {
		return false
	}
	x.known[v], x.changed[v] = x.run, x.run
	if x.sight[v] && !x.unseen(v) {
		x.version++
	}
	return true
}

// unseen says whether a variable is a preset that nothing shows now: no mix
// runs, and no cable leads away from it.
func (x *local) unseen(v int32) bool {
	if x.p.Vars[v].Kind != program.BankPreset {
		return false
	}
	b := &x.p.Banks[x.p.Vars[v].Owner]
	if b.PresetNode >= 0 && x.cabled[b.PresetNode] {
		return false
	}
	if x.known[b.Transition] == x.run {
		does := x.plain.Get(x.now, b.Transition)
		return does != program.Mixing && does != program.Wiping
	}
	if x.began[b.Transition] == x.run {
		return false
	}
	may := x.may(b.Transition)
	return !may[program.Mixing] && !may[program.Wiping]
}

func (x before) Read(_ *state.State, v int32)         { x.begin(v) }
func (x before) Put(*state.State, int32, uint32) bool { return false }

// begin chooses the value that a variable has before the event.
func (x *local) begin(v int32) {
	if x.began[v] != x.run {
		x.began[v] = x.run
		x.plain.Set(x.was, v, x.any(v))
	}
}

// ask chooses whether a condition holds after what has happened so far.
func (x *local) ask(c *program.Cond) (holds, known bool) {
	switch c.Op {
	case program.In:
		return x.in(c.A, x.p.Sets[c.B], x.known[c.A] == x.run)
	case program.Running:
		return false, false
	}
	return x.sees(c, x.version), true
}

// asked chooses whether it held before the event.
func (x *local) asked(c *program.Cond) (holds, known bool) {
	switch c.Op {
	case program.In:
		return x.in(c.A, x.p.Sets[c.B], x.began[c.A] == x.run)
	case program.Running:
		return false, false
	}
	return x.sees(c, 0), true
}

// in says whether a variable that is read as it is, or was, has one of some
// values; known says that it must be read.
func (x *local) in(v int32, set []uint32, known bool) (holds, answered bool) {
	if known || x.began[v] == x.run {
		return false, false
	}
	return x.within(v, set), true
}

// sees chooses whether a condition on pictures holds at one version of them.
func (x *local) sees(c *program.Cond, version int) bool {
	a := atom{c.Op, c.A, c.B, version}
	if _, asked := x.atoms[a]; !asked {
		x.atoms[a] = x.choose(2) == 1
	}
	return x.atoms[a]
}

// each lets an event happen in all ways, until look says false or there are
// too many: then it says false too.
func (x *local) each(e step.Event, look func([]step.Effect) bool) bool {
	x.picked = x.picked[:0]
	for range mostLeaves {
		x.run, x.next, x.version = x.run+1, 0, 0
		x.atoms = map[atom]bool{}
		if x.possible(e) && !look(x.apply(e)) || x.lost {
			return false
		}
		if !x.turn() {
			return true
		}
	}
	return false
}

// apply lets an event happen.
func (x *local) apply(e step.Event) []step.Effect {
	for t := range x.now.Due {
		x.now.Due[t] = 1 << 40
	}
	x.now.Now = 1 << 39
	e.At = x.now.Now
	return x.m.Apply(x.now, e, nil)
}

// events are all that can happen.
func (x *local) events() []step.Event {
	var all []step.Event
	for b := range x.p.Buttons {
		all = append(all, step.Event{Kind: step.Down, A: int32(b)})
		if x.p.Buttons[b].Down >= 0 {
			all = append(all, step.Event{Kind: step.Up, A: int32(b)})
		}
	}
	if len(x.p.Cues) > 0 {
		all = append(all, step.Event{Kind: step.Go, A: -1}, step.Event{Kind: step.Stand, A: int32(len(x.p.Cues))})
	}
	for i := range x.p.Cues {
		all = append(all, step.Event{Kind: step.Go, A: int32(i)}, step.Event{Kind: step.Stand, A: int32(i)})
	}
	for i := range x.p.Cues {
		if x.p.Cues[i].By != program.NoMoment {
			all = append(all, step.Event{Kind: step.Moment, A: int32(i)})
		}
	}
	for t := range x.p.Timers {
		all = append(all, step.Event{Kind: step.Expire, A: int32(t)})
	}
	return all
}

// possible says whether an event can happen where a run has begun.
func (x *local) possible(e step.Event) bool {
	if e.Kind != step.Expire {
		return x.m.Enabled(x.now, e)
	}
	get := func(v int32) uint32 { return x.m.L.Get(x.now, v) }
	switch t := x.p.Timers[e.A]; t.Kind {
	case program.TaskTimer:
		k := &x.p.Tasks[t.Owner]
		rest := get(k.At)
		return rest > 0 && x.p.Code[k.Rests[rest-1]].Micros > 0
	case program.BankTimer:
		return get(x.p.Banks[t.Owner].Transition) != program.NoTransition
	case program.DeckTimer:
		s := get(x.p.Decks[t.Owner].State)
		return s == program.DeckLoading || s == program.DeckPlaying
	case program.MachineTimer:
		if n := int32(len(x.p.Recorders)); t.Owner >= n {
			return get(x.p.Encoders[t.Owner-n].State) == program.MachineStarting
		}
		return get(x.p.Recorders[t.Owner].State) == program.MachineStarting
	case program.FollowTimer:
		return get(x.p.Cues[t.Owner].FollowVar) == program.WaitsToFollow
	case program.HoldTimer:
		return get(x.p.Buttons[t.Owner].Down) == 1
	}
	return get(x.p.Buttons[x.p.Timers[e.A].Owner].Cover) == 1
}
