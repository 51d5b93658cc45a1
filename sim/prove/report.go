package prove

import (
	"cmp"
	"fmt"
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/onair"
	"cuewright/sim/rehearse"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// report puts together what came of the questions.
func (x *proof) report() *Report {
	r := &Report{Show: x.p.Show, Faults: x.o.Faults, Stopped: x.stopped, p: x.p}
	used := make([]bool, len(x.p.Allows))
	for _, q := range x.questions {
		for _, i := range q.used {
			used[i] = true
		}
		if q.answer < 0 {
			x.tellNever(r, q, used)
			continue
		}
		x.answer(q)
		x.tellWrong(r, q, used)
	}
	r.Answers = x.answers
	r.Findings = x.grouped(r.Findings)
	if x.everything() {
		x.stale(r, used)
	}
	a := x.newAsker()
	for i := range r.Findings {
		x.mend(a, r, &r.Findings[i])
	}
	if r.Unknown == nil {
		r.Unknown = []string{}
	}
	if r.Untried == nil {
		r.Untried = []string{}
	}
	return r
}

// weight orders verdicts: an answer of several parts is its heaviest.
var weight = map[Verdict]int{NotApplicable: 0, Proved: 1, NotChecked: 2, Allowed: 3, Unfinished: 4, Refuted: 5}

// answer adds a question to its answer.
func (x *proof) answer(q *question) {
	a := &x.answers[q.answer]
	verdict, note := x.verdict(q)
	if a.Verdict == "" || weight[verdict] > weight[a.Verdict] {
		a.Verdict, a.Note = verdict, note
	}
	a.Buttons = max(a.Buttons, len(q.Slice.Buttons))
	a.Cues = max(a.Cues, len(q.Slice.Cues))
	a.States += q.States
	a.Presses = max(a.Presses, q.Depth)
	a.Bytes = max(a.Bytes, q.Bytes)
}

// verdict is what a question's outcome says, and a word about it.
func (x *proof) verdict(q *question) (Verdict, string) {
	switch {
	case !q.asked:
		return Unfinished, "not looked at"
	case q.Verdict == explore.Proved:
		return Proved, q.note
	case q.Verdict == explore.NotChecked:
		return NotChecked, "its `while` never comes about"
	case q.Verdict == explore.Refuted && q.allowed >= 0:
		return Allowed, x.p.Allows[q.allowed].Reason
	case q.Verdict == explore.Refuted:
		return Refuted, ""
	}
	if i := x.allowedAt(Finding{Code: q.code}); i >= 0 && diag.IsOnAir(diag.Code(q.code)) {
		return Allowed, x.p.Allows[i].Reason + "; whether it can be needed is not known"
	}
	if q.note != "" {
		return Unfinished, q.note
	}
	came := fmt.Sprintf("after %s to %s deep", counted(int64(max(q.States, q.Zones)), "state"), counted(int64(q.Depth), "press"))
	switch q.Bound {
	case explore.StateBound:
		return Unfinished, "the bound on states was met " + came
	case explore.ByteBound:
		return Unfinished, "the memory was used up " + came
	}
	return Unfinished, "it was stopped " + came
}

func counted(n int64, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if what == "press" {
		what = "presse"
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// tellWrong makes the finding of a question that is refuted.
func (x *proof) tellWrong(r *Report, q *question, used []bool) {
	if q.Verdict == explore.NotChecked {
		rule := &x.p.Rules[x.answers[q.answer].rule]
		f := x.finding("rule-never-tried", rule.At, "`%s` was never put to the test: its `while` never comes about", rule.Name)
		if i := x.allowedAt(f); i >= 0 {
			used[i] = true
		} else {
			r.Findings = append(r.Findings, f)
		}
		return
	}
	if q.Verdict != explore.Refuted || q.allowed >= 0 {
		return
	}
	f := Finding{Code: q.code, Presses: q.Presses, More: q.more, Others: q.others, broken: -1, check: q}
	if rule := x.answers[q.answer].rule; rule >= 0 {
		x.ofRule(&f, q, rule)
	} else {
		f.What, f.At = q.finding.What, q.finding.At
		for _, n := range q.finding.Also {
			f.Also = append(f.Also, Also{n.At, story.Place(x.p, n.At), n.Text})
		}
		f.Last = q.finding.Code + ": " + q.finding.What
		f.pair = q.pair
	}
	f.Place = story.Place(x.p, f.At)
	if q.tale != nil {
		f.Story = q.tale.beats
	}
	if steps, ok := rehearse.Steps(x.p, q.Story); ok && (q.HasStory || q.code == "flashing") {
		f.Steps = x.pressable(steps)
	}
	r.Findings = append(r.Findings, f)
}

// pressable drops the time before the first thing done: nothing happens in it.
func (x *proof) pressable(steps []program.Step) []program.Step {
	if len(steps) == 0 {
		return []program.Step{}
	}
	return steps
}

// ofRule fills in the finding that a rule is broken.
func (x *proof) ofRule(f *Finding, q *question, rule int) {
	p := x.p
	f.Rule, f.At, f.broken = RuleName(p, rule), p.Rules[rule].At, rule
	if q.tale == nil {
		f.What = fmt.Sprintf("`%s` never comes about, whatever is pressed", p.Rules[rule].Name)
		f.Last = "nothing gets there"
		return
	}
	m := step.New(p)
	seen := story.New(m).Seen(q.tale.state, p.Rules[rule].Cond)
	f.What = fmt.Sprintf("`%s` is broken with %s", p.Rules[rule].Name, counted(int64(q.Presses), "press"))
	if q.Presses == 0 {
		f.What = fmt.Sprintf("`%s` is broken", p.Rules[rule].Name)
		if len(q.Story) == 0 {
			f.What += " at power-on"
		} else {
			f.What += " with no press at all"
		}
	}
	f.Last = fmt.Sprintf("%s is broken (%s)", f.Rule, story.Place(p, f.At))
	if seen != "" {
		f.Last += ": " + seen
	}
	f.Also = append(f.Also, x.doing(q)...)
}

// doing is where the show does what breaks a rule: the last thing sent.
func (x *proof) doing(q *question) []Also {
	for i := range slices.Backward(q.tale.effects) {
		if e := &q.tale.effects[i]; e.Kind == step.Sent && e.Action >= 0 {
			if at := x.p.Actions[e.Action].At; at.Line > 0 {
				return []Also{{at, story.Place(x.p, at), "done here"}}
			}
		}
	}
	return nil
}

// tellNever makes the finding of a question about what can never come about.
func (x *proof) tellNever(r *Report, q *question, used []bool) {
	f := q.never()
	switch {
	case q.asked && q.Verdict == explore.Proved:
		if i := x.allowedAt(f); i >= 0 {
			used[i] = true
			return
		}
		r.Findings = append(r.Findings, f)
	case !q.asked || q.Verdict == explore.Unfinished:
		r.Unknown = append(r.Unknown, fmt.Sprintf("%s: %s", f.Place, f.What))
	}
}

// allowedAt is the allowance that covers a finding that no event made: one for
// the whole show.
func (x *proof) allowedAt(f Finding) int {
	return onair.Allowed(x.p, onair.Finding{Code: f.Code, At: f.At, Task: -1}, x.o.Today)
}

// pair is two scripts that collide, whichever comes first, and the thing.
type pair struct{ scripts, thing string }

// grouped keeps one finding for each code and place in the show, or pair of
// scripts, the shortest, and names the others with it.
func (x *proof) grouped(list []Finding) []Finding {
	var out []Finding
	for _, f := range list {
		i := slices.IndexFunc(out, func(o Finding) bool {
			return o.Code == f.Code && o.broken == f.broken && o.pair == f.pair && (f.pair != (pair{}) || o.At == f.At && o.At.Line > 0)
		})
		if i < 0 {
			out = append(out, f)
			continue
		}
		o := &out[i]
		if f.Presses < o.Presses {
			f, *o = *o, f
			o.More = append(f.More, o.More...)
		} else {
			o.More = append(o.More, f.More...)
		}
		if f.What != o.What && !slices.Contains(o.More, f.What) {
			o.More = append(o.More, f.What)
		}
		o.Others = o.Others || f.Others
	}
	for i := range out {
		out[i].More = x.distinct(out[i])
	}
	return out
}

// distinct are the names of a finding's others, each once.
func (x *proof) distinct(f Finding) []string {
	var list []string
	for _, m := range f.More {
		if !slices.Contains(list, m) {
			list = append(list, m)
		}
	}
	return list
}

// stale finds the allowances that accepted nothing although everything that
// they could accept was decided.
func (x *proof) stale(r *Report, used []bool) {
	for i, a := range x.p.Allows {
		code := diag.Code(a.Code)
		if used[i] || !diag.IsOnAir(code) && !diag.IsProof(code) || a.Until != "" && x.o.Today != "" && x.o.Today > a.Until || !x.decided(a, i) {
			continue
		}
		f := x.finding("stale-allowance", a.At, "nothing that can happen with this show is a `%s` to allow here", a.Code)
		if x.allowedAt(f) < 0 {
			r.Findings = append(r.Findings, f)
		}
	}
	slices.SortStableFunc(r.Findings, func(a, b Finding) int { return cmp.Compare(x.order(a), x.order(b)) })
}

// order puts what breaks before what is merely never used.
func (x *proof) order(f Finding) int {
	switch {
	case f.broken >= 0:
		return 0
	case f.check != nil:
		return 1
	}
	return 2
}

// decided says whether everything that an allowance could accept was decided
// and none of it is. For a part of the show, that is sure only when the code
// never comes about at all.
func (x *proof) decided(a program.Allow, i int) bool {
	if a.Code == "device-did-not-act" {
		return false
	}
	for _, q := range x.questions {
		if q.code == a.Code && (!q.asked || q.Verdict == explore.Unfinished) {
			return false
		}
		if q.code == a.Code && q.answer >= 0 && q.Verdict == explore.Refuted && (a.Task >= 0 || a.Page >= 0) {
			return false
		}
	}
	for _, answer := range x.answers {
		if answer.Code == a.Code && answer.Code == "flashing" && answer.Verdict != Refuted {
			return false
		}
	}
	return true
}
