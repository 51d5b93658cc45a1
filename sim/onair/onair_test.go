package onair_test

import (
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/state"
	"cuewright/sim/step"

	"pgregory.net/rapid"
)

// run is a show that is being watched.
type run struct {
	m             *step.Machine
	s, before     *state.State
	gb, ga        *signal.Graph
	w             *onair.Watch
	found         []onair.Finding
	lastAlone     []onair.Finding // of the last event
	cloneDiverged bool
	each          func(step.Event, []step.Effect) // sees every event, when set
}

func start(p *program.Program) *run {
	m := step.New(p)
	s := m.Start()
	return &run{m: m, s: s, before: s.Clone(), gb: signal.New(p, m.L), ga: signal.New(p, m.L), w: onair.NewWatch(p, m.L)}
}

// apply applies an event now. A clone of the watch looks at it too and must
// see the same.
func (r *run) apply(e step.Event) {
	e.At = r.s.Now
	r.before.CopyFrom(r.s)
	effects := r.m.Apply(r.s, e, nil)
	r.gb.Look(r.before)
	r.ga.Look(r.s)
	clone := r.w.Clone()
	r.lastAlone = r.w.Look(r.before, r.s, r.gb, r.ga, e, effects)
	r.cloneDiverged = r.cloneDiverged || !reflect.DeepEqual(r.lastAlone, clone.Look(r.before, r.s, r.gb, r.ga, e, effects))
	r.found = append(r.found, r.lastAlone...)
	if r.each != nil {
		r.each(e, effects)
	}
}

// pass lets time go by, timer by timer.
func (r *run) pass(micros int64) {
	to := r.s.Now + micros
	for {
		timer, due := r.s.Next()
		if timer < 0 || due > to {
			r.s.Now = to
			return
		}
		r.s.Now = due
		r.apply(step.Event{Kind: step.Expire, A: timer})
	}
}

