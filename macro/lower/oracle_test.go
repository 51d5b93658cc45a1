package lower

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/vm"
	"pgregory.net/rapid"

	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
)

// holds is whether a condition over plain variables is true for these values.
func holds(p *program.Program, c int32, values []uint32) bool {
	switch n := p.Conds[c]; n.Op {
	case program.Const:
		return n.A == 1
	case program.Not:
		return !holds(p, n.L, values)
	case program.And:
		return holds(p, n.L, values) && holds(p, n.R, values)
	case program.Or:
		return holds(p, n.L, values) || holds(p, n.R, values)
	case program.In:
		return has(p.Sets[n.B], values[n.A])
	case program.Running:
		at := p.Tasks[n.A].At
		return at >= 0 && values[at] > 0
	default:
		panic(fmt.Sprintf("condition %d is not over plain variables", c))
	}
}

// world is what expr sees for these values: the fields of each thing under its
// name. It is written against DEVELOPERS.md and the rack, not against lower:
// words for pictures, clips and pages, numbers for shots and cues. What has no
// number is NaN, which compares as unlike anything (IEEE 754).
func world(p *program.Program, rack *plan.Rack, values []uint32) map[string]any {
	env := map[string]any{}
	set := func(thing, field string, value any) {
		if env[thing] == nil {
			env[thing] = map[string]any{}
		}
		env[thing].(map[string]any)[field] = value
	}
	states := func(thing string, value uint32, words ...string) {
		for i, w := range words {
			set(thing, w, value == uint32(i))
		}
	}
	pick := func(picks []*plan.Pick, i uint32) string {
		if names := picks[i].Names; len(names) > 0 {
			return names[0]
		}
		return "?" + picks[i].Label
	}
	number := func(list []int, i uint32) float64 {
		if i == 0 {
			return math.NaN()
		}
		return float64(list[i-1])
	}
	for i, v := range p.Vars {
		value, thing := values[i], ""
		switch v.Kind {
		case program.BankProgram:
			set(rack.Banks[v.Owner].Name, "program", pick(rack.Banks[v.Owner].Picks, value))
		case program.BankPreset:
			set(rack.Banks[v.Owner].Name, "preset", pick(rack.Banks[v.Owner].Picks, value))
		case program.BankTransition:
			set(rack.Banks[v.Owner].Name, "mixing", value == program.Mixing || value == program.Wiping)
		case program.BankFaded:
			set(rack.Banks[v.Owner].Name, "black", value == 1)
		case program.KeyerOn:
			set(rack.Keyers[v.Owner].Name, "on", value == 1)
		case program.OutletOn:
			set(rack.Outlets[v.Owner].Name, "on", value == 1)
		case program.DeckState:
			thing = p.Decks[v.Owner].Name
			states(thing, value, "empty", "loading", "cued", "playing", "paused", "ended")
			set(thing, "loaded", value != program.DeckEmpty && value != program.DeckLoading)
		case program.DeckClip:
			clip := "?none"
			if value > 0 {
				clip = rack.Names[p.Decks[v.Owner].Name].Device.Clips[value-1].Name
			}
			set(p.Decks[v.Owner].Name, "clip", clip)
		case program.RecorderState:
			states(p.Recorders[v.Owner].Name, value, "stopped", "starting", "rolling")
		case program.EncoderState:
			states(p.Encoders[v.Owner].Name, value, "stopped", "starting", "live")
		case program.CameraShot:
			var shots []int
			for _, s := range rack.Names[p.Cameras[v.Owner].Name].Device.Shots {
				shots = append(shots, s.Number)
			}
			set(p.Cameras[v.Owner].Name, "shot", number(shots, value))
		case program.DestinationProtected:
			set(rack.Destinations[v.Owner].Name, "protected", value == 1)
		case program.DeviceHealth:
			set(rack.Devices[v.Owner].Name, "away", value == program.Away)
		case program.SurfacePage:
			set(rack.Surfaces[v.Owner].Name, "page", p.Pages[p.Surfaces[v.Owner].Pages[value]].Name)
		case program.Standby:
			at := math.NaN()
			if int(value) < len(p.Cues) {
				at, _ = strconv.ParseFloat(p.Cues[value].Number, 64)
			}
			set("rundown", "standby", at)
		case program.TaskFailed:
			set(p.Tasks[v.Owner].Name, "failed", value == 1)
		case program.TaskAt:
			set(p.Tasks[v.Owner].Name, "running", value > 0)
		}
	}
	return env
}

// words turns names that stand as values into texts: expr sees a deck both as
// a thing with fields and as a picture. Children are visited before parents,
// so a name before a point has become a text already and is put back.
type words struct{}

func (words) Visit(n *ast.Node) {
	switch x := (*n).(type) {
	case *ast.IdentifierNode:
		ast.Patch(n, &ast.StringNode{Value: x.Value})
	case *ast.MemberNode:
		if name, ok := x.Node.(*ast.StringNode); ok {
			x.Node = &ast.IdentifierNode{Value: name.Value}
		}
	}
}

