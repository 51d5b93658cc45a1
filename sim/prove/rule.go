package prove

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

var ruleWords = [...]string{program.Never: "never", program.Always: "always", program.Possible: "possible"}

// RuleName is a rule as it is called: `never "bars on air"`.
func RuleName(p *program.Program, rule int) string {
	r := &p.Rules[rule]
	return fmt.Sprintf("%s %q", ruleWords[r.Kind], r.Name)
}

// rules puts the questions about the show's rules.
func (x *proof) rules() {
	for i := range x.p.Rules {
		if !x.everything() && !slices.Contains(x.o.Rules, i) {
			continue
		}
		name := RuleName(x.p, i)
		x.answers = append(x.answers, Answer{Code: "rule-broken", Name: name, At: x.p.Rules[i].At, Place: story.Place(x.p, x.p.Rules[i].At), rule: i})
		q := &question{name: name, code: "rule-broken", answer: len(x.answers) - 1}
		q.ask = func(a *asker) outcome {
			if q.local {
				return a.applies(i)
			}
			return a.rule(i)
		}
		if x.p.Rules[i].Kind != program.Possible && !x.brokenAtStart(i) {
			q.claim = func(l *local) claim { return l.rule(&l.p.Rules[i]) }
		}
		x.questions = append(x.questions, q)
	}
}

// broken says whether a rule is broken in a state.
func (x *proof) broken(i int) func(*explore.View) bool {
	r := &x.p.Rules[i]
	if r.Kind == program.Never {
		return func(v *explore.View) bool { return v.Holds(r.Cond) }
	}
	return func(v *explore.View) bool { return (r.While < 0 || v.Holds(r.While)) && !v.Holds(r.Cond) }
}

// brokenAtStart says whether power-on breaks a rule.
func (x *proof) brokenAtStart(i int) bool {
	a := x.newAsker()
	return a.brokenNow(i, &tale{state: a.m.Start()})
}

// applies is what is known of a rule that no event breaks: whether its while
// ever comes about.
func (a *asker) applies(i int) outcome {
	out := outcome{Result: explore.Result{Verdict: explore.Proved}, allowed: -1, note: byEachEvent}
	while := a.x.p.Rules[i].While
	if while < 0 {
		return out
	}
	switch out.Result = a.e.Reaches(while, a.options(0)); out.Verdict {
	case explore.Refuted:
		out.Verdict, out.note = explore.NotChecked, ""
	case explore.Unfinished:
		out.Verdict, out.note = explore.Proved, byEachEvent+"; whether its `while` ever comes about is not known"
	}
	out.HasStory = false
	return out
}

// rule decides a rule of the show.
func (a *asker) rule(i int) outcome {
	out := outcome{Result: a.e.Rule(i, a.options(0)), allowed: -1}
	if out.Verdict != explore.Refuted || !out.HasStory {
		return out
	}
	broken := a.x.broken(i)
	a.tellPlainly(&out, func(t *tale) bool { return a.brokenNow(i, t) })
	if out.tale.wrong != "" || !a.brokenNow(i, out.tale) {
		return out.doubt()
	}
	w := &wrong{state: broken, lasting: true,
		event: func(before *explore.View, _ step.Event, _ []step.Effect, after *explore.View) bool {
			return broken(after) && !broken(before)
		}}
	a.others(w, &out)
	return out
}

// brokenNow says whether a rule is broken at the end of a tale.
func (a *asker) brokenNow(i int, t *tale) bool {
	r := &a.x.p.Rules[i]
	holds := a.m.Holds(t.state, r.Cond)
	if r.Kind == program.Never {
		return holds
	}
	return !holds && (r.While < 0 || a.m.Holds(t.state, r.While))
}

// doubt is what is known when a story does not do what it is told for: nothing.
func (o outcome) doubt() outcome {
	o.Verdict, o.Bound, o.HasStory = explore.Unfinished, explore.NoBound, false
	o.note = "a story was found that did not play"
	if o.tale != nil && o.tale.wrong != "" {
		o.note += ": " + o.tale.wrong
	}
	return o
}
