package rehearse

import (
	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
)

// ruleBroken is the code of a rule that does not hold; its row stands in
// macro/diag with those of proofs, which find it without a rehearsal.
const ruleBroken = "rule-broken"

// broken says whether a rule does not hold in the state that g looks at. A
// `possible` rule cannot be broken in one state.
func broken(r *program.Rule, g *signal.Graph) bool {
	switch r.Kind {
	case program.Never:
		return g.Holds(r.Cond)
	case program.Always:
		return (r.While < 0 || g.Holds(r.While)) && !g.Holds(r.Cond)
	}
	return false
}

// rules are the findings of rules that held before an event and do not now.
func (w *Walk) rules() []onair.Finding {
	var found []onair.Finding
	for i := range w.m.P.Rules {
		if r := &w.m.P.Rules[i]; broken(r, w.is) && !broken(r, w.was) {
			found = append(found, ruleFinding(r))
		}
	}
	return found
}

// brokenAtStart are the findings of rules that do not hold at power-on.
func (w *Walk) brokenAtStart() []Finding {
	w.is.Look(w.m.Start())
	var found []Finding
	for i := range w.m.P.Rules {
		if r := &w.m.P.Rules[i]; broken(r, w.is) {
			f := ruleFinding(r)
			found = append(found, Finding{Finding: f, Allowed: onair.Allowed(w.m.P, f, w.today)})
		}
	}
	return found
}

func ruleFinding(r *program.Rule) onair.Finding {
	word := "never"
	if r.Kind == program.Always {
		word = "always"
	}
	return onair.Finding{Code: ruleBroken, At: r.At, Task: -1, What: word + " `" + r.Name + "` does not hold"}
}
