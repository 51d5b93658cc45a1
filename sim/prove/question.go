package prove

import (
	"sync"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// question is one thing to explore, and what came of it.
type question struct {
	name string // for progress
	code string
	// ask decides it.
	ask func(*asker) outcome
	outcome
	answer int                // Answers, or -1: about what can never come about
	claim  func(*local) claim // to be tried on each event by itself, or nil
	local  bool               // and proved so
	about  string
	pair   pair
	// silent are findings about what can never come about: what to say when
	// the property is proved never to be.
	never func() Finding
	// fails says that the question is about what a fault may be needed for.
	fails bool
}

// outcome is what came of a question.
type outcome struct {
	explore.Result
	asked   bool
	tale    *tale
	finding *onair.Finding
	allowed int // Allows, or -1
	more    []string
	others  bool // there may be more
	note    string
	used    []int // allowances that accepted something
}

// worse says whether an outcome is worse than another, or less is known.
func (o *outcome) worse(than *outcome) bool {
	order := [...]int{explore.Proved: 0, explore.NotChecked: 1, explore.Unfinished: 2, explore.Refuted: 3}
	return order[o.Verdict] > order[than.Verdict]
}

// proof is a proof in the making.
type proof struct {
	p         *program.Program
	o         Options
	questions []*question
	answers   []Answer
	watch     *onair.Watch
	layout    *state.Layout
	only      func(*question) bool // when a mend is tried
	mended    int                  // findings that mends were looked for

	mu      sync.Mutex
	next    int
	done    int
	stopped bool
}

func newProof(p *program.Program, o Options) *proof {
	o.Workers = max(o.Workers, 1)
	l := state.NewLayout(p)
	return &proof{p: p, o: o, layout: l, watch: onair.NewWatch(p, l)}
}

// asker puts questions to an explorer. It serves one goroutine.
type asker struct {
	x     *proof
	e     *explore.Explorer
	m     *step.Machine
	watch *onair.Watch
	tell  *story.Teller
	q     *question
	limit uint64 // states for one question in this round, 0 for none
}

func (x *proof) newAsker() *asker {
	m := step.New(x.p)
	return &asker{x: x, e: explore.New(x.p), m: m, watch: onair.NewWatch(x.p, m.L), tell: story.New(m)}
}

// rounds are the bounds on states of one question, round by round: what is
// small is known early, and one large question holds up no other.
var rounds = []uint64{200_000, 0}

// ask lets the workers answer all questions.
func (x *proof) ask() {
	askers := make([]*asker, x.o.Workers)
	for i := range askers {
		askers[i] = x.newAsker()
	}
	for _, limit := range rounds {
		x.next = 0
		var all sync.WaitGroup
		for _, a := range askers {
			a.limit = limit
			all.Go(a.work)
		}
		all.Wait()
	}
}

// work answers questions until there are no more.
func (a *asker) work() {
	for q := a.x.take(); q != nil; q = a.x.take() {
		a.q = q
		q.outcome = q.ask(a)
		q.asked = true
		if q.Verdict != explore.Unfinished {
			a.x.mu.Lock()
			a.x.done++
			a.x.mu.Unlock()
		}
	}
}

// take is the next question that is open.
func (x *proof) take() *question {
	x.mu.Lock()
	defer x.mu.Unlock()
	for x.next < len(x.questions) && !x.stopped {
		q := x.questions[x.next]
		x.next++
		if !q.asked || q.Verdict == explore.Unfinished && q.Bound == explore.StateBound {
			return q
		}
	}
	return nil
}

// options are those for a search of at most so many states more than what the
// round allows; 0 is what the round allows.
func (a *asker) options(states uint64) explore.Options {
	o := a.x.o
	limit := a.limit
	for _, l := range []uint64{o.States, states} {
		if l > 0 && (limit == 0 || l < limit) {
			limit = l
		}
	}
	return explore.Options{Faults: o.Faults, States: limit, Bytes: o.Bytes / int64(o.Workers), NoSlice: o.NoSlice, Progress: a.progress}
}

func (a *asker) progress(now explore.Progress) bool { return a.x.goOn(a.q.name, now) }

// goOn tells how far the proof is, and says whether to go on.
func (x *proof) goOn(question string, now explore.Progress) bool {
	x.mu.Lock()
	defer x.mu.Unlock()
	if !x.stopped && x.o.Progress != nil {
		x.stopped = !x.o.Progress(Progress{Question: question, Done: x.done, Of: len(x.questions), Progress: now})
	}
	return !x.stopped
}

// wrong is what a question asks about: a wrong state, or an event that makes
// it so. When lasting is set, a state is wrong whenever an event has made it
// so, and power-on is not.
type wrong struct {
	state       func(*explore.View) bool
	lasting     bool
	event       func(before *explore.View, e step.Event, effects []step.Effect, after *explore.View) bool
	vars, tasks []int32
}

// cause is what an event is to a person: the same press, the same timer.
type cause struct {
	kind step.EventKind
	a    int32
}

func causeOf(e step.Event) cause { return cause{e.Kind, e.A} }

// property is what explore is asked: that nothing but the causes to skip does
// it.
func (w *wrong) property(skip map[cause]bool) explore.Property {
	q := explore.Property{Vars: w.vars, Tasks: w.tasks}
	if w.lasting && len(skip) == 0 {
		q.State = w.state
		return q
	}
	q.State = func(v *explore.View) bool { // for what it reads
		if w.state != nil {
			w.state(v)
		}
		return false
	}
	q.Event = func(before *explore.View, e step.Event, effects []step.Effect, after *explore.View) bool {
		return !skip[causeOf(e)] && w.event(before, e, effects, after)
	}
	return q
}

// mostCauses is how many causes of one wrong are looked for, and easyStates and
// easyZones how large the search for the first may have been: to name others is
// worth no long search.
const (
	mostCauses = 8
	easyStates = 20_000
	easyZones  = 5_000
)

// others looks for further causes of what first did, and names them.
func (a *asker) others(w *wrong, first *outcome) {
	if len(first.Story) == 0 {
		return
	}
	if first.States > easyStates || first.Zones > easyZones {
		first.others = true
		return
	}
	skip := map[cause]bool{causeOf(first.Story[len(first.Story)-1]): true}
	for len(skip) <= mostCauses {
		r := a.e.Property(w.property(skip), a.options(2*easyStates))
		if r.Verdict != explore.Refuted || len(r.Story) == 0 {
			first.others = r.Verdict != explore.Proved
			return
		}
		skip[causeOf(r.Story[len(r.Story)-1])] = true
		if t := a.play(r.Story); t.wrong == "" {
			first.more = append(first.more, t.beats[len(t.beats)-1].Title)
		}
	}
	first.others = true
}

func side(v *explore.View) onair.Side {
	return onair.Side{Layout: v.Layout, State: v.State, Graph: v.Graph}
}

// start is power-on.
func (a *asker) start() onair.Side {
	s := a.m.Start()
	g := signal.New(a.x.p, a.m.L)
	g.Look(s)
	return onair.Side{Layout: a.m.L, State: s, Graph: g}
}