// oracleShow is a show with a macro and all that conditions can ask about.
const oracleShow = `show "Oracle" uses "rack.yaml"
macro quiet { wait 1s }
page cameras on desk { button 1.1 "Q" { run quiet } }
page crew on desk, side_desk { button 1.1 "Q" { run quiet } }
rundown {
  cue 1 "One" { run quiet }
  cue 2.5 "Two" { run quiet }
  cue 3 "Three" { run quiet }
}
`

// plainFields are yes-or-no fields that follow from one variable.
var plainFields = []string{
	"main.mixing", "main.black", "effects.black", "logo.on", "fan.on", "deck.empty", "deck.loading", "deck.cued", "deck.playing",
	"deck.paused", "deck.ended", "deck.loaded", "iso.rolling", "iso.starting", "safety.stopped", "stream.live", "stream.starting",
	"screens.protected", "web.protected", "iso.away", "mixer.away", "quiet.running", "quiet.failed", "true", "false",
}

// valued are fields with what they may be compared with.
var valued = map[string][]string{
	"main.program": {"wide", "goal", "deck", "line1", "line2", "black", "title_card", "effects"},
	"main.preset":  {"wide", "goal", "deck", "line1", "line2", "black", "title_card", "effects"},
	"deck.clip":    {`"opener"`, `"goal-1"`}, "desk.page": {"cameras", "crew"}, "goal.shot": {"1", "2"},
	"rundown.standby": {"1", "2.5", "3"},
}

// conditionText draws a condition of the language, nested up to depth.
func conditionText(t *rapid.T, depth int) string {
	kind := rapid.IntRange(0, 7).Draw(t, "kind")
	if depth == 0 {
		kind %= 4
	}
	sub := func() string { return conditionText(t, depth-1) }
	field := func() (string, []string) {
		f := rapid.SampledFrom(slices.Sorted(maps.Keys(valued))).Draw(t, "field")
		return f, valued[f]
	}
	switch kind {
	case 0:
		return rapid.SampledFrom(plainFields).Draw(t, "truth")
	case 1:
		f, vs := field()
		v, op := rapid.SampledFrom(vs).Draw(t, "value"), rapid.SampledFrom([]string{"==", "!="}).Draw(t, "op")
		if rapid.Bool().Draw(t, "turned") {
			f, v = v, f
		}
		return f + " " + op + " " + v
	case 2:
		return "goal.shot " + rapid.SampledFrom([]string{"<", "<=", ">", ">="}).Draw(t, "op") + " " + rapid.SampledFrom([]string{"1", "2"}).Draw(t, "number")
	case 3:
		f, vs := field()
		return f + " in [" + strings.Join(rapid.SliceOfN(rapid.SampledFrom(vs), 1, 3).Draw(t, "list"), ", ") + "]"
	case 4:
		return "not (" + sub() + ")"
	case 5:
		return "(" + sub() + ") and (" + sub() + ")"
	case 6:
		return "(" + sub() + ") or (" + sub() + ")"
	}
	return "(" + sub() + ") " + rapid.SampledFrom([]string{"==", "!="}).Draw(t, "op") + " (" + sub() + ")"
}

// The lowered conditions say the same as expr's machine does about the same
// state. Conditions on pictures and on air are held in sim, which derives them.
func TestConditionsAgainstExpr(t *testing.T) {
	rack := read(t, "shows", "small", "rack.yaml")
	yes, no := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		texts := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) string { return conditionText(t, 3) }), 1, 12).Draw(rt, "conditions")
		show := oracleShow
		for i, text := range texts {
			show += fmt.Sprintf("possible %q { %s }\n", strconv.Itoa(i), text)
		}
		info := checked(t, source.New("oracle.show", []byte(show)), rack)
		p := Show(info)
		var programs []*vm.Program
		for _, text := range texts {
			code, err := expr.Compile(text, expr.Patch(words{}), expr.AllowUndefinedVariables())
			if err != nil {
				rt.Fatalf("expr does not take %s: %v", text, err)
			}
			programs = append(programs, code)
		}
		for range 20 {
			values := make([]uint32, len(p.Vars))
			for i, v := range p.Vars {
				values[i] = rapid.Uint32Range(0, v.Size-1).Draw(rt, v.Name)
			}
			env := world(p, info.Rack, values)
			for i, text := range texts {
				want, err := vm.Run(programs[i], env)
				if err != nil {
					rt.Fatalf("expr: %s: %v", text, err)
				}
				got := holds(p, p.Rules[i].Cond, values)
				if got != want {
					rt.Fatalf("%s is %t, and expr says %v, for %v", text, got, want, env)
				}
				if got {
					yes++
				} else {
					no++
				}
			}
		}
	})
	if yes == 0 || no == 0 {
		t.Errorf("%d conditions held and %d did not: nothing was told apart", yes, no)
	}
}
