package step

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// Each case is one script on a button, pressed once on the rack at power-on
// (main is wide over wide), and what is so right after and after a second.
func TestActions(t *testing.T) {
	type want map[string]uint32
	for _, c := range []struct {
		name       string
		code       func(k *maker) []program.Instr
		now, later want
		hears      []EffectKind
	}{
		{"cut sets program and leaves preset", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.CutTo, 0, int32(pickGoal))}
		}, want{"main.program": 1, "main.preset": 0}, nil, []EffectKind{Sent}},
		{"take changes over", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.PresetTo, 0, pickDeck), k.do(program.Take, 0, 0)}
		}, want{"main.program": 2, "main.preset": 0}, nil, []EffectKind{Sent, Sent}},
		{"mix runs, then changes over", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second/2)}
		}, want{"main.program": 0, "main.preset": 1, "main.transition": program.Mixing},
			want{"main.program": 1, "main.preset": 0, "main.transition": program.NoTransition}, []EffectKind{Sent, Sent}},
		{"wipe of no length changes over at once", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.PresetTo, 0, pickGoal), k.do(program.Wipe, 0, 0)}
		}, want{"main.program": 1, "main.preset": 0, "main.transition": program.NoTransition}, nil, []EffectKind{Sent, Sent}},
		{"a cut ends a mix first", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second), k.do(program.CutTo, 0, pickBlack)}
		}, want{"main.program": 3, "main.preset": 0, "main.transition": program.NoTransition}, want{"main.program": 3, "main.preset": 0}, []EffectKind{Sent, Sent, Sent}},
		{"a mix over a mix completes the first", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second), k.do(program.PresetTo, 0, pickDeck), k.do(program.Mix, 0, 0, second/2)}
		}, want{"main.program": 1, "main.preset": 2, "main.transition": program.Mixing}, want{"main.program": 2, "main.preset": 1}, []EffectKind{Sent, Sent, Sent, Sent}},
		{"fade to black keeps the program underneath", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Fade, 0, 1, second/2)}
		}, want{"main.transition": program.FadingOut, "main.black": 0}, want{"main.transition": 0, "main.black": 1, "main.program": 0}, []EffectKind{Sent}},
		{"fade from black over a fade to black", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Fade, 0, 1, second), k.do(program.Fade, 0, 0, second/2)}
		}, want{"main.transition": program.FadingIn, "main.black": 1}, want{"main.transition": 0, "main.black": 0}, []EffectKind{Sent, Sent}},
		{"fade from black when it is not black", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Fade, 0, 0, second)}
		}, want{"main.transition": 0, "main.black": 0}, nil, []EffectKind{Sent}},
		{"key on", func(k *maker) []program.Instr { return []program.Instr{k.do(program.KeyTo, 0, 1)} },
			want{"logo.on": 1}, nil, []EffectKind{Sent}},
		{"load cues", func(k *maker) []program.Instr { return []program.Instr{k.do(program.Load, 0, opener)} },
			want{"deck.state": program.DeckLoading, "deck.clip": 1}, want{"deck.state": program.DeckCued}, []EffectKind{Sent}},
		{"play of an empty deck fails", func(k *maker) []program.Instr { return []program.Instr{k.do(program.Play, 0, 0)} },
			want{"deck.state": program.DeckEmpty, "press.failed": 1}, nil, []EffectKind{Failed}},
		{"stop and pause of an empty deck change nothing", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.StopDeck, 0, 0), k.do(program.Pause, 0, 0)}
		}, want{"deck.state": program.DeckEmpty, "press.failed": 0}, nil, []EffectKind{Sent, Sent}},
		{"record takes its time", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Record, 0, 0), k.do(program.Record, 0, 0)}
		}, want{"iso.state": program.MachineStarting}, want{"iso.state": program.MachineRunning}, []EffectKind{Sent, Sent}},
		{"stop while starting", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Record, 0, 0), k.do(program.StopRecorder, 0, 0)}
		}, want{"iso.state": program.MachineStopped}, want{"iso.state": program.MachineStopped}, []EffectKind{Sent, Sent}},
		{"stream starts and stops", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Start, 0, 0), {Op: program.Sleep, Micros: second}, k.do(program.StopEncoder, 0, 0)}
		}, want{"stream.state": program.MachineStarting}, want{"stream.state": program.MachineStopped}, []EffectKind{Sent}},
		{"recall, switch, send", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Recall, 0, 1), k.do(program.SwitchTo, 0, 1), k.do(program.SendTo, 0, 0)}
		}, want{"goal.shot": 2, "fan.on": 1}, nil, []EffectKind{Sent, Sent, Sent}},
		{"route points the aux", func(k *maker) []program.Instr { return []program.Instr{k.do(program.Route, 0, wide)} },
			want{"aux1": uint32(auxWide)}, nil, []EffectKind{Sent}},
		{"a route that stands is sent again at its destination", func(k *maker) []program.Instr { return []program.Instr{k.do(program.Route, 0, mainOut)} },
			want{"aux1": uint32(auxMain)}, nil, []EffectKind{Sent}},
		{"no way to the screens", func(k *maker) []program.Instr { return []program.Instr{k.do(program.Route, 0, goal)} },
			want{"aux1": uint32(auxMain), "press.failed": 1}, nil, []EffectKind{Blocked}},
		{"a protected destination is refused until released", func(k *maker) []program.Instr {
			return []program.Instr{k.do(program.Protect, 0, 1), k.do(program.Route, 0, wide), k.do(program.Protect, 0, 0), k.do(program.Route, 0, wide)}
		}, want{"aux1": uint32(auxWide), "screens.protected": 0, "press.failed": 1}, nil, []EffectKind{Failed, Sent}},
		{"turn a page", func(k *maker) []program.Instr { return []program.Instr{{Op: program.Turn, A: 0, B: 1}} },
			want{"desk.page": 1}, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newMaker()
			button := k.button(c.code(k)...)
			b := k.run(t)
			b.press(button)
			b.hears(c.hears...)
			b.are(c.now)
			b.wait(second)
			b.are(c.later)
		})
	}
}

