package story

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/check"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// small compiles the small show.
func small(t *testing.T) *program.Program {
	t.Helper()
	read := func(name string) *source.File {
		data, err := os.ReadFile("../../testdata/shows/small/" + name)
		if err != nil {
			t.Fatal(err)
		}
		return source.New(name, data)
	}
	file, found := syntax.Parse(read("small.show"))
	rack, more := plan.Read(read("rack.yaml"))
	found.Add(more...)
	info, more := check.Show(file, rack)
	found.Add(more...)
	for _, d := range found {
		if d.Severity == 0 {
			t.Fatalf("line %d: %s", d.At.Begin().Line, d.What)
		}
	}
	return lower.Show(info)
}

// The JSON of a beat, field by field: its names are a promise.
func TestBeatAsJSON(t *testing.T) {
	p := small(t)
	cue := program.Command{Verb: program.CutTo, A: 0, B: 0}
	p.Messages = []program.Message{{Command: cue, Text: "/bank/1/program 1"}}
	m := step.New(p)
	before := m.Start()
	after := before.Clone()
	wide := int32(0) // the small show's first button
	effects := m.Apply(after, step.Event{Kind: step.Down, A: wide, At: 1_240_000}, nil)
	effects = append(effects, step.Effect{Kind: step.Alerted, Text: "mind the step", Instr: -1, Task: -1})
	beat := New(m).Tell(before, step.Event{Kind: step.Down, A: wide, At: 1_240_000}, effects, after)
	beat.Number = 7
	got, err := json.MarshalIndent(beat, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	const want = `{
  "number": 7,
  "micros": 1240000,
  "time": "1.240 s",
  "timecode": "00:00:01:12",
  "title": "desk: cameras 1.1 \"Wide\"",
  "place": "small.show:44",
  "changes": [
    {
      "what": "main program",
      "from": "black",
      "to": "wide"
    }
  ],
  "shows": [
    {
      "what": "web",
      "from": "black",
      "to": "wide"
    }
  ],
  "sent": [
    {
      "device": "mixer",
      "command": "cut main to wide",
      "text": "/bank/1/program 1"
    }
  ],
  "alerts": [
    "mind the step"
  ],
  "unchanged": {
    "destinations": 3
  }
}`
	if string(got) != want {
		t.Errorf("got %s", got)
	}
	if text := beat.String(); !strings.Contains(text, "to mixer: cut main to wide  [/bank/1/program 1]\n") || !strings.Contains(text, "ALERT mind the step\n") {
		t.Errorf("as text:\n%s", text)
	}
}

// Every command of the small rack in the words of the language.
func TestCommand(t *testing.T) {
	p := small(t)
	for want, c := range map[string]program.Command{
		"cut main to goal":                      {Verb: program.CutTo, A: 0, B: 1},
		"preset effects to black":               {Verb: program.PresetTo, A: 1, B: int32(len(p.Banks[1].Picks) - 1)},
		"take main":                             {Verb: program.Take},
		"mix main over 12f":                     {Verb: program.Mix, Micros: 240_000},
		"wipe main over 1s":                     {Verb: program.Wipe, Micros: 1_000_000},
		"fade main to black over 2s":            {Verb: program.Fade, B: 1, Micros: 2_000_000},
		"fade main from black over 2s":          {Verb: program.Fade, Micros: 2_000_000},
		"key logo off":                          {Verb: program.KeyTo},
		"route screens from main":               {Verb: program.Route, B: p.Banks[0].Node},
		"route line2 from wide":                 {Verb: program.RouteTie, A: 1, B: p.Sources[1].Node},
		"route aux1 from main":                  {Verb: program.Crosspoint, B: int32(len(p.Switches[0].Picks) - 2)},
		`load deck with "goal-1"`:               {Verb: program.Load, B: 1},
		"play deck":                             {Verb: program.Play},
		"pause deck":                            {Verb: program.Pause},
		"stop deck":                             {Verb: program.StopDeck},
		"record safety":                         {Verb: program.Record, A: 1},
		"stop iso":                              {Verb: program.StopRecorder},
		"start stream":                          {Verb: program.Start},
		"stop stream":                           {Verb: program.StopEncoder},
		"recall goal shot 2":                    {Verb: program.Recall, A: 1, B: 1},
		"switch fan on":                         {Verb: program.SwitchTo, A: 1, B: 1},
		`send lights(level: 40, scene: "half")`: {Verb: program.SendTo},
		"protect screens":                       {Verb: program.Protect, B: 1},
		"release web":                           {Verb: program.Protect, A: 3},
	} {
		if got := Command(p, c); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// Failures and what is ignored, each reason in words that say what to do.
func TestReasons(t *testing.T) {
	p := small(t)
	m := step.New(p)
	tell := New(m)
	s := m.Start()
	route := program.Command{Verb: program.Route, B: p.Sources[1].Node}
	for _, c := range []struct {
		e    step.Effect
		want string
	}{
		{step.Effect{Kind: step.Failed, Reason: step.DeviceAway, Command: program.Command{Verb: program.Take}, Device: p.Banks[0].Device},
			"take main was not done: mixer does not answer"},
		{step.Effect{Kind: step.Failed, Reason: step.DeviceRefuses, Command: program.Command{Verb: program.Take}, Device: p.Banks[0].Device},
			"take main was not done: mixer answered no"},
		{step.Effect{Kind: step.Failed, Reason: step.NothingToDo, Command: program.Command{Verb: program.Play}},
			"play deck was not done: no clip is cued"},
		{step.Effect{Kind: step.Failed, Reason: step.IsProtected, Command: route}, "route screens from wide was not done: screens is protected"},
		{step.Effect{Kind: step.Failed, Reason: step.TooLong}, "it ran on and on and was ended"},
		{step.Effect{Kind: step.Blocked, Reason: step.NoPath, Command: route}, "route screens from wide was not done: there is no way through the rack"},
		{step.Effect{Kind: step.Blocked, Reason: step.TiesTaken, Command: route, Holders: []int32{0, 1}}, "route screens from wide was not done: line1 and line2 taken"},
		{step.Effect{Kind: step.Blocked, Reason: step.TiesTaken, Command: route}, "route screens from wide was not done: the switches on the way are taken"},
		{step.Effect{Kind: step.Ignored, Reason: step.NotShowing}, `cameras 1.1 "Wide" is not showing: nothing happens`},
		{step.Effect{Kind: step.Ignored, Reason: step.StillDown}, `cameras 1.1 "Wide" is down already: nothing happens`},
		{step.Effect{Kind: step.Ignored, Reason: step.NothingToDo, A: -1}, "there is nothing on standby"},
	} {
		c.e.Task, c.e.Instr = -1, -1
		b := tell.Tell(s, step.Event{Kind: step.StopAll}, []step.Effect{c.e}, s)
		if got := strings.Join(append(b.Failures, b.Notes...), "|"); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
		if !b.Did() {
			t.Errorf("%q is not worth telling", c.want)
		}
	}
}

// A picture that goes in a circle ends, in words too.
func TestPictureOfItself(t *testing.T) {
	k := simtest.New()
	wide := k.Source("wide", "live")
	sw := k.Switch("aux", wide)
	bank := k.Bank("main", k.Out(sw))
	k.SwitchTakes(sw, k.BankOut(bank))
	k.Destination("screens", k.Out(sw), program.AlwaysOnAir)
	m := step.New(k.Done(t))
	s := m.Start()
	m.L.Set(s, m.P.Switches[0].Var, 1)
	if got := New(m).Scene(s).Shows[0].Picture; got != "a picture of itself" {
		t.Errorf("it shows %q", got)
	}
}

// Banks in banks, all mixing: the words stay few.
func TestDeepMixes(t *testing.T) {
	k := simtest.New()
	wide, goal := k.Source("wide", "live"), k.Source("goal", "live")
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		wide, goal = k.BankOut(k.Bank(name, wide, goal)), wide
	}
	k.Destination("screens", wide, program.AlwaysOnAir)
	m := step.New(k.Done(t))
	s := m.Start()
	for _, b := range m.P.Banks {
		m.L.Set(s, b.Transition, program.Mixing)
		m.L.Set(s, b.Preset, 1)
	}
	want := "[a over b (mixing)] over [b over c (mixing)] (mixing)"
	if got := New(m).Scene(s).Shows[0].Picture; got != want {
		t.Errorf("it shows %q, want %q", got, want)
	}
}

// On drawn racks and states: a destination is told when and only when its
// words change, the rest are counted; the tally told is the difference of the
// two tallies; telling changes neither state; and nothing is told of nothing.
func TestTellLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := simtest.Rack(t).Done(t)
		m := step.New(p)
		tell := New(m)
		before, after := simtest.State(t, p, m.L), simtest.State(t, p, m.L)
		keep, keepAfter := before.Clone(), after.Clone()
		b := tell.Tell(before, step.Event{Kind: step.StopAll}, nil, after)
		if !before.Equal(keep) || !after.Equal(keepAfter) {
			t.Fatal("telling changed a state")
		}
		if len(b.Shows)+b.Unchanged.Destinations != len(p.Destinations) {
			t.Fatalf("%d told and %d unchanged, of %d", len(b.Shows), b.Unchanged.Destinations, len(p.Destinations))
		}
		for _, c := range append(b.Shows, b.Changes...) {
			if c.From == c.To || c.What == "" {
				t.Fatalf("%+v is no change", c)
			}
		}
		was, is := signal.New(p, m.L), signal.New(p, m.L)
		was.Look(before)
		is.Look(after)
		if got, want := len(b.Came)-len(b.Left), is.OnAir().Len()-was.OnAir().Len(); got != want {
			t.Fatalf("%d more on air are told, and it is %d", got, want)
		}
		if same := tell.Tell(before, step.Event{Kind: step.StopAll}, nil, before); same.Did() {
			t.Fatalf("of nothing is told %+v", same)
		}
	})
}

