package scxml

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/simtest"
	"cuewright/sim/step"
)

// corpus is how many random shows there are.
const corpus = 208

// play is a show and what happens to it.
type play struct {
	name   string
	p      *program.Program
	inputs []input
}

// randomPlays are shows of the first seeds, each with random presses.
func randomPlays(t *testing.T, n int) []play {
	var all []play
	for seed := range uint64(n) {
		show, rack := simtest.WriteShow(seed)
		p := simtest.Compile(t, show, rack)
		all = append(all, play{fmt.Sprintf("seed %d\n%s", seed, show), p, presses(p, seed, 24)})
	}
	return all
}

// samplePlays are the shows of testdata, each with random presses.
func samplePlays(t *testing.T) []play {
	var all []play
	for _, name := range [][2]string{{"small", "small.show"}, {"league", "league.show"}} {
		var text [2]string
		for i, file := range []string{name[1], "rack.yaml"} {
			read, err := os.ReadFile("../../../testdata/shows/" + name[0] + "/" + file)
			if err != nil {
				t.Fatal(err)
			}
			text[i] = string(read)
		}
		p := simtest.Compile(t, text[0], text[1])
		all = append(all, play{name[0], p, presses(p, 1, 100)})
	}
	return all
}

// presses are random events from outside, so many moments of them. Waits and
// transitions of the shows last whole hundreds of milliseconds, so timers often
// run out together, and with a press; in every other moment there are two.
func presses(p *program.Program, seed uint64, moments int) []input {
	r := rand.New(rand.NewPCG(seed, 2))
	var all []input
	at := int64(0)
	for range moments {
		at += []int64{0, 0, 100, 200, 300, 400, 500, 500, 1000, 1000, 2000, 3000}[r.IntN(12)] * 1000
		in := input{At: at, Events: []string{press(p, r)}}
		if r.IntN(2) == 0 {
			in.Events = append(in.Events, press(p, r))
		}
		all = append(all, in)
	}
	return append(all, input{At: at + 20_000_000, Events: []string{"stop"}})
}

func press(p *program.Program, r *rand.Rand) string {
	switch k := r.IntN(40); {
	case k < 4 && len(p.Cues) > 0:
		return "go"
	case k < 6 && len(p.Cues) > 0:
		return fmt.Sprint([]string{"call.", "stand."}[k-4], r.IntN(len(p.Cues)))
	case k < 7:
		if cue := slices.IndexFunc(p.Cues, func(c program.Cue) bool { return c.By != program.NoMoment }); cue >= 0 {
			return fmt.Sprint("moment.", cue)
		}
	case k < 9:
		d := r.IntN(len(p.Devices))
		return fmt.Sprintf("fault.%d.%d", d, r.IntN(3)*r.IntN(int(program.Healths)))
	case k < 10:
		return []string{"stop", fmt.Sprint("declined.", r.IntN(len(p.Tasks)))}[r.IntN(2)]
	case k < 18:
		return fmt.Sprint("up.", r.IntN(len(p.Buttons)))
	}
	return fmt.Sprint("down.", r.IntN(len(p.Buttons)))
}

// event is an event of an input for step.
func event(name string, at int64) step.Event {
	words := strings.Split(name, ".")
	e := step.Event{At: at, A: -1, Kind: map[string]step.EventKind{"down": step.Down, "up": step.Up, "go": step.Go, "call": step.Go, "stand": step.Stand,
		"moment": step.Moment, "fault": step.Fault, "declined": step.Declined, "stop": step.StopAll}[words[0]]}
	for i, to := range []*int32{&e.A, &e.B} {
		if len(words) > i+1 {
			fmt.Sscan(words[i+1], to)
		}
	}
	return e
}

// turn is what one event has brought: the values of all variables, when timers
// run out, and what was said.
type turn struct {
	event string
	at    int64
	vars  []int64
	dues  []int64
	said  []string
}

func (x turn) String() string {
	return fmt.Sprintf("%s at %d µs\n  variables %v\n  timers %v\n  says %v", x.event, x.at, x.vars, x.dues, x.said)
}

// ties counts what the order of a play hangs on.
type ties struct{ timers, presses int }

// stepped is what the stepper makes of a play.
func stepped(x play) (all []turn, n ties) {
	m := step.New(x.p)
	s := m.Start()
	note := func(event string, at int64, effects []step.Effect) {
		y := turn{event: event, at: at, dues: slices.Clone(s.Due), said: saidBy(x.p, effects)}
		for v := range x.p.Vars {
			y.vars = append(y.vars, int64(m.L.Get(s, int32(v))))
		}
		all = append(all, y)
	}
	note("start", 0, nil)
	last := int64(-1)
	for _, in := range x.inputs {
		m.Advance(s, in.At, func(e step.Event, effects []step.Effect) {
			if e.At == last {
				n.timers++
			}
			last = e.At
			note("due", e.At, effects)
		})
		if last == in.At {
			n.presses++
		}
		for _, name := range in.Events {
			note(name, in.At, m.Apply(s, event(name, in.At), nil))
		}
	}
	return all, n
}

