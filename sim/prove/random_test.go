package prove_test

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/prove"
	"cuewright/sim/rehearse"
	"cuewright/sim/simtest"

	"pgregory.net/rapid"
)

// random makes a random program with places that refuse pictures, and rules.
func random(t *rapid.T) *program.Program {
	m := simtest.Rack(t)
	simtest.Show(t, m)
	for i := range m.P.Destinations {
		m.P.Destinations[i].Refuses = rapid.SliceOfNDistinct(rapid.Int32Range(1, int32(len(m.P.Sources)-1)), 0, 2, rapid.ID).Draw(t, "refuses")
	}
	for n := range rapid.IntRange(0, min(3, len(m.P.Conds))).Draw(t, "rules") {
		cond := rapid.IntRange(0, len(m.P.Conds)-1)
		rule := program.Rule{Name: string(rune('a' + n)), Kind: program.RuleKind(rapid.IntRange(0, 2).Draw(t, "kind")), Cond: int32(cond.Draw(t, "cond")), While: -1, At: simtest.Place(1000 + n)}
		if rule.Kind == program.Always && rapid.Bool().Draw(t, "while") {
			rule.While = int32(cond.Draw(t, "condition"))
		}
		m.P.Rules = append(m.P.Rules, rule)
	}
	return m.Done(t)
}

// Every story plays: in a rehearsal of its own steps, the walk that is watched
// by the on-air checks finds what the proof says, at the last step. What a
// proof says can never be, random presses never bring about.
func TestStoriesPlayAndProofsHold(t *testing.T) {
	stories, silent, proved := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := random(t)
		r := prove.Show(p, prove.Options{States: 20_000})
		for _, f := range r.Findings {
			if f.Story == nil {
				continue
			}
			if f.Steps == nil {
				silent++
				continue
			}
			stories++
			again := *p
			steps := append(slices.Clone(f.Steps), program.Step{Op: program.StepExpectFinding, Text: f.Code})
			again.Rehearsals = []program.Rehearsal{{Name: "again", Steps: steps}}
			run := rehearse.New(&again).Run(0)
			if len(run.Misses) > 0 {
				t.Fatalf("%s: %s\n%v\n%+v", f.Code, f.What, f.Words(p), run.Misses)
			}
		}
		holds := map[string]bool{}
		for _, a := range r.Answers {
			ok := a.Verdict == prove.Proved || a.Verdict == prove.NotApplicable || a.Verdict == prove.NotChecked
			if was, there := holds[a.Code]; a.Code != "device-did-not-act" && a.Code != "flashing" {
				holds[a.Code] = ok && (was || !there)
			}
		}
		walk := rehearse.NewWalk(p, "")
		for range rapid.IntRange(0, 60).Draw(t, "events") {
			var turn rehearse.Turn
			switch n := rapid.IntRange(0, 5).Draw(t, "what"); {
			case n == 0:
				turn = walk.Go(-1)
			case n < 3 || len(p.Buttons) == 0:
				turn = walk.After(int64(rapid.IntRange(0, 12).Draw(t, "eighths")) * simtest.Second / 8)
			default:
				turn = walk.Press(int32(rapid.IntRange(0, len(p.Buttons)-1).Draw(t, "button")))
			}
			for _, f := range turn.Findings {
				if holds[f.Code] {
					t.Fatalf("%s was proved never to be, and is: %s", f.Code, f.What)
				}
			}
		}
		for _, ok := range holds {
			if ok {
				proved++
			}
		}
	})
	t.Logf("%d stories, %d that no rehearsal can do, %d codes proved", stories, silent, proved)
	if stories == 0 || proved == 0 {
		t.Error("nothing was tried")
	}
}

// With slices and without, with each event by itself and without: the same
// verdicts and the same number of presses.
func TestSlicesChangeNoVerdict(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		p := random(t)
		a := prove.Show(p, prove.Options{States: 20_000})
		b := prove.Show(p, prove.Options{States: 20_000, NoSlice: true, Workers: 2})
		for i := range a.Answers {
			x, y := &a.Answers[i], &b.Answers[i]
			if x.Code != y.Code || x.Name != y.Name {
				t.Fatalf("%+v and %+v", x, y)
			}
			if x.Verdict == prove.Unfinished || y.Verdict == prove.Unfinished {
				continue
			}
			compared++
			if x.Verdict != y.Verdict {
				t.Fatalf("%s %s: %s in slices, %s without", x.Code, x.Name, x.Verdict, y.Verdict)
			}
		}
	})
	t.Logf("%d verdicts", compared)
}

// The same show gives the same report, whoever answers what.
func TestSameReport(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := random(t)
		a, b := prove.Show(p, prove.Options{States: 5_000}), prove.Show(p, prove.Options{States: 5_000, Workers: 3})
		for i := range a.Findings {
			x, y := a.Findings[i], b.Findings[i]
			if x.Code != y.Code || x.What != y.What || !slices.Equal(x.More, y.More) || len(x.Story) != len(y.Story) {
				t.Fatalf("%+v\n%+v", x, y)
			}
		}
	})
}