// play does the words of a script: "1.1" presses that button of the first
// page, "2s" or "100ms" passes, "iso:away" is a fault, "main=goal" is heard
// from a device.
func (r *run) play(t *testing.T, script string) {
	t.Helper()
	p := r.m.P
	for _, word := range strings.Fields(script) {
		switch {
		case strings.Contains(word, ":"):
			name, health, _ := strings.Cut(word, ":")
			r.apply(step.Event{Kind: step.Fault, A: index(t, p.Devices, name, func(d program.Device) string { return d.Name }),
				B: int32(slices.Index([]string{"well", "away", "refuses", "slow", "full"}, health))})
		case strings.Contains(word, "="):
			name, value, _ := strings.Cut(word, "=")
			n, err := strconv.Atoi(value)
			if err != nil {
				t.Fatal(err)
			}
			r.apply(step.Event{Kind: step.Observe, A: index(t, p.Vars, name, func(v program.Var) string { return v.Name }), B: int32(n)})
		case strings.HasSuffix(word, "s"):
			unit := map[bool]int64{true: 1000, false: 1_000_000}[strings.HasSuffix(word, "ms")]
			n, err := strconv.ParseInt(strings.TrimRight(word, "ms"), 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			r.pass(n * unit)
		default:
			b := index(t, p.Buttons, word, func(b program.Button) string { return fmt.Sprintf("%d.%d", b.Row, b.Column) })
			r.apply(step.Event{Kind: step.Down, A: b})
			r.apply(step.Event{Kind: step.Up, A: b})
		}
	}
}

func index[T any](t *testing.T, table []T, name string, of func(T) string) int32 {
	t.Helper()
	i := slices.IndexFunc(table, func(x T) bool { return of(x) == name })
	if i < 0 {
		t.Fatalf("there is no %q", name)
	}
	return int32(i)
}

// codes are the findings in short: "code" or "code x2".
func (r *run) codes() string {
	var words []string
	for _, f := range r.found {
		words = append(words, f.Code)
	}
	return strings.Join(words, " ")
}

func smallRack(t testing.TB) string {
	t.Helper()
	rack, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(rack)
}

// show puts buttons 1.1, 1.2 … on the desk of the small rack.
func show(macros string, buttons ...string) string {
	text := "show \"Test\" uses \"rack.yaml\"\n" + macros + "\npage cameras on desk {\n"
	for i, b := range buttons {
		text += fmt.Sprintf("  button %d.%d \"B\" { %s }\n", i/5+1, i%5+1, b)
	}
	return text + "}\n"
}

// What is found, and as important, what is not. On the small rack, `screens`
// and `side` are always on air; `screens` follows aux1, `side` router.4.
func TestWhatIsFound(t *testing.T) {
	const clip = "macro clip {\n load deck with \"goal-1\"\n expect deck.cued within 1s else abandon \"no\"\n route screens from main\n cut main to deck\n play deck\n wait until deck.ended\n %s\n}"
	steps := func(n int, wait string) string { // n cuts of main, the first one at once
		text := "macro strobe {\n"
		for i := range n {
			text += fmt.Sprintf(" cut main to %s\n wait %s\n", []string{"goal", "deck"}[i%2], wait)
		}
		return text + "}"
	}
	for _, c := range []struct {
		name, macros string
		buttons      []string
		script       string
		want         string
	}{
		{"a camera off air may move", "", []string{"recall goal shot 2"}, "1.1", ""},
		{"a camera on preset may move", "", []string{"route screens from main; cut main to deck; preset main to goal; recall goal shot 2"}, "1.1", ""},
		{"a camera being mixed in may not", "", []string{"cut main to deck; route screens from main; mix main to goal over 2s; recall goal shot 2"}, "1.1", "camera-moved-on-air"},
		{"nor one in a live stream", "", []string{"record iso; start stream; cut main to goal", "recall goal shot 1"}, "1.1 1.2 2s 1.2", "camera-moved-on-air"},
		{"moved, then taken", "", []string{"route screens from goal", "recall goal shot 1; route screens from deck"}, "1.1 1.2", ""},
		{"moved in the shot that is taken", "", []string{"recall goal shot 1; route screens from goal"}, "1.1", "camera-moved-on-air"},
		{"a move that failed", "", []string{"route screens from goal; recall goal shot 2"}, "goal:away 1.1", "device-did-not-act"},

		{"deck stopped on air", "", []string{"route screens from deck; load deck with \"opener\"", "stop deck"}, "1.1 1s 1.2", "deck-touched-on-air deck-touched-on-air"},
		{"deck off air", "", []string{"load deck with \"opener\"", "play deck", "stop deck"}, "1.1 1s 1.2 1s 1.3", ""},
		{"clip ran out", fmt.Sprintf(clip, "wait 1s\n cut main to goal"), []string{"run clip"}, "1.1 20s", "deck-ran-out-on-air"},
		{"cut away at the end", fmt.Sprintf(clip, "cut main to goal"), []string{"run clip"}, "1.1 20s", ""},
		{"mixed away at the end", fmt.Sprintf(clip, "mix main to goal over 1s"), []string{"run clip"}, "1.1 20s", ""},
		{"faded away at the end", fmt.Sprintf(clip, "fade main to black over 1s"), []string{"run clip"}, "1.1 20s", ""},
		{"mixed to itself at the end", fmt.Sprintf(clip, "preset main to deck\n mix main over 1s"), []string{"run clip"}, "1.1 20s", "deck-ran-out-on-air"},
		{"the deck says so itself", fmt.Sprintf(clip, "wait 1s\n cut main to goal"), []string{"run clip"}, "1.1 2s deck.state=5 9s", "deck-ran-out-on-air"},

		{"a route re-points its own line", "", []string{"route screens from slides", "route screens from guest"}, "1.1 1.2", ""},
		{"a tie under it is re-pointed", "", []string{"route screens from slides", "route line1 from guest"}, "1.1 1.2", "source-changed-on-air"},
		{"a tie that nobody sees", "", []string{"route screens from slides", "route line2 from guest"}, "1.1 1.2", ""},
		{"to the same picture", "", []string{"route screens from slides", "route line1 from slides"}, "1.1 1.2", ""},
		{"somebody turned a knob", "", []string{"route screens from slides"}, "1.1 router.1=2", "source-changed-on-air"},
		{"under a bank that is not on air", "", []string{"route line1 from slides; cut main to line1", "route line1 from guest"}, "1.1 1.2", ""},
		{"under a stream", "", []string{"record iso; route line1 from slides; cut main to line1; start stream", "route line1 from guest"}, "1.1 2s 1.2", "source-changed-on-air"},

		{"black over refused black is not refused", "", []string{"cut main to goal; route screens from main", "fade main to black over 1s"}, "1.1 1.2 2s", ""},
		{"refused by a cut, twice", "", []string{"cut main to goal; route screens from main", "cut main to wide"}, "1.1 1.2 1.2 1.1 1.2", "picture-refused picture-refused"},
		{"refused while it is mixed in", "", []string{"cut main to goal; route screens from main", "mix main to wide over 1s", "cut main to goal"}, "1.1 1.2 500ms 1.3", "picture-refused"},
		{"refused by re-entry", "", []string{"cut effects to goal; cut main to effects; route screens from main", "cut effects to wide"}, "1.1 1.2", "picture-refused"},
		{"refused under black is not seen", "", []string{"cut main to goal; route screens from main; fade main to black over 1s", "cut main to wide", "fade main from black over 1s"}, "1.1 2s 1.2", ""},
		{"until it comes up", "", []string{"cut main to goal; route screens from main; fade main to black over 1s", "cut main to wide", "fade main from black over 1s"}, "1.1 2s 1.2 1.3 2s", "picture-refused"},

		{"the bank's cuts are the recorder's to keep", "", []string{"record iso, safety", "cut main to goal", "mix main to deck over 1s"}, "1.1 1s 1.2 1.3 3s", ""},

		{"live, nobody records", "", []string{"start stream"}, "1.1 5s", "live-without-recording"},
		{"live, a recorder rolls", "", []string{"start stream; record safety"}, "1.1 5s", ""},
		{"live, the recorder is full", "", []string{"start stream; record safety"}, "safety:full 1.1 5s", "device-did-not-act live-without-recording"},
		{"live, the last one stops", "", []string{"record iso, safety; start stream", "stop iso", "stop safety"}, "1.1 5s 1.2 1.3 1.3", "live-without-recording"},
		{"all stop at the end of the show", "", []string{"record iso; start stream", "stop iso, stream"}, "1.1 5s 1.2", ""},
		{"found live", "", []string{"note \"x\""}, "stream.state=2", "live-without-recording"},

		{"two macros, one bus", "macro a { cut main to goal; wait 3s }\nmacro b { cut main to deck; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", "rival-macros"},
		{"one after the other", "macro a { cut main to goal; wait 3s }\nmacro b { cut main to deck; wait 1s }", []string{"run a", "run b"}, "1.1 4s 1.2 5s 1.1 9s", ""},
		{"to the same picture is no rivalry", "macro a { cut main to goal; wait 3s }\nmacro b { cut main to goal; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", ""},
		{"another bus is no rivalry", "macro a { cut main to goal; wait 3s }\nmacro b { preset main to deck; cut effects to deck; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", ""},
		{"a press is no rival", "macro a { cut main to goal; wait 3s; cut main to deck }", []string{"run a", "cut main to wide"}, "1.1 1s 1.2 5s", ""},
		{"a macro and the one it runs", "macro a { cut main to goal; wait 1s }\nmacro b { cut main to deck; wait 1s; run a; cut main to wide }", []string{"run b"}, "1.1 5s", ""},
		{"branches are one", "macro a {\n together {\n { cut main to goal; wait 1s }\n { wait 500ms; cut main to deck }\n }\n}", []string{"run a"}, "1.1 5s", ""},
		{"a branch against another macro", "macro a {\n together {\n { cut main to goal }\n { wait 2s }\n }\n}\nmacro b { cut main to deck; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", "rival-macros"},
		{"two mixes of one preset", "macro a { mix main to goal over 500ms; wait 3s }\nmacro b { mix main to deck over 500ms; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", "rival-macros rival-macros"},
		{"two routes", "macro a { route side from slides; wait 3s }\nmacro b { route side from guest; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", "rival-macros"},
		{"one waits for the other to end", "macro a { cut main to goal; wait 3s; cut main to wide }\nmacro b { wait until not a.running within 9s; cut main to deck; wait 1s }", []string{"run a", "run b"}, "1.1 1s 1.2 5s", ""},
		{"started again, it has not spoken yet", "macro a restart { wait 1s; cut main to goal; wait 5s }\nmacro b { cut main to deck; wait 1s }", []string{"run a", "run b", "run a"}, "1.1 2s 1.3 500ms 1.2 300ms", ""},

		{"mix over mix", "", []string{"mix main to goal over 2s", "wipe main to deck over 1s"}, "1.1 1s 1.2", "transition-over-transition"},
		{"mix after mix", "", []string{"mix main to goal over 2s", "wipe main to deck over 1s"}, "1.1 2s 1.2", ""},
		{"mix in the moment the other ends", "macro two {\n mix main to goal over 1s\n wait 1s\n mix main to deck over 1s\n}", []string{"run two"}, "1.1 5s", ""},
		{"mix as soon as the other is done", "", []string{"mix main to goal over 2s", "wait until not main.mixing; mix main to deck over 1s"}, "1.1 1s 1.2 5s", ""},
		{"both in one press", "", []string{"mix main to goal over 2s; fade main to black over 1s"}, "1.1", "transition-over-transition"},
		{"a cut between", "", []string{"mix main to goal over 2s", "cut main to deck; mix main to wide over 1s"}, "1.1 1s 1.2", ""},
		{"another bank", "", []string{"mix main to goal over 2s", "mix effects to deck over 1s"}, "1.1 1s 1.2", ""},
		{"a slow mixer takes longer", "", []string{"mix main to goal over 1s", "mix main to deck over 1s"}, "mixer:slow 1.1 2s 1.2", "transition-over-transition"},

		{"no line free", "", []string{"route line1 from guest; cut main to line1; route line2 from wide; preset main to line2", "route screens from slides"}, "1.1 1.2 1.2", "tie-lines-exhausted tie-lines-exhausted"},
		{"no way at all", "", []string{"route side from goal"}, "1.1", "no-path"},

		{"six changes are three flashes", steps(6, "100ms"), []string{"cut main to deck; route screens from main", "run strobe"}, "1.1 5s 1.2 5s", ""},
		{"the seventh is too many", steps(7, "160ms"), []string{"cut main to deck; route screens from main", "run strobe"}, "1.1 5s 1.2 5s", "flashing"},
		{"in exactly one second too", steps(5, "100ms")[:len(steps(5, "100ms"))-1] + "cut main to deck\nwait 500ms\ncut main to goal\n}", []string{"cut main to deck; route screens from main", "run strobe"}, "1.1 5s 1.2 5s", "flashing"},
		{"in a little more than a second it is not", steps(7, "180ms"), []string{"cut main to deck; route screens from main", "run strobe"}, "1.1 5s 1.2 5s", ""},
		{"a long strobe is said once", steps(20, "100ms"), []string{"cut main to deck; route screens from main", "run strobe"}, "1.1 5s 1.2 9s", "flashing"},
		{"off air it is nobody's matter", steps(20, "100ms"), []string{"route screens from deck", "run strobe"}, "1.1 5s 1.2 9s", ""},

		{"a protected screen's line is re-pointed", "", []string{"route screens from slides; protect screens", "route line1 from guest"}, "1.1 1.2", "source-changed-on-air protected-changed"},
		{"by hand, on the device", "", []string{"route side from slides; protect side"}, "1.1 router.4=0", "protected-changed"},
		{"routed, then protected", "", []string{"route side from slides; protect side"}, "1.1", ""},
		{"a protected program may be cut", "", []string{"cut main to goal"}, "1.1", ""},

		{"a device is away", "", []string{"cut main to goal; record iso"}, "mixer:away iso:refuses 1.1", "device-did-not-act device-did-not-act"},
		{"every action of it is said", "", []string{"cut main to goal; key logo on"}, "mixer:away 1.1", "device-did-not-act device-did-not-act"},
		{"both ends of a route", "", []string{"route screens from slides"}, "mixer:away router:away 1.1", "device-did-not-act device-did-not-act"},
		{"nothing to play is no fault of the deck", "", []string{"play deck"}, "1.1", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := start(simtest.Compile(t, show(c.macros, c.buttons...), smallRack(t)))
			r.play(t, c.script)
			if got := r.codes(); got != c.want {
				t.Errorf("found %q, want %q\n%+v", got, c.want, r.found)
			}
			if r.cloneDiverged {
				t.Error("a clone saw something else")
			}
		})
	}
}

