package standin

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/program"
)

// The variables of the test rack, in their order.
const (
	bankProgram = iota
	bankPreset
	bankTransition
	bankFaded
	keyer
	aux
	deckState
	deckClip
	recorder
	encoder
	shot
	outlet
)

// rack is a program with one of every thing that takes commands. Ready times
// and the clip are in microseconds.
func rack() *program.Program {
	v := func(name string, kind program.VarKind, size uint32) program.Var {
		return program.Var{Name: name, Kind: kind, Size: size}
	}
	picks := make([]program.Pick, 4)
	for i := range picks {
		picks[i].Label = fmt.Sprintf("pick %d", i)
	}
	return &program.Program{
		Vars: []program.Var{
			v("main.program", program.BankProgram, 4), v("main.preset", program.BankPreset, 4),
			v("main.transition", program.BankTransition, program.Transitions), v("main.faded", program.BankFaded, 2),
			v("logo.on", program.KeyerOn, 2), v("aux1", program.SwitchPick, 4),
			v("deck.state", program.DeckState, program.DeckStates), v("deck.clip", program.DeckClip, 3),
			v("iso.state", program.RecorderState, program.MachineStates), v("stream.state", program.EncoderState, program.MachineStates),
			v("goal.shot", program.CameraShot, 3), v("fan.on", program.OutletOn, 2),
		},
		Banks:     []program.Bank{{Name: "main", Program: bankProgram, Preset: bankPreset, Transition: bankTransition, Faded: bankFaded, Picks: picks}},
		Keyers:    []program.Keyer{{On: keyer}},
		Switches:  []program.Switch{{Name: "aux1", Var: aux, Picks: picks}},
		Clips:     []program.Clip{{Name: "opener", Length: 8_000_000}, {Name: "endless"}},
		Decks:     []program.Deck{{Name: "deck", State: deckState, Clip: deckClip, Clips: []int32{0, 1}, Ready: 400_000}},
		Recorders: []program.Recorder{{Name: "iso", State: recorder, Ready: 300_000}},
		Encoders:  []program.Encoder{{State: encoder}},
		Cameras:   []program.Camera{{Shot: shot, Shots: make([]program.Shot, 2)}},
		Outlets:   []program.Outlet{{Name: "fan", On: outlet}},
	}
}

