package formula_test

import (
	"fmt"
	"os"
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/formula"
	"cuewright/sim/route"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/state"

	"github.com/expr-lang/expr"
	"github.com/expr-lang/expr/vm"
	"pgregory.net/rapid"
)

// The formulas are expr's language too, so its machine says what they come to.

// sample compiles a show of testdata.
func sample(t *testing.T, name, show string) *program.Program {
	t.Helper()
	var text [2]string
	for i, file := range []string{show, "rack.yaml"} {
		read, err := os.ReadFile("../../testdata/shows/" + name + "/" + file)
		if err != nil {
			t.Fatal(err)
		}
		text[i] = string(read)
	}
	return simtest.Compile(t, text[0], text[1])
}

// world is a program with its formulas, compiled as they come.
type world struct {
	t    *testing.T
	p    *program.Program
	l    *state.Layout
	f    formula.Writer
	runs map[string]*vm.Program
}

func newWorld(t *testing.T, p *program.Program) *world {
	return &world{t: t, p: p, l: state.NewLayout(p), runs: map[string]*vm.Program{},
		f: formula.Writer{P: p, Is: func(v int32, value uint32) string { return fmt.Sprintf("(v%d == %d)", v, value) }}}
}

// holds is what a formula comes to in a state.
func (w *world) holds(text string, env map[string]any) bool {
	run := w.runs[text]
	if run == nil {
		var err error
		if run, err = expr.Compile(text, expr.Env(env), expr.AsBool()); err != nil {
			w.t.Fatalf("%s: %v", text, err)
		}
		w.runs[text] = run
	}
	got, err := expr.Run(run, env)
	if err != nil {
		w.t.Fatalf("%s: %v", text, err)
	}
	return got.(bool)
}

func (w *world) env(s *state.State) map[string]any {
	env := map[string]any{}
	for v := range w.p.Vars {
		env[fmt.Sprint("v", v)] = int(w.l.Get(s, int32(v)))
	}
	return env
}

// questions adds every condition about pictures that the rack has room for.
func questions(p *program.Program) {
	for d := range p.Destinations {
		for s := range p.Sources {
			p.Conds = append(p.Conds, program.Cond{Op: program.Shows, A: int32(d), B: int32(s)})
		}
		for _, b := range p.Banks {
			p.Conds = append(p.Conds, program.Cond{Op: program.ShowsNode, A: int32(d), B: b.Node})
		}
	}
	for s := range p.Sources {
		p.Conds = append(p.Conds, program.Cond{Op: program.SourceOnAir, A: int32(s)})
	}
}

// TestCond: a condition's formula holds where sim/signal says that it does.
func TestCond(t *testing.T) {
	p := sample(t, "small", "small.show")
	questions(p)
	w, g := newWorld(t, p), signal.New(p, state.NewLayout(p))
	rapid.Check(t, func(r *rapid.T) {
		s := simtest.State(r, p, w.l)
		env := w.env(s)
		g.Look(s)
		for c := range p.Conds {
			if text := w.f.Cond(int32(c)); w.holds(text, env) != g.Holds(int32(c)) {
				r.Fatalf("%+v: signal says %v of %s", p.Conds[c], g.Holds(int32(c)), text)
			}
		}
	})
}

// TestWays: of the ways that are free the shortest that changes least is the one
// that sim/route takes, to each destination and tie line.
func TestWays(t *testing.T) {
	p := sample(t, "small", "small.show")
	w, g, f := newWorld(t, p), signal.New(p, state.NewLayout(p)), route.New(p, state.NewLayout(p))
	routed, refused := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		s := simtest.State(r, p, w.l)
		env := w.env(s)
		g.Look(s)
		var ends []int32
		for _, d := range p.Destinations {
			ends = append(ends, d.Node)
		}
		for _, tie := range p.Ties {
			ends = append(ends, p.Switches[tie.Switch].Node)
		}
		for _, to := range ends {
			for _, source := range p.Sources[1:] {
				plan, no := f.Find(s, g, to, source.Node)
				points, ok := w.best(to, source.Node, env)
				if got := backward(plan.Points); ok != (no == nil) || ok && !slices.Equal(got, points) {
					r.Fatalf("%s to %s: route takes %v, %v; of the ways %v, %v is best", source.Name, p.Nodes[to].Label, got, no, points, ok)
				}
				if ok {
					routed++
				} else {
					refused++
				}
			}
		}
	})
	if routed == 0 || refused == 0 {
		t.Errorf("%d routes found and %d refused", routed, refused)
	}
}

func (w *world) best(to, picture int32, env map[string]any) (best []formula.Point, ok bool) {
	ways, cabled := w.f.Ways(to, picture)
	if cabled {
		return nil, true
	}
	least := -1
	for _, x := range ways {
		cost := 0
		for _, at := range x.Points {
			if !w.holds(w.f.Stands(at), env) {
				cost++
			}
		}
		if w.holds(x.Free, env) && (best == nil || len(x.Points) == len(best) && cost < least) {
			best, least = x.Points, cost
		}
	}
	return best, best != nil
}

// backward is a plan's crosspoints from the destination up.
func backward(points []route.Point) []formula.Point {
	var all []formula.Point
	for _, x := range slices.Backward(points) {
		all = append(all, formula.Point{Switch: x.Switch, Pick: x.Pick})
	}
	return all
}

// What always or never holds is not written out.
func TestShortForms(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{formula.And(), "true"}, {formula.Or(), "false"},
		{formula.And("a", "true", "b"), "(a && b)"}, {formula.And("a", "false"), "false"},
		{formula.Or("a", "false", "b"), "(a || b)"}, {formula.Or("a", "true"), "true"},
		{formula.Or("a"), "a"}, {formula.Not(formula.Not("a")), "a"}, {formula.Not("true"), "false"}, {formula.Truth(true), "true"},
	} {
		if c.got != c.want {
			t.Errorf("got %s, want %s", c.got, c.want)
		}
	}
}