// Findings stand at the action that did it, or that started what came of it.
func TestWhereTheyStand(t *testing.T) {
	text := "show \"Test\" uses \"rack.yaml\"\n" +
		"page cameras on desk {\n" +
		"  button 1.1 \"Air\" { route screens from main; cut main to goal }\n" +
		"  button 1.2 \"Deck\" {\n" +
		"    load deck with \"goal-1\"; wait 1s; play deck\n" +
		"    cut main to deck\n" +
		"  }\n" +
		"  button 1.3 \"Live\" { start stream }\n" +
		"  button 1.4 \"Wide\" {\n" +
		"    cut effects to goal\n" +
		"    mix main to wide over 1s\n" +
		"  }\n" +
		"}\n"
	r := start(simtest.Compile(t, text, smallRack(t)))
	r.play(t, "1.1 1.2 12s 1.3 2s 1.4 2s")
	want := map[string]int32{"deck-ran-out-on-air": 5, "live-without-recording": 8, "picture-refused": 11}
	for _, f := range r.found {
		if line, ok := want[f.Code]; !ok || f.At.Line != line || f.Task < 0 {
			t.Errorf("%s stands in line %d, task %d; want line %d", f.Code, f.At.Line, f.Task, line)
		}
		delete(want, f.Code)
	}
	if len(want) > 0 {
		t.Errorf("not found: %v", want)
	}
}