// Every event has a title that names what it is about.
func TestTitles(t *testing.T) {
	p := small(t)
	m := step.New(p)
	tell := New(m)
	s := m.Start()
	for i := range p.Timers {
		title, _ := tell.title(s, step.Event{Kind: step.Expire, A: int32(i)})
		if len(title) < 8 {
			t.Errorf("timer %d has the title %q", i, title)
		}
	}
	for v := range p.Vars {
		for value := range p.Vars[v].Size {
			title, _ := tell.title(s, step.Event{Kind: step.Observe, A: int32(v), B: int32(value)})
			if !strings.HasPrefix(title, "heard: ") || strings.HasSuffix(title, " is ") {
				t.Errorf("%s = %d has the title %q", p.Vars[v].Name, value, title)
			}
		}
	}
	for _, c := range []struct {
		e    step.Event
		want string
	}{
		{step.Event{Kind: step.Up, A: 1}, `desk: cameras 1.2 "Goal" let go`},
		{step.Event{Kind: step.Go, A: -1}, `go: cue 1 "Doors"`},
		{step.Event{Kind: step.Go, A: int32(len(p.Cues))}, "go, with nothing on standby"},
		{step.Event{Kind: step.Fault, A: 0, B: int32(program.Refuses)}, "wide is refusing"},
	} {
		if got, _ := tell.title(s, c.e); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

// Length tells what was written in the way it was most likely written.
func TestLength(t *testing.T) {
	p := small(t) // 50 frames a second
	for micros, want := range map[int64]string{
		0: "0s", 1_000_000: "1s", 240_000: "12f", 1_500_000: "75f", 9_980_000: "499f", 10_020_000: "10.02s",
		90_000_000: "90s", 1_234_567: "1.235s", 300: "0s",
	} {
		if got := Length(p, micros); got != want {
			t.Errorf("%d: %s, want %s", micros, got, want)
		}
	}
	ntsc := *p
	ntsc.Rate = program.Rate{Num: 30000, Den: 1001}
	if got := Length(&ntsc, 400_400); got != "12f" {
		t.Errorf("at 29.97: %s", got)
	}
}

// Whatever a label or an alert holds, a beat as text has its lines and no sign
// that a terminal obeys.
func TestPlain(t *testing.T) {
	b := Beat{Title: "a\x1b[2Jb", Alerts: []string{"one\ntwo\x07"}, Notes: []string{"\u202eback", "\u009bK", "ok é"}}
	const want = "  0               a�[2Jb\n       ALERT one two�\n       note: �back\n       note: �K\n       note: ok é\n"
	if got := b.String(); got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
