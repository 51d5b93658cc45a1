// Package prove gives the whole report over a show: of every rule and every
// built-in on-air check, whether it holds whatever is pressed whenever, with
// the shortest story where it does not; which parts of the show can never come
// about; and which scripts of several operators collide.
//
// It puts one question after the other to sim/explore, several at once where
// there are cores, and gives the same report for the same show. A story is
// told only after it was played through sim/step and sim/onair from power-on,
// all scripts and timers included: what the report says happens, happens.
//
// It knows no source text. Who has it gives a Recheck, with which a mend is
// tried before it is offered. It writes nothing, and reads no clock: when to
// stop is for Options.Progress to say.
package prove

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/story"
)

// Options bound a proof. The zero value is one worker, no faults, no bounds.
type Options struct {
	Faults  int    // at most so many device faults from power-on
	States  uint64 // at most so many states for one question; 0 is no bound
	Bytes   int64  // at most so much memory for states, all workers together; 0 is no bound
	NoSlice bool   // every question on all variables
	Today   string // like 2027-01-31: allowances until a day before have ended; "" lets all hold
	Rules   []int  // only these rules, and Codes; both nil is everything
	Codes   []string
	Workers int // questions at once; less than 1 is 1

	// Progress is called now and then, by any worker but by one at a time;
	// false ends the proof, and what is known is reported. It may be nil.
	Progress func(Progress) bool
	// Recheck tries mends; without it none are offered.
	Recheck Recheck
}

// Progress is how far a proof has come.
type Progress struct {
	Question string // the one that reports
	Done, Of int    // questions
	explore.Progress
}

// Verdict is what is known about a part of the show.
type Verdict string

// The verdicts.
const (
	Proved        Verdict = "proved"
	Refuted       Verdict = "refuted"
	Allowed       Verdict = "allowed"        // refuted, and the show says that it may be
	Unfinished    Verdict = "unfinished"     // nothing is known
	NotChecked    Verdict = "not checked"    // held only because it never applied
	NotApplicable Verdict = "not applicable" // nothing in the show could do it
)

// Answer is the verdict on one rule, or on one check of one thing.
type Answer struct {
	Code    string        `json:"code"`    // of the findings of its kind
	Name    string        `json:"name"`    // `never "…"`; the thing that a check is about, or "" for all
	At      program.Place `json:"-"`       // of the rule, else nowhere
	Place   string        `json:"place"`   // "final.show:301", or ""
	Verdict Verdict       `json:"verdict"` //
	Note    string        `json:"note,omitempty"`
	Buttons int           `json:"buttons"` // how many matter, of all
	Cues    int           `json:"cues"`
	States  uint64        `json:"states"`  // looked at, all its parts together
	Presses int           `json:"presses"` // how deep the search came
	Bytes   int64         `json:"bytes"`   // of memory at its largest

	rule int
}

// Finding is one thing that goes wrong, and how it comes about.
type Finding struct {
	Code    string        `json:"code"`
	At      program.Place `json:"-"` // where in the show
	Place   string        `json:"place"`
	What    string        `json:"what"`
	Also    []Also        `json:"also,omitempty"`
	Rule    string        `json:"rule,omitempty"`
	Presses int           `json:"presses"`         // of the story
	Story   []story.Beat  `json:"story,omitempty"` // from power-on, which is number 0
	Last    string        `json:"last,omitempty"`  // what is wrong at its end, in words
	More    []string      `json:"more,omitempty"`  // what else does the same
	Others  bool          `json:"others,omitempty"`
	Mend    *Mend         `json:"mend,omitempty"`
	Tried   []string      `json:"tried,omitempty"` // mends that were tried and did not help

	// Steps do the story in a rehearsal; nil when no rehearsal can.
	Steps []program.Step `json:"-"`

	broken int // the rule, or -1

	pair  pair // of scripts that collide, the zero value for none
	check *question
}

// Also is another place that a finding points at.
type Also struct {
	At    program.Place `json:"-"`
	Place string        `json:"place"`
	Text  string        `json:"text"`
}

// Report is everything that was found. Its JSON field names are stable.
type Report struct {
	Show     string    `json:"show"`
	Faults   int       `json:"faults"`
	Answers  []Answer  `json:"answers"`  // rules first, then checks
	Findings []Finding `json:"findings"` // in the order of the answers, then what can never come about
	Unknown  []string  `json:"unknown"`  // what may be out of reach and is not known to be
	Untried  []string  `json:"untried"`  // what runs only when more goes wrong
	Stopped  bool      `json:"stopped"`  // by Progress

	p *program.Program
}

// Undecided says whether a rule or a check is unfinished.
func (r *Report) Undecided() bool { return r.count(Unfinished) > 0 }

func (r *Report) count(v Verdict) int {
	n := 0
	for i := range r.Answers {
		if r.Answers[i].Verdict == v {
			n++
		}
	}
	return n
}

// Show proves a show. The program must be valid.
func Show(p *program.Program, o Options) *Report {
	return newProof(p, o).prove()
}

// prove puts the questions, lets them be answered and reports.
func (x *proof) prove() *Report {
	x.rules()
	if x.o.Rules == nil || x.o.Codes != nil {
		x.checks()
		x.rivals()
		x.flashes()
	}
	if x.everything() && x.only == nil {
		x.reach()
	}
	if x.only != nil {
		x.narrow()
	}
	x.eachEvent()
	x.ask()
	return x.report()
}

// everything says that nothing was left out.
func (x *proof) everything() bool { return x.o.Rules == nil && x.o.Codes == nil }

// asksFor says whether a code is one of those asked for.
func (x *proof) asksFor(code string) bool {
	return x.o.Codes == nil || slices.Contains(x.o.Codes, code)
}

// narrow leaves only the questions that a mend is tried against.
func (x *proof) narrow() {
	x.questions = slices.DeleteFunc(x.questions, func(q *question) bool { return !x.only(q) })
	for i := range x.answers {
		if !slices.ContainsFunc(x.questions, func(q *question) bool { return q.answer == i }) {
			x.answers[i].Verdict = NotApplicable
		}
	}
}
