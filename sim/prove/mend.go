package prove

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/rehearse"
	"cuewright/sim/story"
)

// Try is a change of one line that may mend a finding.
type Try struct {
	Do string        // "let `recall goal shot 2` wait for …"
	At program.Place // the statement that begins there
	// Change gives the statement's new text; false when it does not fit.
	Change func(statement string) (string, bool)
	// Swap, when its Line is not 0, is the statement to change places with.
	Swap program.Place
}

// Recheck compiles the show with a change. It gives nil when that is no show
// any more, and the line as it reads then.
type Recheck func(Try) (p *program.Program, line string)

// Mend is a change that was tried: with it the finding is gone, and nothing
// else is worse.
type Mend struct {
	Do    string `json:"do"`
	Place string `json:"place"`
	Line  string `json:"line"` // as it reads then
}

// Mends are looked for within bounds: for so many findings, so many each.
const (
	mostMended     = 6
	mostTries      = 6
	statesForMends = 200_000
)

// mend looks for a mend of a finding, and notes what was tried.
func (x *proof) mend(a *asker, r *Report, f *Finding) {
	if x.o.Recheck == nil || f.check == nil || x.mended >= mostMended || x.stopped {
		return
	}
	x.mended++
	for i, t := range x.tries(f) {
		if i == mostTries || x.stopped {
			return
		}
		p, line := x.o.Recheck(t)
		if p != nil && x.better(r, f, p) {
			f.Mend = &Mend{t.Do, story.Place(x.p, t.At), line}
			return
		}
		f.Tried = append(f.Tried, t.Do)
	}
}

// better says whether a changed program has lost a finding and gained none,
// and proves all that was proved.
func (x *proof) better(r *Report, f *Finding, p *program.Program) bool {
	o := x.o
	o.Recheck, o.States = nil, statesForMends
	if x.o.States > 0 {
		o.States = min(o.States, x.o.States)
	}
	y := newProof(p, o)
	y.only = func(q *question) bool { return q.code == f.Code && q.answer >= 0 && y.thing(q) == x.thing(f.check) }
	if again := y.prove(); y.stopped || again.has(f) || again.Undecided() {
		return false
	}
	y = newProof(p, o)
	again := y.prove()
	if y.stopped || slices.ContainsFunc(again.Findings, func(g Finding) bool { return !r.has(&g) }) {
		return false
	}
	for _, old := range r.Answers {
		i := slices.IndexFunc(again.Answers, func(n Answer) bool { return n.Code == old.Code && n.Name == old.Name })
		if i >= 0 && weight[again.Answers[i].Verdict] > weight[old.Verdict] {
			return false
		}
	}
	return true
}

// thing is what a question is about, the same in a changed program.
func (x *proof) thing(q *question) string { return x.answers[q.answer].Name }

// has says whether a report has a finding like f.
func (r *Report) has(f *Finding) bool {
	return slices.ContainsFunc(r.Findings, func(g Finding) bool {
		return g.Code == f.Code && g.Rule == f.Rule && (g.At == f.At || g.What == f.What)
	})
}

// tries are changes that could mend a finding, the likeliest first.
func (x *proof) tries(f *Finding) []Try {
	at := f.At
	if f.broken >= 0 {
		if len(f.Also) == 0 {
			return x.waits(f) // nothing was done: something came too early or too late
		}
		at = f.Also[0].At
	}
	var list []Try
	guard := func(cond string) {
		if cond != "" && !slices.ContainsFunc(list, func(t Try) bool { return strings.HasSuffix(t.Do, "`if "+cond+"`") }) {
			list = append(list, Try{Do: fmt.Sprintf("put what stands at %s within `if %s`", story.Place(x.p, at), cond), At: at,
				Change: func(s string) (string, bool) { return "if " + cond + " { " + s + " }", true }})
		}
	}
	if f.broken >= 0 {
		x.againstRule(f.broken, guard)
	}
	if f.pair != (pair{}) {
		for t := range x.p.Macros {
			if m := &x.p.Macros[t]; strings.Contains(f.What, "while `"+m.Name+"`") {
				guard("not " + m.Name + ".running")
			}
		}
	}
	for i := range x.p.Actions {
		if a := &x.p.Actions[i]; a.At == at {
			x.guards(a, guard)
		}
	}
	list = append(list, x.waits(f)...)
	return append(list, x.swaps(at)...)
}

