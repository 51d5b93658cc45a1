package compare

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// version is one of the two programs with what the other calls its things.
type version struct {
	p    *program.Program
	l    *state.Layout
	tell *story.Teller

	macros map[int32]string // by task: the name in both versions; without one, it is only here
	salvos map[int32]string
	pages  map[int32]string
	cues   map[int32]string
}

func newVersion(p *program.Program) *version {
	m := step.New(p)
	return &version{p: p, l: m.L, tell: story.New(m),
		macros: map[int32]string{}, salvos: map[int32]string{}, pages: map[int32]string{}, cues: map[int32]string{}}
}

func (v *version) place(at program.Place) string { return story.Place(v.p, at) }

// macro is the name of a macro's task, or of another task.
func (v *version) macro(task int32) string {
	if name, ok := v.macros[task]; ok {
		return name
	}
	return v.p.Tasks[task].Name
}

func (v *version) page(page int32) string {
	if name, ok := v.pages[page]; ok {
		return name
	}
	return v.p.Pages[page].Name
}

func (v *version) cue(cue int32) string {
	if name, ok := v.cues[cue]; ok {
		return name
	}
	return v.p.Cues[cue].Number
}

func (v *version) button(i int32) string {
	b := &v.p.Buttons[i]
	return fmt.Sprintf("button %s %d.%d %q", v.page(b.Page), b.Row, b.Column, b.Label)
}

func (v *version) cueWords(i int32) string {
	return fmt.Sprintf("cue %s %q", v.cue(i), v.p.Cues[i].Label)
}

func (v *version) action(i int32) string {
	a := &v.p.Actions[i]
	return story.Command(v.p, program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros})
}

// length is a duration as the language writes it.
func (v *version) length(micros int64) string { return story.Length(v.p, micros) }

// cond is a condition in names. `and` and `or` read the same in any order.
func (v *version) cond(c int32) string {
	x := &v.p.Conds[c]
	switch x.Op {
	case program.Const:
		return [2]string{"never", "always"}[x.A&1]
	case program.Not:
		return "not (" + v.cond(x.L) + ")"
	case program.And, program.Or:
		parts := v.parts(x.Op, c, nil)
		slices.Sort(parts)
		parts = slices.Compact(parts)
		if len(parts) == 1 {
			return parts[0]
		}
		return "(" + strings.Join(parts, [2]string{" and ", " or "}[x.Op-program.And]) + ")"
	case program.In:
		return v.variable(x.A) + " is " + v.values(x.A, v.p.Sets[x.B])
	case program.Shows:
		return v.p.Destinations[x.A].Name + ".shows(" + v.p.Sources[x.B].Name + ")"
	case program.ShowsNode:
		return v.p.Destinations[x.A].Name + ".shows(" + v.node(x.B) + ")"
	case program.SourceOnAir:
		return v.p.Sources[x.A].Name + ".on_air"
	case program.Running:
		return v.macro(x.A) + ".running"
	}
	return "?"
}

// parts are the conditions that one kind of join joins.
func (v *version) parts(op program.CondOp, c int32, parts []string) []string {
	if x := &v.p.Conds[c]; x.Op == op {
		return v.parts(op, x.R, v.parts(op, x.L, parts))
	}
	return append(parts, v.cond(c))
}

func (v *version) variable(i int32) string {
	x := &v.p.Vars[i]
	switch x.Kind {
	case program.TaskFailed:
		return v.macro(x.Owner) + ".failed"
	case program.ButtonDown, program.ButtonCover:
		return v.button(x.Owner)
	}
	return x.Name
}

// values are the values of a set, or what it leaves out where that is less.
func (v *version) values(i int32, set []uint32) string {
	var in, out []string
	for value := range v.p.Vars[i].Size {
		word := v.value(i, value)
		if set[value/32]>>(value%32)&1 == 1 {
			in = append(in, word)
		} else {
			out = append(out, word)
		}
	}
	if len(out) < len(in) {
		return "not " + strings.Join(slices.Compact(out), " or ")
	}
	return strings.Join(slices.Compact(in), " or ")
}

// value is a value in words that do not depend on labels.
func (v *version) value(i int32, value uint32) string {
	switch x := &v.p.Vars[i]; x.Kind {
	case program.Standby:
		if int(value) < len(v.p.Cues) {
			return "cue " + v.cue(int32(value))
		}
	case program.SurfacePage:
		if pages := v.p.Surfaces[x.Owner].Pages; int(value) < len(pages) {
			return v.page(pages[value])
		}
		return "no page"
	}
	return v.tell.Value(i, value)
}

// node names a picture: a source, a bank, the end of a tie line, else its label.
func (v *version) node(i int32) string {
	switch n := &v.p.Nodes[i]; {
	case n.Tie >= 0:
		return v.p.Ties[n.Tie].Name
	case n.Kind == program.SourceNode:
		return v.p.Sources[n.Owner].Name
	case n.Kind == program.BankNode:
		return v.p.Banks[n.Owner].Name
	default:
		return n.Label
	}
}

// argValues are the values of a run without the names of the parameters: `item: "a, b", back:
// wide` is `"a, b", wide`.
func argValues(args string) string {
	var out []string
	for args != "" {
		_, rest, named := strings.Cut(args, ": ")
		if !named {
			rest = args
		}
		end, quoted := len(rest), false
		for i := 0; i < len(rest); i++ {
			switch {
			case rest[i] == '\\' && quoted:
				i++
			case rest[i] == '"':
				quoted = !quoted
			case rest[i] == ',' && !quoted:
				end = i
			}
			if end < len(rest) {
				break
			}
		}
		out = append(out, rest[:end])
		args = strings.TrimPrefix(strings.TrimPrefix(rest[end:], ","), " ")
	}
	return strings.Join(out, ", ")
}