// Texts are in the words of the show.
func TestWords(t *testing.T) {
	for script, want := range map[string]string{
		"1.1 1.2":        "`goal` moves to its shot 2 `goal line` while `screens` shows it on air",
		"1.3 1.4":        "`line1` changes from `slides` to `guest` while `screens` shows it on air",
		"mixer:away 1.5": "`mixer` does not answer: `main` is not cut to `goal`",
		"2.1":            "no way leads from `goal` to `side`",
	} {
		r := start(simtest.Compile(t, show("", "route screens from goal", "recall goal shot 2", "route screens from slides", "route line1 from guest",
			"cut main to goal", "route side from goal"), smallRack(t)))
		r.play(t, script)
		if len(r.found) != 1 || r.found[0].What != want {
			t.Errorf("%s: %+v, want %q", script, r.found, want)
		}
	}
}

// A loop is said when it closes, not again while it stays.
func TestLoop(t *testing.T) {
	m := simtest.New()
	cam := m.Source("cam", "live")
	main := m.Bank("main", cam)
	out := m.Switch("router.1", cam, m.BankOut(main))
	m.BankTakes(main, m.Tie("line1", out))
	m.Destination("screens", m.BankOut(main), program.NeverOnAir)
	m.Button("close", m.Do(program.CutTo, main, 1, 0), m.Do(program.RouteTie, 0, m.BankOut(main), 0))
	m.Button("open", m.Do(program.RouteTie, 0, cam, 0))
	r := start(m.Done(t))
	r.play(t, "1.1 1.1 1.2 1.1")
	if got := r.codes(); got != "feedback-loop feedback-loop" {
		t.Errorf("found %q", got)
	}
	if got := r.found[0].What; got != "`main` is in its own picture, through `line1`" {
		t.Errorf("said %q", got)
	}
}

