package step

import (
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// The rack of the tests below: one mixer with a bank and an aux, one of each
// machine. The numbers are indexes into the program's tables.
const (
	mixer, player, recorder, encoder, robot, power int32 = 0, 1, 2, 3, 4, 5 // Devices

	nothing, black, wide, goal, deckPicture, strap int32 = 0, 1, 2, 3, 4, 5 // Sources, and their Nodes
	mainOut, auxOut                                int32 = 6, 7             // Nodes

	pickWide, pickGoal, pickDeck, pickBlack int32 = 0, 1, 2, 3 // of the bank
	auxMain, auxWide                        int32 = 0, 1       // of the aux
	opener, unknownLength                   int32 = 0, 1       // Clips
)

const second int64 = 1_000_000

// maker builds a valid program by hand, where a test wants an exact script.
type maker struct {
	program.Program
	branches []int32 // whose owner is not made yet
}

func (k *maker) variable(name string, kind program.VarKind, owner, size int) int32 {
	k.Vars = append(k.Vars, program.Var{Name: name, Kind: kind, Owner: int32(owner), Size: uint32(size)})
	return int32(len(k.Vars) - 1)
}

func (k *maker) timer(kind program.TimerKind, owner int) int32 {
	k.Timers = append(k.Timers, program.Timer{Kind: kind, Owner: int32(owner)})
	return int32(len(k.Timers) - 1)
}

func newMaker() *maker {
	k := &maker{}
	k.Rate = program.Rate{Num: 50, Den: 1}
	for i, name := range []string{"mixer", "deck", "iso", "stream", "goal", "strip"} {
		k.Devices = append(k.Devices, program.Device{Name: name, Health: k.variable(name+".health", program.DeviceHealth, i, int(program.Healths))})
	}
	for i, s := range []program.Source{
		{Name: "no signal", Picture: "nothing"}, {Name: "black", Picture: "black"}, {Name: "wide", Picture: "live"},
		{Name: "goal", Picture: "live"}, {Name: "deck", Picture: "playback"}, {Name: "strap", Picture: "still"},
	} {
		s.Node, s.Device, s.Camera, s.Deck = int32(i), -1, -1, -1
		k.Sources = append(k.Sources, s)
		k.Nodes = append(k.Nodes, program.Node{Kind: program.SourceNode, Label: s.Name, Owner: int32(i), Device: -1, Tie: -1})
	}
	k.makeMixer()
	k.makeMachines()
	return k
}

func (k *maker) makeMixer() {
	k.Nodes = append(k.Nodes,
		program.Node{Kind: program.BankNode, Label: "main", Tie: -1, Up: []int32{wide, goal, deckPicture, black, strap}},
		program.Node{Kind: program.SwitchNode, Label: "aux1", Tie: -1, Up: []int32{mainOut, wide}})
	k.Banks = []program.Bank{{Name: "main", Number: 1, Black: black, Node: mainOut, Clean: -1, PresetNode: -1, Keyers: []int32{0},
		Picks:   []program.Pick{{Node: wide, Label: "wide"}, {Node: goal, Label: "goal"}, {Node: deckPicture, Label: "deck"}, {Node: black, Label: "black"}},
		Program: k.variable("main.program", program.BankProgram, 0, 4), Preset: k.variable("main.preset", program.BankPreset, 0, 4),
		Transition: k.variable("main.transition", program.BankTransition, 0, int(program.Transitions)),
		Faded:      k.variable("main.black", program.BankFaded, 0, 2), Timer: k.timer(program.BankTimer, 0)}}
	k.Keyers = []program.Keyer{{Name: "logo", Fill: strap, On: k.variable("logo.on", program.KeyerOn, 0, 2)}}
	k.Switches = []program.Switch{{Name: "aux1", Node: auxOut, Var: k.variable("aux1", program.SwitchPick, 0, 2),
		Picks: []program.Pick{{Node: mainOut, Label: "main"}, {Node: wide, Label: "wide"}}}}
	k.Destinations = []program.Destination{
		{Name: "screens", Node: auxOut, OnAir: program.AlwaysOnAir, Safe: -1, Protect: k.variable("screens.protected", program.DestinationProtected, 0, 2)},
		{Name: "web", Node: mainOut, OnAir: 0, Safe: -1, Protect: k.variable("web.protected", program.DestinationProtected, 1, 2)},
	}
}

func (k *maker) makeMachines() {
	k.Clips = []program.Clip{{Name: "opener", Number: 1, Length: 8 * second}, {Name: "loop", Number: 2}}
	k.Decks = []program.Deck{{Name: "deck", Device: player, Source: deckPicture, Ready: second / 2, Clips: []int32{opener, unknownLength},
		State: k.variable("deck.state", program.DeckState, 0, int(program.DeckStates)), Clip: k.variable("deck.clip", program.DeckClip, 0, 3),
		Timer: k.timer(program.DeckTimer, 0)}}
	k.Recorders = []program.Recorder{{Name: "iso", Device: recorder, Ready: second, Timer: k.timer(program.MachineTimer, 0),
		State: k.variable("iso.state", program.RecorderState, 0, int(program.MachineStates))}}
	k.Encoders = []program.Encoder{{Name: "stream", Device: encoder, Ready: second, Timer: k.timer(program.MachineTimer, 1),
		State: k.variable("stream.state", program.EncoderState, 0, int(program.MachineStates))}}
	k.Cameras = []program.Camera{{Name: "goal", Device: robot, Robotic: true, Source: goal,
		Shots: []program.Shot{{Number: 1, Name: "whole"}, {Number: 2, Name: "line"}}, Shot: k.variable("goal.shot", program.CameraShot, 0, 3)}}
	k.Outlets = []program.Outlet{{Name: "fan", Number: 2, Device: power, On: k.variable("fan.on", program.OutletOn, 0, 2)}}
	k.Sends = []program.Send{{Name: "horn", Device: power, Text: "horn"}}
	k.Pages = []program.Page{{Name: "cameras"}, {Name: "crew"}}
	k.Surfaces = []program.Surface{{Name: "desk", Rows: 3, Columns: 5, Pages: []int32{0, 1}, Page: k.variable("desk.page", program.SurfacePage, 0, 2)}}
}

// carriers are the devices that carry out each verb.
var carriers = map[program.Verb]int32{program.Load: player, program.Play: player, program.Pause: player, program.StopDeck: player,
	program.Record: recorder, program.StopRecorder: recorder, program.Start: encoder, program.StopEncoder: encoder, program.Recall: robot,
	program.SwitchTo: power, program.SendTo: power, program.Protect: -1, program.Route: -1, program.RouteTie: -1}

// do is an instruction that does one action.
func (k *maker) do(verb program.Verb, a, b int32, micros ...int64) program.Instr {
	return program.Instr{Op: program.Do, A: k.action(verb, a, b, micros...)}
}

func (k *maker) action(verb program.Verb, a, b int32, micros ...int64) int32 {
	act := program.Action{Verb: verb, A: a, B: b, Device: mixer}
	if len(micros) > 0 {
		act.Micros = micros[0]
	}
	if d, ok := carriers[verb]; ok {
		act.Device = d
	}
	k.Actions = append(k.Actions, act)
	return int32(len(k.Actions) - 1)
}

// is is a condition: a variable has one of the values.
func (k *maker) is(v int32, values ...uint32) int32 {
	set := make([]uint32, (k.Vars[v].Size+31)/32)
	for _, x := range values {
		set[x/32] |= 1 << (x % 32)
	}
	k.Sets = append(k.Sets, set)
	k.Conds = append(k.Conds, program.Cond{Op: program.In, A: v, B: int32(len(k.Sets) - 1)})
	return int32(len(k.Conds) - 1)
}

func (k *maker) say(op program.Op, text string) program.Instr {
	k.Texts = append(k.Texts, text)
	return program.Instr{Op: op, A: int32(len(k.Texts) - 1)}
}

// task adds a script; an End is added to it. The addresses in B count from
// the task's own first instruction. A branch belongs to the next task made.
func (k *maker) task(kind program.TaskKind, owner int, again uint8, name string, code ...program.Instr) int32 {
	t, from := len(k.Tasks), int32(len(k.Code))
	x := program.Task{Name: name, Kind: kind, Owner: int32(owner), Again: again, Entries: []int32{from}, Args: []string{""},
		At: -1, Queued: -1, Timer: -1, Failed: k.variable(name+".failed", program.TaskFailed, t, 2)}
	timed := false
	for _, in := range append(code, program.Instr{Op: program.End}) {
		switch in.Op {
		case program.Until, program.Unless, program.Jump, program.Run:
			in.B += from
		}
		if in.Op == program.Sleep || in.Op == program.Join || in.Op == program.Until && (in.C == 0 || in.Micros > 0) {
			x.Rests = append(x.Rests, int32(len(k.Code)))
			timed = timed || in.Op == program.Sleep || in.Micros > 0
		}
		k.Code = append(k.Code, in)
	}
	if len(x.Rests) > 0 {
		x.At = k.variable(name, program.TaskAt, t, len(x.Rests)+1)
	}
	if timed {
		x.Timer = k.timer(program.TaskTimer, t)
	}
	if again == program.Queue {
		x.Queued = k.variable(name+".queued", program.TaskQueued, t, 2)
	}
	k.Tasks = append(k.Tasks, x)
	if kind == program.BranchTask {
		k.branches = append(k.branches, int32(t))
	} else {
		for _, b := range k.branches {
			k.Tasks[b].Owner = int32(t)
		}
		k.branches = nil
	}
	return int32(t)
}

func (k *maker) branch(name string, code ...program.Instr) int32 {
	return k.task(program.BranchTask, -1, program.Ignore, name, code...)
}

func (k *maker) macro(name string, again uint8, code ...program.Instr) int32 {
	t := k.task(program.MacroTask, len(k.Macros), again, name, code...)
	k.Macros = append(k.Macros, program.Macro{Name: name, Task: t})
	return t
}

// button adds a button to the first page; shape may change it.
func (k *maker) button(code ...program.Instr) int32 {
	i := int32(len(k.Buttons))
	t := k.task(program.PressTask, int(i), program.Ignore, "press", code...)
	k.Buttons = append(k.Buttons, program.Button{Row: 1, Column: i + 1, Label: "button", Press: t, Hold: -1, Release: -1,
		Down: -1, Cover: -1, HoldTimer: -1, CoverTimer: -1, Lit: -1, Air: -1, Runs: []int32{t}})
	k.Pages[0].Buttons = append(k.Pages[0].Buttons, i)
	return i
}

func (k *maker) guard(button int32) {
	b := &k.Buttons[button]
	b.Guarded, b.Cover, b.CoverTimer = true, k.variable("cover", program.ButtonCover, int(button), 2), k.timer(program.CoverTimer, int(button))
}

func (k *maker) hold(button int32, after int64, code ...program.Instr) {
	b := &k.Buttons[button]
	b.Hold, b.HoldAfter = k.task(program.HoldTask, int(button), program.Ignore, "hold", code...), after
	b.Down, b.HoldTimer = k.variable("down", program.ButtonDown, int(button), 3), k.timer(program.HoldTimer, int(button))
}

func (k *maker) release(button int32, code ...program.Instr) {
	b := &k.Buttons[button]
	b.Release = k.task(program.ReleaseTask, int(button), program.Ignore, "release", code...)
	if b.Down < 0 {
		b.Down = k.variable("down", program.ButtonDown, int(button), 3)
	}
}

// cue adds a cue; follow is -1 or the cue that it follows.
func (k *maker) cue(number string, follow int32, after int64, code ...program.Instr) {
	i := len(k.Cues)
	c := program.Cue{Number: number, Task: k.task(program.CueTask, i, program.Ignore, "cue "+number, code...), Follow: follow, After: after, FollowVar: -1, Timer: -1}
	if follow >= 0 {
		c.FollowVar, c.Timer = k.variable("cue "+number+" waits", program.CueFollow, i, int(program.FollowStates)), k.timer(program.FollowTimer, i)
	}
	k.Cues = append(k.Cues, c)
}

// bench is a machine and the state it works on.
type bench struct {
	t *testing.T
	*Machine
	s     *state.State
	heard []Effect // since the last do or wait
}

// run checks the program and powers it on.
func (k *maker) run(t *testing.T) *bench {
	t.Helper()
	k.variable("standby", program.Standby, -1, len(k.Cues)+1)
	if err := program.Validate(&k.Program); err != nil {
		t.Fatalf("the test's program: %v", err)
	}
	m := New(&k.Program)
	return &bench{t: t, Machine: m, s: m.Start()}
}

func (b *bench) do(kind EventKind, a, v int32) {
	b.heard = b.Apply(b.s, Event{kind, a, v, b.s.Now}, nil)
}

func (b *bench) press(button int32) {
	b.do(Down, button, 0)
	down := b.heard
	b.do(Up, button, 0)
	b.heard = append(down, b.heard...)
}

func (b *bench) wait(micros int64) {
	b.heard = nil
	b.Advance(b.s, b.s.Now+micros, func(_ Event, effects []Effect) { b.heard = append(b.heard, effects...) })
}

// is wants a variable to have a value.
func (b *bench) is(v int32, want uint32) {
	b.t.Helper()
	if got := b.L.Get(b.s, v); got != want {
		b.t.Errorf("at %d ms: %s is %d, want %d", b.s.Now/1000, b.P.Vars[v].Name, got, want)
	}
}

// hears wants the effects to be of these kinds, Started and Ended left out.
func (b *bench) hears(want ...EffectKind) {
	b.t.Helper()
	var got []EffectKind
	for _, e := range b.heard {
		if e.Kind != Started && e.Kind != Ended {
			got = append(got, e.Kind)
		}
	}
	if len(got) != len(want) {
		b.t.Fatalf("heard %v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			b.t.Fatalf("heard %v, want %v", got, want)
		}
	}
}

// why wants the n-th effect that is not Started or Ended to have a reason.
func (b *bench) why(n int, want Reason) {
	b.t.Helper()
	for _, e := range b.heard {
		if e.Kind == Started || e.Kind == Ended {
			continue
		}
		if n == 0 {
			if e.Reason != want {
				b.t.Errorf("the reason is %d, want %d", e.Reason, want)
			}
			return
		}
		n--
	}
	b.t.Error("no such effect")
}
