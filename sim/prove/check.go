package prove

import (
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/onair"
	"cuewright/sim/rehearse"
	"cuewright/sim/step"
)

// checks puts the questions about the built-in on-air checks: an answer for
// each code and thing, a question for each place where it can be seen.
func (x *proof) checks() {
	for _, code := range onair.Codes() {
		switch {
		case !x.asksFor(code):
			continue
		case code == "flashing" || code == "rival-macros" || code == "operators-collide":
			continue // see flash.go, rival.go
		case code == "device-did-not-act":
			x.notApplicable(code, "what a fault does is not asked: with --faults, every fault that comes makes it so")
			continue
		}
		list := x.watch.Checks(code)
		if len(list) == 0 {
			x.notApplicable(code, reasons[code])
		}
		for len(list) > 0 { // one question for each place, but one for all where all is allowed
			n := 1
			for x.allowedAt(Finding{Code: code}) >= 0 && n < len(list) && x.sameThing(list[0], list[n]) {
				n++
			}
			x.check(list[:n])
			list = list[n:]
		}
	}
}

// sameThing says whether two checks are about one thing.
func (x *proof) sameThing(a, b onair.Check) bool {
	one, _ := x.about(a)
	two, _ := x.about(b)
	return one == two
}

// reasons say why a check has nothing to look at.
var reasons = map[string]string{
	"camera-moved-on-air":        "the show moves no camera that a place on air can show",
	"deck-touched-on-air":        "the show loads and stops no deck that a place on air can show",
	"deck-ran-out-on-air":        "the show plays no clip that ends and that a place on air can show",
	"source-changed-on-air":      "no place on air shows a switch that changes, but its own",
	"feedback-loop":              "nothing in the show can lead a picture back to itself",
	"picture-refused":            "nothing in the show can bring a refused picture to its place",
	"recorder-source-changed":    "no recorder is fed by a switch",
	"protected-changed":          "nothing in the show can change a place that it protects",
	"live-without-recording":     "there is no encoder, or no recorder",
	"transition-over-transition": "the show mixes, wipes and fades nothing",
	"tie-lines-exhausted":        "no route of the show needs a tie line",
	"no-path":                    "every route of the show has a way",
	"rival-macros":               "no two scripts that take time drive one bus two ways",
	"operators-collide":          "no two scripts that take time drive one machine two ways",
}

func (x *proof) notApplicable(code, why string) {
	x.answers = append(x.answers, Answer{Code: code, Verdict: NotApplicable, Note: why, rule: -1})
}

// answerTo is the answer of a code about a thing, made when it is not there.
func (x *proof) answerTo(code, about string) int {
	i := slices.IndexFunc(x.answers, func(a Answer) bool { return a.Code == code && a.Name == about })
	if i < 0 {
		x.answers = append(x.answers, Answer{Code: code, Name: about, rule: -1})
		i = len(x.answers) - 1
	}
	return i
}

// check puts one question about checks of one thing: whether one of them finds
// anything.
func (x *proof) check(checks []onair.Check) {
	c := checks[0]
	about, where := x.about(c)
	name := c.Code + ": " + about
	if where != "" && len(checks) == 1 {
		name += " at " + where
	}
	q := &question{name: name, code: c.Code, about: about, answer: x.answerTo(c.Code, about)}
	q.ask = func(a *asker) outcome {
		if q.local {
			return outcome{Result: explore.Result{Verdict: explore.Proved}, allowed: -1, note: byEachEvent}
		}
		var out outcome
		for i, c := range checks {
			if one := a.check(c); i == 0 || one.worse(&out) {
				out = one
			}
			if out.Verdict == explore.Refuted {
				break
			}
		}
		return out
	}
	if slices.Contains(byEvent, c.Code) {
		q.claim = func(l *local) claim {
			c := c
			if len(checks) > 1 || c.Code == "camera-moved-on-air" || c.Code == "deck-touched-on-air" {
				c.At = -1 // on air anywhere: that is what a script asks too
			}
			return l.check(c)
		}
	}
	x.questions = append(x.questions, q)
}