// saidBy is what effects say in the words of a document.
func saidBy(p *program.Program, effects []step.Effect) []string {
	var all []string
	say := func(event string, data ...any) {
		all = append(all, strings.ReplaceAll(fmt.Sprint(event, data), " ", ","))
	}
	for _, e := range effects {
		c := e.Command
		switch e.Kind {
		case step.Sent:
			say(Sent, c.Verb, c.A, c.B, c.Micros, e.Device)
		case step.Failed, step.Blocked:
			if e.Reason != step.TooLong {
				say(Failed, c.Verb, c.A, c.B, c.Micros, e.Device)
			}
		case step.Alerted:
			say(Alert, p.Code[e.Instr].A)
		case step.Noted:
			say(Note, p.Code[e.Instr].A)
		case step.Fired:
			say(Fired, e.A)
		case step.Started:
			say(Started, e.A)
		case step.Ended:
			say(Ended, e.A)
		}
	}
	return all
}

// interpreted is what the interpreter has made of a play. What comes of a pass
// that is an event of its own, by mistake, counts as part of the turn before.
func interpreted(t *testing.T, p *program.Program, a answer) (all []turn) {
	t.Helper()
	for _, s := range a.Steps {
		x := turn{event: s.Event, at: s.At}
		get := func(name string) (n int64) {
			if err := json.Unmarshal(s.Data[name], &n); err != nil {
				t.Fatalf("%s is %s: %v", name, s.Data[name], err)
			}
			return n
		}
		for v := range p.Vars {
			x.vars = append(x.vars, get(variable(int32(v))))
		}
		for i := range p.Timers {
			x.dues = append(x.dues, get(due(int32(i))))
		}
		for _, said := range s.Said {
			var words []string
			for _, word := range said {
				words = append(words, strings.Trim(string(word), `"`))
			}
			x.said = append(x.said, strings.Join(words, ""))
		}
		if n := len(all); x.event == "pass" {
			x.event, x.at, x.said = all[n-1].event, all[n-1].at, append(all[n-1].said, x.said...)
			all = all[:n-1]
		}
		all = append(all, x)
	}
	return all
}

// written is a play in a document with a mistake, or none.
type written struct {
	play
	mistake Mistake
}

// compare gives for each play in words the first turn in which the interpreter
// and the stepper differ, or "", and the ties of all.
func compare(t *testing.T, all []written) (differ []string, n ties) {
	t.Helper()
	var jobs []job
	for _, x := range all {
		text, err := Translate(x.p, x.mistake)
		if err != nil {
			t.Fatalf("%s: %v", x.name, err)
		}
		jobs = append(jobs, job{string(text), x.inputs})
	}
	for i, a := range interpret(t, jobs) {
		x := all[i]
		if a.Error != "" {
			t.Fatalf("%s: %s", x.name, a.Error)
		}
		want, tied := stepped(x.play)
		n.timers += tied.timers
		n.presses += tied.presses
		differ = append(differ, difference(want, interpreted(t, x.p, a)))
	}
	return differ, n
}

func difference(want, got []turn) string {
	for i := range max(len(want), len(got)) {
		switch {
		case i >= len(want):
			return fmt.Sprintf("the stepper ends before turn %d: %v", i, got[i])
		case i >= len(got):
			return fmt.Sprintf("the interpreter ends before turn %d: %v", i, want[i])
		case want[i].String() != got[i].String():
			return fmt.Sprintf("turn %d, by the stepper: %v\nby the interpreter: %v", i, want[i], got[i])
		}
	}
	return ""
}

// TestOrder: random shows with presses at the moments of their timers, the small
// sample and the demo do the same in the same order by the stepper and by an
// interpreter of SCXML.
func TestOrder(t *testing.T) {
	var all []written
	for _, x := range append(randomPlays(t, corpus), samplePlays(t)...) {
		all = append(all, written{x, NoMistake})
	}
	differ, n := compare(t, all)
	for i, text := range differ {
		if text != "" {
			t.Errorf("%s\n%s", all[i].name, text)
		}
	}
	t.Logf("%d timers ran out at the moment of another, and %d presses came at the moment of a timer", n.timers, n.presses)
	if n.timers < corpus/2 || n.presses < corpus {
		t.Errorf("only %+v ties in %d shows", n, corpus)
	}
}

// TestMistakesAreFound: a wrong order would be noticed.
func TestMistakesAreFound(t *testing.T) {
	var all []written
	plays := randomPlays(t, corpus/8)
	for _, mistake := range []Mistake{TimersBackward, ScriptsBackward, PassOutside} {
		for _, x := range plays {
			all = append(all, written{x, mistake})
		}
	}
	differ, _ := compare(t, all)
	for i, name := range []string{"timers backward", "scripts backward", "scripts go on by an external event"} {
		found := len(plays)
		for _, text := range differ[i*len(plays) : (i+1)*len(plays)] {
			if text == "" {
				found--
			}
		}
		t.Logf("%s: noticed in %d of %d shows", name, found, len(plays))
		if found == 0 {
			t.Errorf("%s: noticed in no show", name)
		}
	}
}
