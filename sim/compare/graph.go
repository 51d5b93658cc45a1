package compare

import (
	"slices"
	"strings"

	"cuewright/macro/program"
)

// salvo is the actions of a salvo. They are fired together: where no two of
// them touch the same thing, their order makes no difference and is forgotten.
func (v *version) salvo(i int32) []line {
	var lines []line
	touched := map[int32]bool{}
	apart := true
	for _, a := range v.p.Salvos[i].Actions {
		lines = append(lines, line{v.action(a), v.p.Actions[a].At})
		for _, thing := range v.touches(a) {
			apart = apart && !touched[thing]
			touched[thing] = true
		}
	}
	if apart {
		slices.SortStableFunc(lines, func(a, b line) int { return strings.Compare(a.text, b.text) })
	}
	return lines
}

// touches are the variables that an action can set, or a number below 0 that
// stands for what has none.
func (v *version) touches(i int32) (vars []int32) {
	a := &v.p.Actions[i]
	switch a.Verb {
	case program.CutTo, program.PresetTo, program.Take, program.Mix, program.Wipe, program.Fade:
		return []int32{v.p.Banks[a.A].Program}
	case program.KeyTo:
		return []int32{v.p.Keyers[a.A].On}
	case program.Route, program.RouteTie:
		to := int32(-1)
		if a.Verb == program.Route {
			to = v.p.Destinations[a.A].Node
			vars = append(vars, v.p.Destinations[a.A].Protect)
		} else {
			to = v.p.Switches[v.p.Ties[a.A].Switch].Node
		}
		for _, sw := range ways(v.p, to, a.B) {
			vars = append(vars, v.p.Switches[sw].Var)
		}
		return vars
	case program.Load, program.Play, program.Pause, program.StopDeck:
		return []int32{v.p.Decks[a.A].State}
	case program.Record, program.StopRecorder:
		return []int32{v.p.Recorders[a.A].State}
	case program.Start, program.StopEncoder:
		return []int32{v.p.Encoders[a.A].State}
	case program.Recall:
		return []int32{v.p.Cameras[a.A].Shot}
	case program.SwitchTo:
		return []int32{v.p.Outlets[a.A].On}
	case program.Protect:
		return []int32{v.p.Destinations[a.A].Protect}
	}
	return []int32{-1} // a message: what it does is not known, so order counts
}

// destinations tells what a destination can show that it could not, and what
// it cannot show any more.
func (d *differ) destinations() {
	old, now := reachOf(d.was.p, everything), reachOf(d.is.p, everything)
	gains := func(from, to *version, before, after *reach, tell func(dest, source string, h Hunk)) {
		var causes []int32
		for i := range to.p.Destinations {
			x := &to.p.Destinations[i]
			o := slices.IndexFunc(from.p.Destinations, func(y program.Destination) bool { return y.Name == x.Name })
			if o < 0 {
				continue // it is new in the plan, and that is told
			}
			for _, s := range after.at(x.Node) {
				name := to.p.Sources[s].Name
				same := slices.IndexFunc(from.p.Sources, func(y program.Source) bool { return y.Name == name })
				if same >= 0 && before.has(from.p.Destinations[o].Node, int32(same)) {
					continue
				}
				if causes == nil {
					causes = newActions(from, to)
				}
				tell(x.Name, name, Hunk{WasAt: from.place(from.p.Destinations[o].At), IsAt: to.cause(x, s, causes)})
			}
		}
	}
	gains(d.was, d.is, old, now, func(dest, source string, h Hunk) {
		d.add(OfDestination, []Hunk{h}, nil, "%s can now show %s", dest, source)
	})
	gains(d.is, d.was, now, old, func(dest, source string, h Hunk) {
		h.WasAt, h.IsAt = h.IsAt, h.WasAt
		d.add(OfDestination, []Hunk{h}, nil, "%s cannot show %s any more", dest, source)
	})
}

// newActions are the actions that only one version has.
func newActions(from, to *version) []int32 {
	known := map[string]bool{}
	for i := range from.p.Actions {
		known[from.action(int32(i))] = true
	}
	causes := []int32{}
	for i := range to.p.Actions {
		if !known[to.action(int32(i))] {
			causes = append(causes, int32(i))
		}
	}
	return causes
}

// cause is the place of the first new action without which a destination
// could not show a source; else of the first without which and those after it
// it could not; else of the destination in the plan.
func (v *version) cause(x *program.Destination, source int32, causes []int32) string {
	for _, only := range [...]bool{true, false} {
		for i, a := range causes {
			without := reachOf(v.p, func(b int32) bool {
				return b != a && (only || !slices.Contains(causes[i:], b))
			})
			if !without.has(x.Node, source) {
				return v.place(v.p.Actions[a].At)
			}
		}
	}
	return v.place(x.At)
}

var ruleWords = [...]string{"never", "always", "possible"}

// rule is what a rule demands.
func (v *version) rule(i int32) []line {
	r := &v.p.Rules[i]
	text := ruleWords[r.Kind] + " " + v.cond(r.Cond)
	if r.While >= 0 {
		text += " while " + v.cond(r.While)
	}
	return []line{{text, r.At}}
}

// pairRules joins rules of the same name, then those that demand the same.
func (d *differ) pairRules() [][2]int32 {
	keys := func(v *version) (keys []key) {
		for i, r := range v.p.Rules {
			keys = append(keys, key{r.Name, int32(i)})
		}
		return keys
	}
	return d.pair(keys(d.was), keys(d.is), func(v *version, i int32) string { return v.rule(i)[0].text }, func(_, _ int32) {})
}

func (d *differ) rules() {
	for _, pair := range d.pairRules() {
		a, b := pair[0], pair[1]
		switch {
		case a < 0:
			d.add(OfRule, []Hunk{{Is: texts(d.is.rule(b)), IsAt: d.is.place(d.is.p.Rules[b].At)}}, nil, "rule %q is new", d.is.p.Rules[b].Name)
		case b < 0:
			d.add(OfRule, []Hunk{{Was: texts(d.was.rule(a)), WasAt: d.was.place(d.was.p.Rules[a].At)}}, nil, "rule %q is gone", d.was.p.Rules[a].Name)
		default:
			x, y := &d.was.p.Rules[a], &d.is.p.Rules[b]
			if x.Name != y.Name {
				d.add(OfRule, d.at(x.At, y.At), nil, "rule %q is now called %q", x.Name, y.Name)
			}
			if h := d.hunks(d.was.rule(a), d.is.rule(b), x.At, y.At); len(h) > 0 {
				d.add(OfRule, h, nil, "rule %q demands something else", y.Name)
			}
		}
	}
}

// verdicts tells the rules of both versions that come out otherwise, and gives
// the names of those of which that is not certain.
func (d *differ) verdicts(decide Decide) (undecided []string) {
	for _, pair := range d.pairRules() {
		a, b := pair[0], pair[1]
		if a < 0 || b < 0 {
			continue
		}
		x, y := &d.was.p.Rules[a], &d.is.p.Rules[b]
		old, oldSure := decide(d.was.p, a)
		now, nowSure := decide(d.is.p, b)
		switch {
		case !oldSure || !nowSure:
			undecided = append(undecided, y.Name)
		case old != now:
			d.add(OfVerdict, d.at(x.At, y.At), nil, "rule %q is now %s, was %s", y.Name, now, old)
		}
	}
	return undecided
}