// A recorder on a router output, and a protected screen that shares its
// switch with another one.
func TestSharedSwitch(t *testing.T) {
	m := simtest.New()
	cam, other := m.Source("cam", "live"), m.Source("other", "live")
	sw := m.Switch("router.1", cam, other)
	first := m.Destination("first", m.Pass("to first", m.Out(sw)), program.AlwaysOnAir)
	second := m.Destination("second", m.Pass("to second", m.Out(sw)), program.AlwaysOnAir)
	m.Recorder("iso", m.Out(sw))
	m.Button("lock and roll", m.Do(program.Protect, second, 1, 0), m.Do(program.Record, 0, 0, 0))
	m.Button("other", m.Do(program.Route, first, other, 0))
	r := start(m.Done(t))
	r.play(t, "1.1 1s 1.2 1.2")
	if got := r.codes(); got != "recorder-source-changed protected-changed" {
		t.Errorf("found %q", got)
	}
}

// A route that sets two crosspoints of a dead frame has failed once.
func TestOneFailureOfARoute(t *testing.T) {
	m := simtest.New()
	cam := m.Source("cam", "live")
	near := m.Switch("near", 1, m.Tie("line1", m.Switch("far", 1, cam)))
	screens := m.Destination("screens", m.Out(near), program.AlwaysOnAir)
	m.Button("cam", m.Do(program.Route, screens, cam, 0))
	r := start(m.Done(t))
	r.play(t, "box:away 1.1 1.1")
	if got := r.codes(); got != "device-did-not-act device-did-not-act" {
		t.Errorf("found %q for two presses", got)
	}
}

