package signal_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/state"

	"github.com/expr-lang/expr"
	"pgregory.net/rapid"
)

// asks are questions in the words of the language, about the small rack.
// Several are joined at random.
var asks = []string{
	"main.program == wide", "main.program == line1", "main.program != deck", "main.preset == title_card", "main.program == effects",
	"main.preset in [wide, goal, line2]", "effects.program == black", "main.mixing", "effects.black", "logo.on",
	"deck.empty", "deck.loading", "deck.cued", "deck.playing", "deck.paused", "deck.ended", "deck.loaded",
	`deck.clip == "opener"`, `deck.clip != "goal-1"`, `deck.clip in ["opener", "goal-1"]`,
	"iso.rolling", "iso.starting", "safety.stopped", "stream.live", "stream.stopped", "goal.shot == 2", "goal.shot != 1",
	"wide.on_air", "goal.on_air", "views.on_air", "black.on_air", "deck.on_air", "slides.on_air", "title_card.on_air",
	"screens.shows(wide)", "screens.shows(main)", "screens.shows(effects)", "screens.shows(line1)", "screens.shows(black)",
	"side.shows(slides)", "web.shows(title_card)", "web.shows(effects)", "web.shows(line2)",
	"screens.protected", "web.protected", "fan.on", "mixer.away", "iso.away",
	"desk.page == crew", "desk.page != cameras", "rundown.standby == 2", "rundown.standby != 1", "m.running", "m.failed", "true",
}

func question(t *rapid.T, depth int) string {
	kind := 0
	if depth > 0 {
		kind = rapid.IntRange(0, 3).Draw(t, "kind")
	}
	switch kind {
	case 1:
		return "not (" + question(t, depth-1) + ")"
	case 2:
		return "(" + question(t, depth-1) + " and " + question(t, depth-1) + ")"
	case 3:
		return "(" + question(t, depth-1) + " or " + question(t, depth-1) + ")"
	}
	return rapid.SampledFrom(asks).Draw(t, "ask")
}

// thing is a name of the rack for expr's machine: its fields, and its name so
// that two things are the same when their names are.
type thing = map[string]any

// world is all names with their fields, worked out plainly from a state.
func world(r *plain) map[string]any {
	p, env := r.p, map[string]any{}
	name := func(n string) thing {
		if env[n] == nil {
			env[n] = thing{"name": n}
		}
		return env[n].(thing)
	}
	one := func(v int32, words ...string) thing { return name(words[r.get(v)]) }
	for i, s := range p.Sources[1:] {
		name(s.Name)["on_air"] = slices.Contains(r.onAir(), int32(i+1))
	}
	for _, s := range p.Ties {
		name(s.Name)
	}
	picks := func(b program.Bank) (words []string) {
		for _, pick := range b.Picks {
			words = append(words, pick.Label)
		}
		return words
	}
	for _, b := range p.Banks {
		x, doing := name(b.Name), r.get(b.Transition)
		x["program"], x["preset"] = one(b.Program, picks(b)...), one(b.Preset, picks(b)...)
		x["mixing"], x["black"] = doing == program.Mixing || doing == program.Wiping, r.get(b.Faded) == 1
	}
	name("logo")["on"], name("fan")["on"] = r.get(p.Keyers[0].On) == 1, r.get(p.Outlets[1].On) == 1
	deck, is := name("deck"), r.get(p.Decks[0].State)
	for i, word := range []string{"empty", "loading", "cued", "playing", "paused", "ended"} {
		deck[word] = int(is) == i
	}
	deck["loaded"] = is >= program.DeckCued
	deck["clip"] = []string{"", "opener", "goal-1"}[r.get(p.Decks[0].Clip)]
	name("goal")["shot"] = r.get(p.Cameras[slices.IndexFunc(p.Cameras, func(c program.Camera) bool { return c.Name == "goal" })].Shot)
	for _, c := range p.Recorders {
		x := name(c.Name)
		x["rolling"], x["starting"], x["stopped"] = r.get(c.State) == program.MachineRunning, r.get(c.State) == program.MachineStarting, r.get(c.State) == program.MachineStopped
	}
	for _, c := range p.Encoders {
		x := name(c.Name)
		x["live"], x["stopped"] = r.get(c.State) == program.MachineRunning, r.get(c.State) == program.MachineStopped
	}
	for _, d := range p.Devices {
		name(d.Name)["away"] = r.get(d.Health) == program.Away
	}
	for _, d := range p.Destinations {
		x := name(d.Name)
		x["protected"], x["shows"] = r.get(d.Protect) == 1, func(of thing) bool { return r.sees(d, of["name"].(string)) }
	}
	name("desk")["page"] = one(p.Surfaces[0].Page, "cameras", "crew")
	name("crew")
	name("rundown")["standby"] = int(r.get(p.StandbyVar())) + 1 // the cues are 1, 2, 3
	task := p.Tasks[p.Macros[0].Task]
	name("m")["running"], name("m")["failed"] = r.get(task.At) != 0, r.get(task.Failed) == 1
	return env
}

// sees says whether a destination shows something of that name: a source, or
// what comes through a bank or a tie line.
func (r *plain) sees(d program.Destination, name string) bool {
	through := r.reachable(d.Node)
	for i, s := range r.p.Sources {
		if s.Name == name {
			return slices.Contains(r.pictures(d.Node), int32(i))
		}
	}
	for _, b := range r.p.Banks {
		if b.Name == name {
			return through[b.Node] || b.Clean >= 0 && through[b.Clean]
		}
	}
	for _, t := range r.p.Ties {
		if t.Name == name {
			return through[t.Node]
		}
	}
	panic(name)
}

// The words of a condition, compiled by us and held in a state, mean what
// expr's machine makes of the same words over the same state.
func TestWordsAgainstExpr(t *testing.T) {
	rack, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const rules = 20
	rapid.Check(t, func(t *rapid.T) {
		var show strings.Builder
		show.WriteString("show \"Test\" uses \"rack.yaml\"\nmacro m { wait 1s }\npage cameras on desk { button 1.1 \"M\" { run m } }\n" +
			"page crew on desk { button 1.1 \"M\" { run m } }\nrundown {\n cue 1 \"A\" { note \"a\" }\n cue 2 \"B\" { note \"b\" }\n}\n")
		words := make([]string, rules)
		for i := range words {
			words[i] = question(t, 3)
			fmt.Fprintf(&show, "possible \"%d\" { %s }\n", i, words[i])
		}
		p := simtest.Compile(t, show.String(), string(rack))
		l := state.NewLayout(p)
		g := signal.New(p, l)
		for range 5 {
			s := simtest.State(t, p, l)
			// A shot that is not known is none of the numbers, for us as for expr; one
			// that is known counts from 1 on this rack, as its values do.
			g.Look(s)
			env := world(newPlain(p, l, s, false))
			for i, rule := range p.Rules {
				want, err := expr.Eval(words[i], env)
				if err != nil {
					t.Fatalf("%s: %v", words[i], err)
				}
				if got := g.Holds(rule.Cond); got != want {
					t.Fatalf("%s is %v, want %v", words[i], got, want)
				}
			}
		}
	})
}