func (b *bench) are(want map[string]uint32) {
	b.t.Helper()
	for i, v := range b.P.Vars {
		if value, ok := want[v.Name]; ok {
			b.is(int32(i), value)
		}
	}
	for name := range want {
		if !slices.ContainsFunc(b.P.Vars, func(v program.Var) bool { return v.Name == name }) {
			b.t.Errorf("the test asks for %q, which is no variable", name)
		}
	}
}

func TestClipRunsOut(t *testing.T) {
	k := newMaker()
	load, play := k.button(k.do(program.Load, 0, opener)), k.button(k.do(program.Play, 0, 0))
	pause, stop := k.button(k.do(program.Pause, 0, 0)), k.button(k.do(program.StopDeck, 0, 0))
	endless := k.button(k.do(program.Load, 0, unknownLength))
	b := k.run(t)
	state := k.Decks[0].State

	b.press(load)
	b.press(play)
	b.why(0, NothingToDo) // still loading
	b.wait(second)
	b.press(play)
	b.wait(8*second - 1)
	b.is(state, program.DeckPlaying)
	b.wait(1)
	b.is(state, program.DeckEnded)
	b.press(play) // from the top
	b.wait(second)
	b.press(pause)
	b.wait(60 * second)
	b.is(state, program.DeckPaused)
	b.press(stop)
	b.is(state, program.DeckCued)
	b.press(endless)
	b.wait(second)
	b.press(play)
	b.wait(3600 * second)
	b.is(state, program.DeckPlaying)
}

// What each fault does to a recorder that is asked to record.
func TestFaults(t *testing.T) {
	for _, c := range []struct {
		name         string
		health       uint32
		effect       EffectKind
		why          Reason
		now          uint32
		second, tenS uint32
		failed       uint32
	}{
		{"well", program.Well, Sent, NoReason, program.MachineStarting, program.MachineRunning, program.MachineRunning, 0},
		{"away", program.Away, Failed, DeviceAway, program.MachineStopped, program.MachineStopped, program.MachineStopped, 1},
		{"refuses", program.Refuses, Failed, DeviceRefuses, program.MachineStopped, program.MachineStopped, program.MachineStopped, 1},
		{"slow", program.Slow, Sent, NoReason, program.MachineStarting, program.MachineStarting, program.MachineRunning, 0},
		{"full", program.Full, Sent, RecorderFull, program.MachineStarting, program.MachineStarting, program.MachineStarting, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newMaker()
			button := k.button(k.do(program.Record, 0, 0), k.say(program.Note, "and on"))
			b := k.run(t)
			b.do(Fault, recorder, int32(c.health))
			b.press(button)
			b.hears(c.effect, Noted)
			b.why(0, c.why)
			b.is(k.Recorders[0].State, c.now)
			b.is(k.Tasks[0].Failed, c.failed)
			b.wait(second)
			b.is(k.Recorders[0].State, c.second)
			b.wait(9 * second)
			b.is(k.Recorders[0].State, c.tenS)

			b.do(Fault, recorder, int32(program.Well)) // what is stays, until it is asked again
			b.wait(100 * second)
			b.is(k.Recorders[0].State, c.tenS)
			b.press(button)
			b.is(k.Tasks[0].Failed, 0)
			b.wait(second)
			b.is(k.Recorders[0].State, program.MachineRunning)
		})
	}
}