func TestAllowed(t *testing.T) {
	m := simtest.New()
	branch := m.Task(program.BranchTask, 0, program.Ignore, "branch")
	macro := m.Macro("a", program.Ignore, program.Instr{Op: program.Run, A: branch, B: 1})
	m.Button("b")
	p := m.Done(t)
	press := p.Buttons[0].Press
	everywhere, inMacro, onPage := [2]int32{-1, -1}, [2]int32{macro, -1}, [2]int32{-1, 0}
	for _, c := range []struct {
		name  string
		scope [2]int32
		until string
		task  int32
		today string
		want  int
	}{
		{"everywhere", everywhere, "", -1, "2027-01-31", 1},
		{"on its last day", everywhere, "2027-01-31", press, "2027-01-31", 1},
		{"the day after", everywhere, "2027-01-31", press, "2027-02-01", -1},
		{"no calendar", everywhere, "2027-01-31", press, "", 1},
		{"in the macro", inMacro, "", macro, "", 1},
		{"in a branch of it", inMacro, "", branch, "", 1},
		{"not in what a button does", inMacro, "", press, "", -1},
		{"not where nobody did it", inMacro, "", -1, "", -1},
		{"on the page", onPage, "", press, "", 1},
		{"not in a macro that the page runs", onPage, "", macro, "", -1},
		{"not on the page, where nobody did it", onPage, "", -1, "", -1},
	} {
		p.Allows = []program.Allow{{Code: "flashing", Task: -1, Page: -1},
			{Code: "picture-refused", Until: c.until, Task: c.scope[0], Page: c.scope[1]}}
		if got := onair.Allowed(p, onair.Finding{Code: "picture-refused", Task: c.task}, c.today); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

var plain = regexp.MustCompile("^[`a-z].*[^.?]$")

// On any rack, with any show, pressed in any way: no panic, the same findings
// twice and from a clone, every code in the table, every place one that is
// there, every text as texts are to be.
func TestAnyShow(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		m := simtest.Rack(t)
		simtest.Show(t, m)
		for i := range m.P.Destinations {
			m.P.Destinations[i].Refuses = rapid.SliceOfN(rapid.Int32Range(1, int32(len(m.P.Sources)-1)), 0, 2).Draw(t, "refuses")
		}
		p := m.Done(t)
		events, gaps := simtest.Events(t, p)
		var first []onair.Finding
		for again := range 2 {
			r := start(p)
			for i, e := range events {
				r.pass(gaps[i])
				if r.m.Enabled(r.s, e) {
					r.apply(e)
				}
			}
			if r.cloneDiverged || again == 1 && !reflect.DeepEqual(first, r.found) {
				t.Fatalf("not the same twice: %+v and %+v", first, r.found)
			}
			first = r.found
		}
		for _, f := range first {
			seen[f.Code]++
			if !diag.Known(diag.Code(f.Code)) || !plain.MatchString(f.What) || f.Task >= int32(len(p.Tasks)) {
				t.Fatalf("%+v", f)
			}
		}
	})
	t.Log(seen)
	if len(seen) < 4 {
		t.Errorf("the random shows raise only %v", seen)
	}
}

// quiet is a press that changes the picture and nothing else.
func quiet(tb testing.TB) *run {
	return start(simtest.Compile(tb, show("", "cut main to goal", "cut main to deck"), smallRack(tb)))
}

func TestLookingAllocatesNothingWhenAllIsWell(t *testing.T) {
	r := quiet(t)
	e := step.Event{Kind: step.Down, A: 0}
	effects := r.m.Apply(r.s, e, nil)
	if n := testing.AllocsPerRun(50, func() {
		r.gb.Look(r.before)
		r.ga.Look(r.s)
		r.w.Look(r.before, r.s, r.gb, r.ga, e, effects)
	}); n != 0 || len(r.found) != 0 {
		t.Errorf("%v allocations, %+v", n, r.found)
	}
}

func BenchmarkLook(b *testing.B) {
	r := quiet(b)
	e := step.Event{Kind: step.Down, A: 0}
	effects := r.m.Apply(r.s, e, nil)
	b.ReportAllocs()
	for b.Loop() {
		r.gb.Look(r.before)
		r.ga.Look(r.s)
		r.w.Look(r.before, r.s, r.gb, r.ga, e, effects)
	}
}