// guards are conditions under which an action does no harm.
func (x *proof) guards(a *program.Action, guard func(string)) {
	p := x.p
	all := func(n int, each func(i int) string, by string) {
		var words []string
		for i := range n {
			words = append(words, each(i))
		}
		guard(strings.Join(words, by))
	}
	switch a.Verb {
	case program.Recall:
		guard("not " + p.Sources[max(p.Cameras[a.A].Source, 0)].Name + ".on_air")
	case program.Load, program.StopDeck:
		guard("not " + p.Sources[max(p.Decks[a.A].Source, 0)].Name + ".on_air")
	case program.Mix, program.Wipe, program.Fade:
		guard("not " + p.Banks[a.A].Name + ".mixing")
	case program.Start:
		rolling := func(i int) string { return p.Recorders[i].Name + ".rolling" }
		all(len(p.Recorders), rolling, " and ")
		all(len(p.Recorders), rolling, " or ")
	case program.StopRecorder:
		all(len(p.Encoders), func(i int) string { return p.Encoders[i].Name + ".stopped" }, " and ")
	case program.RouteTie:
		tie := p.Ties[a.A].Name
		var words []string
		for _, b := range p.Banks {
			if slices.ContainsFunc(b.Picks, func(k program.Pick) bool { return p.Nodes[k.Node].Tie == a.A }) {
				words = append(words, b.Name+".program != "+tie)
			}
		}
		guard(strings.Join(words, " and "))
	}
}

// againstRule are conditions that keep a rule from being broken, leaf by leaf.
func (x *proof) againstRule(rule int, guard func(string)) {
	p, r := x.p, &x.p.Rules[rule]
	var leaf func(c int32)
	leaf = func(c int32) {
		if c < 0 {
			return
		}
		switch n := &p.Conds[c]; n.Op {
		case program.Not, program.And, program.Or:
			if n.Op != program.Not {
				leaf(n.R)
			}
			leaf(n.L)
		case program.SourceOnAir:
			guard("not " + p.Sources[n.A].Name + ".on_air")
		case program.Running:
			if k := &p.Tasks[n.A]; k.Kind == program.MacroTask {
				guard("not " + p.Macros[k.Owner].Name + ".running")
			}
		case program.In:
			switch v := &p.Vars[n.A]; v.Kind {
			case program.EncoderState:
				guard(p.Encoders[v.Owner].Name + ".stopped")
			case program.RecorderState:
				guard(p.Recorders[v.Owner].Name + ".rolling")
			case program.BankTransition:
				guard("not " + p.Banks[v.Owner].Name + ".mixing")
			}
		}
	}
	leaf(r.Cond)
	leaf(r.While)
}

// waits are longer and shorter waits of the script that a finding is about.
func (x *proof) waits(f *Finding) []Try {
	if f.Code != "deck-ran-out-on-air" && f.Code != "flashing" && f.broken < 0 || f.check.tale == nil {
		return nil
	}
	var list []Try
	for t := range x.p.Tasks {
		from, end := x.watch.Code(int32(t))
		switch {
		case f.broken < 0 && !x.does(from, end, f.At):
			continue
		case f.broken >= 0 && len(f.Also) > 0 && !x.does(from, end, f.Also[0].At):
			continue
		case f.broken >= 0 && len(f.Also) == 0 && !f.check.tale.ran[int32(t)]:
			continue
		}
		for at := from; at < end; at++ {
			in := &x.p.Code[at]
			if in.Op != program.Sleep || in.At.Line == 0 {
				continue
			}
			for _, micros := range []int64{in.Micros - 1_000_000, in.Micros + 1_000_000, in.Micros / 2, in.Micros * 4} {
				if micros > 0 {
					list = append(list, x.wait(in, micros))
				}
			}
		}
	}
	return list
}

func (x *proof) wait(in *program.Instr, micros int64) Try {
	new := "wait " + rehearse.Duration(micros)
	return Try{Do: fmt.Sprintf("write `%s` at %s", new, story.Place(x.p, in.At)), At: in.At,
		Change: func(s string) (string, bool) {
			words := strings.Fields(s)
			return new, len(words) == 2 && words[0] == "wait" && words[1][0] >= '0' && words[1][0] <= '9'
		}}
}

// does says whether something that stands at a place is done in a piece of code.
func (x *proof) does(from, end int32, place program.Place) bool {
	for at := from; at < end; at++ {
		if in := &x.p.Code[at]; in.At == place || in.Op == program.Do && x.p.Actions[in.A].At == place {
			return true
		}
	}
	return false
}

// swaps let a statement change places with the one beside it.
func (x *proof) swaps(at program.Place) []Try {
	var list []Try
	for t := range x.p.Tasks {
		from, end := x.watch.Code(int32(t))
		var last program.Place // of the statement before, if it is one that can be moved
		for i := from; i < end; i++ {
			in := &x.p.Code[i]
			if in.At == last {
				continue
			}
			if in.Op != program.Do && in.Op != program.Fire && in.Op != program.Sleep {
				last = program.Place{}
				continue
			}
			if last.Line > 0 && (in.At == at || last == at) {
				list = append(list, Try{Do: fmt.Sprintf("let what stands at %s and at %s change places", story.Place(x.p, last), story.Place(x.p, in.At)), At: last, Swap: in.At})
			}
			last = in.At
		}
	}
	return list
}