func TestFullWhileStartingNeverRolls(t *testing.T) {
	k := newMaker()
	button := k.button(k.do(program.Record, 0, 0))
	b := k.run(t)
	b.press(button)
	b.do(Fault, recorder, int32(program.Full))
	b.wait(100 * second)
	b.is(k.Recorders[0].State, program.MachineStarting)
}

func TestSlowMixerTakesTenTimesAsLong(t *testing.T) {
	k := newMaker()
	button := k.button(k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second))
	b := k.run(t)
	b.do(Fault, mixer, int32(program.Slow))
	b.press(button)
	b.wait(10*second - 1)
	b.is(k.Banks[0].Program, uint32(pickWide))
	b.wait(1)
	b.is(k.Banks[0].Program, uint32(pickGoal))
}

// A salvo is one group; a route of its own is another.
func TestGroups(t *testing.T) {
	k := newMaker()
	k.Salvos = []program.Salvo{{Name: "doors", Actions: []int32{k.action(program.CutTo, 0, pickGoal), k.action(program.Route, 0, wide)}}}
	button := k.button(program.Instr{Op: program.Fire, A: 0}, k.do(program.KeyTo, 0, 1), k.do(program.Route, 0, mainOut))
	b := k.run(t)
	b.press(button)
	var groups []int32
	for _, e := range b.heard {
		if e.Kind == Sent {
			groups = append(groups, e.Group)
		}
	}
	if want := []int32{1, 1, 0, 2}; !slices.Equal(groups, want) {
		t.Errorf("the groups are %v, want %v", groups, want)
	}
}

// What is heard from a bank in the middle of a mix from wide to goal.
func TestObserveDuringMix(t *testing.T) {
	for _, c := range []struct {
		name            string
		v, value        func(b program.Bank) uint32
		program, preset int32
		running         bool
	}{
		{"the new program: the mix has completed", programOf, pick(pickGoal), pickGoal, pickWide, false},
		{"the old program: nothing new", programOf, pick(pickWide), pickWide, pickGoal, true},
		{"another program: the mix is over", programOf, pick(pickDeck), pickDeck, pickGoal, false},
		{"the old program on preset: completed", presetOf, pick(pickWide), pickGoal, pickWide, false},
		{"another preset: the mix goes on to it", presetOf, pick(pickDeck), pickWide, pickDeck, true},
		{"no transition: completed", func(b program.Bank) uint32 { return uint32(b.Transition) }, pick(0), pickGoal, pickWide, false},
		{"black: the mix goes on under it", func(b program.Bank) uint32 { return uint32(b.Faded) }, pick(1), pickWide, pickGoal, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newMaker()
			button := k.button(k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second))
			b := k.run(t)
			b.press(button)
			bank := k.Banks[0]
			b.do(Observe, int32(c.v(bank)), int32(c.value(bank)))
			b.is(bank.Program, uint32(c.program))
			b.is(bank.Preset, uint32(c.preset))
			if running := b.L.Get(b.s, bank.Transition) != program.NoTransition; running != c.running {
				t.Errorf("the mix runs: %v, want %v", running, c.running)
			}
			if on := b.s.Due[bank.Timer] != state.Off; on != c.running {
				t.Errorf("the timer runs: %v, want %v", on, c.running)
			}
		})
	}
}

func programOf(b program.Bank) uint32 { return uint32(b.Program) }
func presetOf(b program.Bank) uint32  { return uint32(b.Preset) }

func pick(value int32) func(program.Bank) uint32 {
	return func(program.Bank) uint32 { return uint32(value) }
}

func TestObserveMachines(t *testing.T) {
	k := newMaker()
	load, play := k.button(k.do(program.Load, 0, opener)), k.button(k.do(program.Play, 0, 0))
	record := k.button(k.do(program.Record, 0, 0))
	b := k.run(t)
	deck, iso := k.Decks[0], k.Recorders[0]

	b.press(load)
	b.do(Observe, deck.State, int32(program.DeckCued)) // sooner than planned: the loading is over
	b.press(play)
	b.wait(second)
	b.is(deck.State, program.DeckPlaying)
	b.do(Observe, deck.State, int32(program.DeckPaused))
	b.wait(60 * second)
	b.is(deck.State, program.DeckPaused)
	b.do(Observe, deck.State, int32(program.DeckPlaying)) // a clip of 8 s from now on
	b.wait(8 * second)
	b.is(deck.State, program.DeckEnded)

	b.press(record)
	b.do(Observe, iso.State, int32(program.MachineStopped))
	b.wait(60 * second)
	b.is(iso.State, program.MachineStopped)

	before := b.s.Clone()
	b.do(Observe, iso.State, int32(program.MachineStates)) // no such value
	b.do(Observe, k.Tasks[0].Failed, 1)                    // not a device's to say
	if !b.s.Equal(before) {
		t.Error("an observation that means nothing changed the state")
	}
}