// about names what a check is about, and where it is seen.
func (x *proof) about(c onair.Check) (what, where string) {
	p := x.p
	if c.At >= 0 {
		where = p.Destinations[c.At].Name
	}
	switch c.Code {
	case "camera-moved-on-air":
		return p.Cameras[c.Of].Name, where
	case "deck-touched-on-air", "deck-ran-out-on-air":
		return p.Decks[c.Of].Name, where
	case "source-changed-on-air":
		for _, t := range p.Ties {
			if t.Switch == c.Of {
				return t.Name, where
			}
		}
		return p.Switches[c.Of].Name, where
	case "picture-refused":
		return where, p.Sources[c.Of].Name
	case "recorder-source-changed":
		return p.Recorders[c.Of].Name, where
	case "live-without-recording":
		return p.Encoders[c.Of].Name, where
	case "transition-over-transition":
		return p.Banks[c.Of].Name, where
	case "no-path", "tie-lines-exhausted", "protected-changed":
		if n := int32(len(p.Destinations)); c.Of >= n {
			return p.Ties[c.Of-n].Name, where
		}
		return p.Destinations[c.Of].Name, where
	case "feedback-loop":
		return x.watch.CircleName(c.Of), where
	}
	return "", where
}

// wrongOf is what a check looks for; with accept only findings that it takes.
func (a *asker) wrongOf(c onair.Check, accept func(onair.Finding) bool) *wrong {
	w := a.watch
	out := &wrong{}
	out.vars, out.tasks = w.Needs(c)
	atStart, lasting := w.Stands(c, a.start())
	out.lasting = lasting && !atStart && accept == nil
	out.state = func(v *explore.View) bool {
		is, _ := w.Stands(c, side(v))
		return is
	}
	out.event = func(before *explore.View, e step.Event, effects []step.Effect, after *explore.View) bool {
		if accept == nil {
			return w.Asks(c, side(before), side(after), e, effects)
		}
		return slices.ContainsFunc(w.Finds(c, side(before), side(after), e, effects), func(f onair.Finding) bool {
			return slices.ContainsFunc(a.doers(f.Task, e), func(task int32) bool {
				f.Task = task
				return accept(f)
			})
		})
	}
	if accept != nil { // who did it matters, so what anybody did does
		out.tasks = a.everyone()
	}
	return out
}

// doers are the tasks on whose behalf a finding can be: the one that it names,
// else, when a timer has run out, all that can have started it.
func (a *asker) doers(task int32, e step.Event) []int32 {
	if task >= 0 || e.Kind != step.Expire {
		return []int32{task}
	}
	p := a.x.p
	var is func(*program.Action) bool
	switch t := p.Timers[e.A]; t.Kind {
	case program.BankTimer:
		is = func(c *program.Action) bool {
			return c.A == t.Owner && (c.Verb == program.Mix || c.Verb == program.Wipe || c.Verb == program.Fade)
		}
	case program.DeckTimer:
		is = func(c *program.Action) bool {
			return c.A == t.Owner && (c.Verb == program.Load || c.Verb == program.Play)
		}
	default:
		return []int32{task}
	}
	if doers := a.watch.Who(is); len(doers) > 0 {
		return doers
	}
	return []int32{task}
}

// everyone is all tasks that do anything.
func (a *asker) everyone() []int32 {
	tasks := make([]int32, len(a.x.p.Tasks))
	for i := range tasks {
		tasks[i] = int32(i)
	}
	return tasks
}

// check decides a check at one place.
func (a *asker) check(c onair.Check) outcome {
	return a.decide(c.Code, a.wrongOf(c, nil), func(accept func(onair.Finding) bool) *wrong { return a.wrongOf(c, accept) },
		func(f onair.Finding) bool { return a.fits(c, f) })
}

// fits says whether a finding of the watch is one of a check: another place or
// thing may have gone wrong in the same event.
func (a *asker) fits(c onair.Check, f onair.Finding) bool {
	about, where := a.x.about(c)
	return f.Code == c.Code && (c.Code == "feedback-loop" ||
		strings.Contains(f.What, "`"+about+"`") && (where == "" || c.Code != "picture-refused" || strings.Contains(f.What, "`"+where+"`")))
}

// decide decides what the watch can find: first whether it comes about at all,
// then, when the show allows some of it, whether the rest does.
func (a *asker) decide(code string, w *wrong, narrow func(accept func(onair.Finding) bool) *wrong, fits func(onair.Finding) bool) outcome {
	out := outcome{Result: a.e.Property(w.property(nil), a.options(0)), allowed: -1}
	if out.Verdict != explore.Refuted {
		return out
	}
	if !a.confirm(&out, fits) {
		return out.doubt()
	}
	if out.allowed < 0 {
		a.others(w, &out)
		return out
	}
	out.used = append(out.used, out.allowed)
	if allow := &a.x.p.Allows[out.allowed]; allow.Task < 0 && allow.Page < 0 {
		return out
	}
	open := func(f onair.Finding) bool { return onair.Allowed(a.x.p, f, a.x.o.Today) < 0 }
	rest := narrow(open)
	second := outcome{Result: a.e.Property(rest.property(nil), a.options(0)), allowed: -1, used: out.used}
	switch second.Verdict {
	case explore.Proved:
		return out
	case explore.Refuted:
		if !a.confirm(&second, fits) || second.allowed >= 0 {
			second.tale = nil
			second = second.doubt()
			second.note = "some of it is allowed, and whether all of it is could not be told"
			return second
		}
		a.others(rest, &second)
	}
	return second
}