func TestModelCarriesCommandsOut(t *testing.T) {
	type do struct {
		after   time.Duration
		command program.Command
	}
	cut := func(pick int32) program.Command { return program.Command{Verb: program.CutTo, B: pick} }
	preset := func(pick int32) program.Command { return program.Command{Verb: program.PresetTo, B: pick} }
	of := func(v program.Verb) program.Command { return program.Command{Verb: v} }
	mix := program.Command{Verb: program.Mix, Micros: 480_000}
	black := program.Command{Verb: program.Fade, B: 1, Micros: 1_000_000}
	ms := time.Millisecond
	for _, c := range []struct {
		what string
		do   []do
		then time.Duration
		want map[int]uint32
	}{
		{"a cut leaves preset", []do{{0, preset(1)}, {0, cut(2)}}, 0, map[int]uint32{bankProgram: 2, bankPreset: 1}},
		{"a take changes over", []do{{0, preset(1)}, {0, cut(2)}, {0, of(program.Take)}}, 0, map[int]uint32{bankProgram: 1, bankPreset: 2}},
		{"a mix runs", []do{{0, preset(1)}, {0, mix}}, 479 * ms, map[int]uint32{bankProgram: 0, bankTransition: program.Mixing}},
		{"a mix ends", []do{{0, preset(1)}, {0, mix}}, 480 * ms, map[int]uint32{bankProgram: 1, bankPreset: 0, bankTransition: program.NoTransition}},
		{"a wipe without a time is done", []do{{0, preset(3)}, {0, of(program.Wipe)}}, 0, map[int]uint32{bankProgram: 3, bankTransition: program.NoTransition}},
		{"a mix over a mix ends the first", []do{{0, preset(1)}, {0, mix}, {100 * ms, mix}}, 0, map[int]uint32{bankProgram: 1, bankTransition: program.Mixing}},
		{"and then the second", []do{{0, preset(1)}, {0, mix}, {100 * ms, mix}}, 480 * ms, map[int]uint32{bankProgram: 0, bankTransition: program.NoTransition}},
		{"a cut in a mix ends it", []do{{0, preset(1)}, {0, mix}, {100 * ms, cut(3)}}, time.Second, map[int]uint32{bankProgram: 3, bankPreset: 0, bankTransition: program.NoTransition}},
		{"a fade runs", []do{{0, black}}, 999 * ms, map[int]uint32{bankFaded: 0, bankTransition: program.FadingOut}},
		{"a fade ends", []do{{0, black}}, time.Second, map[int]uint32{bankFaded: 1, bankTransition: program.NoTransition, bankProgram: 0}},
		{"and back", []do{{0, black}, {time.Second, of(program.Fade)}}, 0, map[int]uint32{bankFaded: 0}},
		{"a keyer", []do{{0, program.Command{Verb: program.KeyTo, B: 1}}}, 0, map[int]uint32{keyer: 1}},
		{"a crosspoint", []do{{0, program.Command{Verb: program.Crosspoint, B: 3}}}, 0, map[int]uint32{aux: 3}},
		{"a shot", []do{{0, program.Command{Verb: program.Recall, B: 1}}}, 0, map[int]uint32{shot: 2}},
		{"an outlet", []do{{0, program.Command{Verb: program.SwitchTo, B: 1}}}, 0, map[int]uint32{outlet: 1}},
		{"a deck loads", []do{{0, of(program.Load)}}, 399 * ms, map[int]uint32{deckState: program.DeckLoading, deckClip: 1}},
		{"a deck is cued", []do{{0, of(program.Load)}}, 400 * ms, map[int]uint32{deckState: program.DeckCued}},
		{"play needs a cued clip", []do{{0, of(program.Load)}, {0, of(program.Play)}}, 0, map[int]uint32{deckState: program.DeckLoading}},
		{"an empty deck does not play", []do{{0, of(program.Play)}}, 0, map[int]uint32{deckState: program.DeckEmpty}},
		{"a clip runs out", []do{{0, of(program.Load)}, {400 * ms, of(program.Play)}}, 8 * time.Second, map[int]uint32{deckState: program.DeckEnded}},
		{"pause holds it", []do{{0, of(program.Load)}, {400 * ms, of(program.Play)}, {ms, of(program.Pause)}}, time.Minute, map[int]uint32{deckState: program.DeckPaused}},
		{"stop cues it", []do{{0, of(program.Load)}, {400 * ms, of(program.Play)}, {ms, of(program.StopDeck)}}, time.Minute, map[int]uint32{deckState: program.DeckCued}},
		{"another clip", []do{{0, of(program.Load)}, {100 * ms, program.Command{Verb: program.Load, B: 1}}}, 399 * ms, map[int]uint32{deckState: program.DeckLoading, deckClip: 2}},
		{"without a length it never ends", []do{{0, program.Command{Verb: program.Load, B: 1}}, {400 * ms, of(program.Play)}}, time.Hour, map[int]uint32{deckState: program.DeckPlaying}},
		{"a recorder starts", []do{{0, of(program.Record)}}, 299 * ms, map[int]uint32{recorder: program.MachineStarting}},
		{"a recorder rolls", []do{{0, of(program.Record)}}, 300 * ms, map[int]uint32{recorder: program.MachineRunning}},
		{"record again changes nothing", []do{{0, of(program.Record)}, {300 * ms, of(program.Record)}}, 0, map[int]uint32{recorder: program.MachineRunning}},
		{"stop while starting", []do{{0, of(program.Record)}, {ms, of(program.StopRecorder)}}, time.Second, map[int]uint32{recorder: program.MachineStopped}},
		{"a stream is live", []do{{0, of(program.Start)}}, 0, map[int]uint32{encoder: program.MachineRunning}},
		{"and ended", []do{{0, of(program.Start)}, {0, of(program.StopEncoder)}}, 0, map[int]uint32{encoder: program.MachineStopped}},
		{"a named message", []do{{0, of(program.SendTo)}}, 0, map[int]uint32{}},
	} {
		m, now := newModel(rack()), time.Unix(0, 0)
		for _, d := range c.do {
			now = now.Add(d.after)
			m.advance(now)
			m.apply(d.command, now)
		}
		m.advance(now.Add(c.then))
		for v, want := range c.want {
			if got := m.values[v]; got != want {
				t.Errorf("%s: %s is %d, want %d", c.what, m.p.Vars[v].Name, got, want)
			}
		}
	}
}

// Whatever comes, values stay in range, an owner has at most one thing to do,
// and what is due ends.
func TestModelStaysInRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, now := newModel(rack()), time.Unix(0, 0)
		for range rapid.IntRange(0, 40).Draw(t, "commands") {
			now = now.Add(time.Duration(rapid.IntRange(0, 500).Draw(t, "ms")) * time.Millisecond)
			touched := m.advance(now)
			touched = append(touched, m.apply(program.Command{
				Verb: rapid.SampledFrom([]program.Verb{program.CutTo, program.PresetTo, program.Take, program.Mix, program.Wipe, program.Fade,
					program.KeyTo, program.Crosspoint, program.Load, program.Play, program.Pause, program.StopDeck, program.Record,
					program.StopRecorder, program.Start, program.StopEncoder, program.Recall, program.SwitchTo}).Draw(t, "verb"),
				B: int32(rapid.IntRange(0, 1).Draw(t, "b")), Micros: int64(rapid.IntRange(0, 900_000).Draw(t, "micros"))}, now)...)
			for _, v := range touched {
				if v < 0 || int(v) >= len(m.values) {
					t.Fatalf("touched %d", v)
				}
			}
			owners := map[int32]bool{}
			for _, l := range m.due {
				if owners[l.owner] {
					t.Fatalf("variable %d has two things to do", l.owner)
				}
				owners[l.owner] = true
			}
			for i, value := range m.values {
				if value >= m.p.Vars[i].Size {
					t.Fatalf("%s is %d", m.p.Vars[i].Name, value)
				}
			}
		}
		m.advance(now.Add(time.Hour))
		if _, some := m.next(); some || m.values[bankTransition] != program.NoTransition {
			t.Fatalf("something is left: %s", fmt.Sprint(m.due))
		}
	})
}
