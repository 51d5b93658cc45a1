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

// Broke are the findings of rules that held in the state that was looks at and
// do not in that of is; without a was, of all that do not hold.
func Broke(p *program.Program, was, is *signal.Graph) []onair.Finding {
	var found []onair.Finding
	for i := range p.Rules {
		if r := &p.Rules[i]; broken(r, is) && (was == nil || !broken(r, was)) {
			found = append(found, ruleFinding(r))
		}
	}
	return found
}

// brokenAtStart are the findings of rules that do not hold at power-on.
func (w *Walk) brokenAtStart() []Finding {
	w.is.Look(w.m.Start())
	var found []Finding
	for _, f := range Broke(w.m.P, nil, w.is) {
		found = append(found, Finding{Finding: f, Allowed: onair.Allowed(w.m.P, f, w.today)})
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
