package explore

import (
	"fmt"

	"cuewright/macro/program"
)

// tellings is what in a slice can tell values of buses apart: conditions of
// its scripts and of its goal, and routes. All else moves values about without
// looking at them.
type tellings struct {
	*cone
	tests   []*program.Cond // In
	origins []int32         // nodes whose pictures some condition looks for
	ways    []int32         // nodes whose pictures routes bring, or that they may find held
	goal    []int32         // conditions that the goal asks for
	exact   bits            // variables that a property looks at itself; nil is all
}

func (c *cone) tellings(goal []int32, exact bits) *tellings {
	t := &tellings{cone: c, goal: goal, exact: exact}
	for _, cond := range goal {
		t.cond(cond)
	}
	for _, task := range c.tasks.list() {
		if int(task) >= len(c.p.Tasks) {
			continue
		}
		c.code(task, func(in *program.Instr) {
			if in.Op == program.Until || in.Op == program.Unless {
				t.cond(in.A)
			}
		})
	}
	for i := range c.p.Actions {
		t.action(&c.p.Actions[i])
	}
	t.origins, t.ways = unique(t.origins), unique(t.ways)
	return t
}

func (t *tellings) cond(c int32) {
	if c < 0 {
		return
	}
	switch n := &t.p.Conds[c]; n.Op {
	case program.Not:
		t.cond(n.L)
	case program.And, program.Or:
		t.cond(n.L)
		t.cond(n.R)
	case program.In:
		t.tests = append(t.tests, n)
	case program.Shows:
		t.origins = append(t.origins, t.wire.origins(n.B)...)
	case program.SourceOnAir:
		t.origins = append(t.origins, t.wire.origins(n.A)...)
	case program.ShowsNode:
		t.origins = append(t.origins, n.B)
	}
}

func (t *tellings) action(a *program.Action) {
	if a.Verb != program.Route && a.Verb != program.RouteTie {
		return
	}
	w, matters := t.wire.way(a), false
	for _, s := range w.switches {
		matters = matters || t.vars.has(t.p.Switches[s].Var)
	}
	if !matters {
		return
	}
	t.ways = append(t.ways, a.B) // and so whatever its switches bring on
}

// classes numbers the values of a variable so that values which nothing tells
// apart have one number, and values that it never has have none; reps are a
// value of each. It is nil when all values count. A bank's program and preset
// change over, so they have the same classes.
func (t *tellings) classes(v int32) (class []uint32, reps []uint32) {
	x := &t.p.Vars[v]
	picks, twin := []program.Pick(nil), v
	switch x.Kind {
	case program.BankProgram, program.BankPreset:
		b := &t.p.Banks[x.Owner]
		picks, twin = b.Picks, b.Program+b.Preset-v
	case program.SwitchPick:
		picks = t.p.Switches[x.Owner].Picks
	default:
		return nil, nil
	}
	if t.exact == nil || t.exact.has(v) || t.exact.has(twin) {
		return nil, nil
	}
	known := map[string]uint32{}
	class = make([]uint32, x.Size)
	for i := range class {
		if !t.wire.can[v].has(int32(i)) && !t.wire.can[twin].has(int32(i)) {
			continue
		}
		look := t.look(v, twin, int32(i), picks[i].Node)
		n, ok := known[look]
		if !ok {
			n = uint32(len(reps))
			known[look] = n
			reps = append(reps, uint32(i))
		}
		class[i] = n
	}
	return class, reps
}

// look is how a value looks to all that can tell values apart.
func (t *tellings) look(v, twin, value, node int32) string {
	key := ""
	for _, n := range t.tests {
		if n.A == v || n.A == twin {
			set := t.p.Sets[n.B]
			key += fmt.Sprint(set[value/32] >> (value % 32) & 1)
		}
	}
	for _, o := range t.origins {
		if node >= 0 && t.wire.from(o).has(node) {
			return fmt.Sprint("picture ", value)
		}
	}
	for _, o := range t.ways {
		if node >= 0 && t.wire.routes(o).has(node) {
			return fmt.Sprint("picture ", value)
		}
	}
	return key
}