// confirm plays the story of an outcome and takes the watch's finding at its
// end. It says false when there is none.
func (a *asker) confirm(out *outcome, fits func(onair.Finding) bool) bool {
	a.tellPlainly(out, func(t *tale) bool { return slices.ContainsFunc(t.found, fits) })
	if out.tale.wrong != "" {
		return false
	}
	found := slices.Clone(out.tale.found)
	i := slices.IndexFunc(found, func(f onair.Finding) bool { return fits(f) && onair.Allowed(a.x.p, f, a.x.o.Today) < 0 })
	if i < 0 {
		i = slices.IndexFunc(found, fits)
	}
	if i < 0 {
		return false
	}
	out.finding, out.allowed = &found[i], onair.Allowed(a.x.p, found[i], a.x.o.Today)
	return true
}

// tellPlainly plays an outcome's story, in the way of a rehearsal where that
// comes to the same end.
func (a *asker) tellPlainly(out *outcome, same func(*tale) bool) {
	if _, ok := rehearse.Steps(a.x.p, out.Story); !ok {
		events := plain(a.x.p, out.Story)
		if _, ok := rehearse.Steps(a.x.p, events); ok {
			if t := a.play(events); t.wrong == "" && same(t) {
				out.Story, out.tale = events, t
				return
			}
		}
	}
	out.tale = a.play(out.Story)
}

// rivals puts the questions about scripts that collide: an answer for each
// thing that they drive.
func (x *proof) rivals() {
	list := x.watch.Rivals()
	for _, code := range []string{"rival-macros", "operators-collide"} {
		if x.asksFor(code) && !slices.ContainsFunc(list, func(r onair.Rival) bool { return r.Code == code }) {
			x.notApplicable(code, reasons[code])
		}
	}
	for _, r := range list {
		if !x.asksFor(r.Code) {
			continue
		}
		about := strings.ReplaceAll(x.watch.ThingName(r.Thing), "`", "")
		name := r.Code + ": " + x.p.Tasks[r.First].Name + " and " + x.p.Tasks[r.Second].Name + " on " + about
		one, two := min(r.First, r.Second), max(r.First, r.Second)
		q := &question{name: name, code: r.Code, about: about, answer: x.answerTo(r.Code, about),
			pair:  pair{x.p.Tasks[one].Name + " and " + x.p.Tasks[two].Name, about},
			claim: func(l *local) claim { return l.rival(r) }}
		q.ask = func(a *asker) outcome {
			if q.local {
				return outcome{Result: explore.Result{Verdict: explore.Proved}, allowed: -1, note: byEachEvent}
			}
			return a.rival(r)
		}
		x.questions = append(x.questions, q)
	}
}

func (a *asker) rival(r onair.Rival) outcome {
	make := func(accept func(onair.Finding) bool) *wrong {
		return &wrong{tasks: a.watch.RivalTasks(r), vars: a.watch.RivalVars(r),
			event: func(before *explore.View, e step.Event, effects []step.Effect, after *explore.View) bool {
				return a.watch.Collides(r, side(before), side(after), e, effects) &&
					(accept == nil || accept(onair.Finding{Code: r.Code, Task: a.watch.Puller(r, effects)}))
			}}
	}
	return a.decide(r.Code, make(nil), make, func(f onair.Finding) bool {
		return f.Code == r.Code && strings.HasPrefix(f.What, "`"+a.x.p.Tasks[r.Second].Name+"` ") &&
			strings.Contains(f.What, "`"+a.x.p.Tasks[r.First].Name+"`") && strings.Contains(f.What, a.watch.ThingName(r.Thing))
	})
}

// startersOf names the buttons and cues that set a script off.
func (x *proof) startersOf(task int32) []string {
	var names []string
	for t := range x.p.Tasks {
		if k := &x.p.Tasks[t]; (k.Kind != program.MacroTask && k.Kind != program.BranchTask) && x.watch.Calls(int32(t), task) {
			names = append(names, k.Name)
		}
	}
	return names
}
