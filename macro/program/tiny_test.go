package program

// tiny is a small Program by hand, with one of everything: a camera, bars and
// a deck on a bank with a keyer, an aux bus that is a tie line to a second
// bank, a screen behind another, a macro with two sets of arguments and a
// branch, a button with a cover and a hold, two cues, a rule, a rehearsal, a
// message and an observation.
func tiny() *Program {
	p := &Program{Show: "Tiny", Rack: "Shelf", Rate: Rate{50, 1, false},
		Files: []File{{"tiny.show", "00"}, {"rack.yaml", "11"}}}
	at := Place{0, 1, 1}
	v := func(kind VarKind, owner int32, size, start uint32) int32 {
		p.Vars = append(p.Vars, Var{"v", kind, owner, size, start})
		return int32(len(p.Vars) - 1)
	}
	tm := func(kind TimerKind, owner int32) int32 {
		p.Timers = append(p.Timers, Timer{kind, owner})
		return int32(len(p.Timers) - 1)
	}
	for i := range int32(2) {
		p.Devices = append(p.Devices, Device{Name: "mixer", Wire: "osc.udp", Deadline: 1000, Health: v(DeviceHealth, i, Healths, 0), At: at})
	}
	p.Nodes = []Node{
		{SourceNode, "no signal", 0, -1, -1, nil},
		{SourceNode, "cam", 1, 0, -1, nil},
		{SourceNode, "views", 2, 0, -1, []int32{3}},
		{PassNode, "mixer input 1", -1, 0, -1, []int32{1}},
		{BankNode, "main", 0, 0, -1, []int32{3, 2, 2}},
		{CleanNode, "main clean", 0, 0, -1, []int32{3, 2}},
		{PresetNode, "main preset", 0, 0, -1, []int32{3, 2}},
		{SwitchNode, "aux1", 0, 0, -1, []int32{3, 4}},
		{PassNode, "other input 1", -1, 1, 0, []int32{7}},
	}
	p.Sources = []Source{
		{"no signal", "nothing", 0, -1, -1, -1, Place{}},
		{"cam", "live", 1, 0, 0, -1, at},
		{"views", "multiview", 2, 0, -1, -1, at},
	}
	picks := []Pick{{3, 1, "cam"}, {2, 100, "views"}}
	p.Banks = []Bank{{"main", 1, 0, v(BankProgram, 0, 2, 1), v(BankPreset, 0, 2, 0), v(BankTransition, 0, Transitions, 0),
		v(BankFaded, 0, 2, 0), tm(BankTimer, 0), picks, []int32{0}, 0, 4, 5, 6, at}}
	p.Keyers = []Keyer{{"logo", 1, 0, v(KeyerOn, 0, 2, 0), 2, at}}
	p.Switches = []Switch{{"aux1", 1, 0, v(SwitchPick, 0, 2, 0), []Pick{{3, 1, "cam"}, {4, 9, "main"}}, 7, at}}
	p.Ties = []Tie{{"line1", 0, 8, at}}
	p.Destinations = []Destination{{"screens", 8, v(DestinationProtected, 0, 2, 1), 0, []int32{2}, SafePicture, 1, at}}
	p.Decks = []Deck{{"deck", 0, v(DeckState, 0, DeckStates, 0), v(DeckClip, 0, 2, 0), tm(DeckTimer, 0), []int32{0}, 1, 400, at}}
	p.Clips = []Clip{{"opener", "opener.mov", 0, 1, 24_000_000, at}}
	p.Recorders = []Recorder{{"iso", 0, v(RecorderState, 0, MachineStates, 0), tm(MachineTimer, 0), 300, at}}
	p.Encoders = []Encoder{{"stream", 1, v(EncoderState, 0, MachineStates, 0), tm(MachineTimer, 1), 300, at}}
	p.Inputs = []Input{{8, 0, -1}, {8, -1, 0}}
	p.Cameras = []Camera{{"cam", 0, true, v(CameraShot, 0, 2, 0), []Shot{{1, "wide"}}, 1, at}}
	p.Outlets = []Outlet{{"fan", 1, 1, v(OutletOn, 0, 2, 0), at}}
	p.Surfaces = []Surface{{"desk", 3, 5, "osc", v(SurfacePage, 0, 2, 0), []int32{0, 1}, at}}
	p.Pages = []Page{{"cameras", []int32{0}, at}, {"crew", nil, at}}
	p.Buttons = []Button{{0, 1, 1, "Wide", true, 2, 3, 4, 500, v(ButtonDown, 0, 3, 0), v(ButtonCover, 0, 2, 0),
		tm(HoldTimer, 0), tm(CoverTimer, 0), 1, 2, []Lamp{{"dark", 0}}, []int32{0, 1, 2}, []int32{0}, at}}
	p.Cues = []Cue{{"1", "Doors", 5, -1, 0, ByClock, 70_200, -1, -1, at}, {"2", "Kick-off", 6, 0, 5, NoMoment, 0, v(CueFollow, 1, FollowStates, 0), tm(FollowTimer, 1), at}}
	v(Standby, -1, 3, 0)
	p.Texts = []string{"a word", "über den Köpfen\x00 <b>"}
	p.Sets = [][]uint32{{1}, {5}}
	p.Conds = []Cond{{Const, 1, 0, 0, 0}, {In, p.Banks[0].Program, 0, 0, 0}, {SourceOnAir, 1, 0, 0, 0}, {Shows, 0, 1, 0, 0},
		{ShowsNode, 0, 4, 0, 0}, {Running, 1, 0, 0, 0}, {Not, 0, 0, 1, 0}, {And, 0, 0, 6, 5}, {Or, 0, 0, 7, 3},
		{In, p.Recorders[0].State, 1, 0, 0}}
	p.Actions = []Action{{CutTo, 0, 1, 0, 0, at}, {Mix, 0, 0, 240_000, 0, at}, {Route, 0, 1, 0, -1, at}, {RouteTie, 0, 4, 0, -1, at},
		{Load, 0, 0, 0, 0, at}, {Recall, 0, 0, 0, 0, at}, {SendTo, 0, 0, 0, 1, at}, {Record, 0, 0, 0, 0, at}, {Start, 0, 0, 0, 1, at},
		{KeyTo, 0, 1, 0, 0, at}, {SwitchTo, 0, 1, 0, 1, at}, {Protect, 0, 1, 0, -1, at}, {Fade, 0, 1, 40, 0, at}}
	p.Sends = []Send{{"lights", 1, "lights(level: 40)", []Value{{"level", "40"}}}}
	p.Salvos = []Salvo{{"doors", []int32{2, 3}, at}}
	p.Macros = []Macro{{"roll", 1, at}}
	code := func(list ...Instr) int32 {
		first := int32(len(p.Code))
		for _, in := range list {
			in.At = at
			p.Code = append(p.Code, in)
		}
		return first
	}
	task := func(kind TaskKind, owner int32, again uint8, entries ...int32) {
		i := int32(len(p.Tasks))
		t := Task{Name: "t", Kind: kind, Owner: owner, Again: again, Entries: entries, Args: make([]string, len(entries)),
			At: -1, Queued: -1, Timer: -1, Place: at}
		timed := false
		for a := int(entries[0]); a < len(p.Code); a++ {
			if in := p.Code[a]; in.Rests() {
				t.Rests = append(t.Rests, int32(a))
				timed = timed || in.Op == Sleep || in.Micros > 0
			}
		}
		if t.Failed = v(TaskFailed, i, 2, 0); len(t.Rests) > 0 {
			t.At = v(TaskAt, i, uint32(len(t.Rests)+1), 0)
		}
		if again == Queue {
			t.Queued = v(TaskQueued, i, uint32(len(entries)+1), 0)
		}
		if timed {
			t.Timer = tm(TaskTimer, i)
		}
		p.Tasks = append(p.Tasks, t)
	}
	task(BranchTask, 1, Ignore, code(Instr{Op: Sleep, Micros: 200}, Instr{Op: Note, A: 1}, Instr{Op: End}))
	first := code(Instr{Op: Until, A: 9, B: 2 + 3, C: 1, Micros: 2_000_000}, Instr{Op: Jump, B: 7}, Instr{Op: Fail}, Instr{Op: Alert}, Instr{Op: End})
	second := code(Instr{Op: Run, B: 10}, Instr{Op: Join}, Instr{Op: Abandon, A: -1}, Instr{Op: End})
	task(MacroTask, 0, Queue, first, second)
	task(PressTask, 0, Ignore, code(Instr{Op: Run, A: 1, B: 14, C: 1}, Instr{Op: Join, A: 1}, Instr{Op: Do, A: 6}, Instr{Op: GoCue, A: 1}, Instr{Op: End}))
	task(HoldTask, 0, Ignore, code(Instr{Op: Unless, A: 8, B: 19}, Instr{Op: Do, A: 0}, Instr{Op: End}))
	task(ReleaseTask, 0, Restart, code(Instr{Op: Turn, A: 0, B: 1}, Instr{Op: End}))
	task(CueTask, 0, Ignore, code(Instr{Op: Fire}, Instr{Op: GoCue, A: -1}, Instr{Op: End}))
	task(CueTask, 1, Ignore, code(Instr{Op: Until, A: 3, B: 26}, Instr{Op: End}))
	p.Rules = []Rule{{Always, "recording", 9, 4, at}, {Never, "views", 3, -1, at}}
	p.Rehearsals = []Rehearsal{{"walk", []Step{{StepGo, -1, 0, 0, "", at}, {StepPress, 0, 0, 0, "", at}, {StepHold, 0, 0, 1000, "", at},
		{StepAfter, 0, 0, 5, "", at}, {StepExpect, 8, 0, 0, "x", at}, {StepFault, 1, int32(Away), 0, "", at},
		{StepMoment, 0, 0, 0, "", at}, {StepStand, 2, 0, 0, "", at}, {StepExpectAlert, 0, 0, 0, "a word", at}}, at}}
	p.Allows = []Allow{{"flash", "short", "2027-01-31", 1, -1, at}, {"flash", "page", "", -1, 1, at}}
	p.Messages = []Message{{Command{CutTo, 0, 0, 0}, 0, []byte{0, 1, 255}, nil, "cut main to cam"},
		{Command{Crosspoint, 0, 1, 0}, 0, nil, &Request{"POST", "/x", [][2]string{{"A", "b"}}, []byte("{}")}, ""}}
	p.Observations = []Observation{{0, "/program", 0, "", "", 0, "", p.Banks[0].Program, []Meaning{{"1", 0}, {"100", 1}}, at}}
	return p
}
