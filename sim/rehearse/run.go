package rehearse

import (
	"fmt"
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// The codes of misses; their rows stand in macro/diag.
const (
	expectationMissed diag.Code = "expectation-missed"
	alertMissed       diag.Code = "alert-missed"
	findingMissed     diag.Code = "finding-missed"
	notShowing        diag.Code = "button-not-showing"
	nothingOnStandby  diag.Code = "nothing-on-standby"
)

// Runner runs the rehearsals of a show. It serves one goroutine.
type Runner struct {
	Today string // like 2027-01-31: allowances until a day before have ended; "" lets all hold

	m *step.Machine
}

// New makes a Runner for a program, which must be valid.
func New(p *program.Program) *Runner { return &Runner{m: step.New(p)} }

// Result is how one rehearsal went. Its JSON field names are stable; findings
// and misses are left out of it, since they are written as diagnostics are.
type Result struct {
	Name         string        `json:"name"`
	At           program.Place `json:"-"`
	Passed       bool          `json:"passed"` // no miss, and no finding left open
	Beats        []story.Beat  `json:"beats"`  // the first is power-on, number 0
	Findings     []Finding     `json:"-"`
	Misses       []Miss        `json:"-"`
	Expectations int           `json:"expectations"` // steps that expect something
	LastBeat     int           `json:"last_beat"`    // number of the last beat of the steps; later ones came by themselves
	Unsettled    bool          `json:"unsettled"`    // it never came to rest
}

// Used counts how often each of the program's allowances accepted a finding.
func (r *Result) Used(p *program.Program) []int {
	used := make([]int, len(p.Allows))
	for _, f := range r.Findings {
		if f.Allowed >= 0 {
			used[f.Allowed]++
		}
	}
	return used
}

// Open are the findings that nobody has accepted.
func (r *Result) Open() []Finding {
	return slices.DeleteFunc(slices.Clone(r.Findings), func(f Finding) bool { return !f.Open() })
}

// script is a rehearsal being run.
type script struct {
	Result
	walk   *Walk
	alerts []alert
	from   int // the findings of the last thing done begin here
	fromA  int // and its alerts
}

type alert struct {
	text string
	time string
}

// Run runs one rehearsal of the program from power-on, and then lets the show
// come to rest, so that what its last steps have set off is seen as well.
func (r *Runner) Run(index int) Result {
	x := &r.m.P.Rehearsals[index]
	s := &script{Result: Result{Name: x.Name, At: x.At}, walk: newWalk(r.m, r.Today)}
	s.Beats = []story.Beat{s.walk.PowerOn()}
	s.Findings = s.walk.brokenAtStart()
	for i := range x.Steps {
		s.step(&x.Steps[i])
	}
	s.LastBeat = s.walk.now.beats - 1
	turn, settled := s.walk.Settle()
	for i := range turn.Findings {
		turn.Findings[i].Late = true
	}
	s.did(turn, program.Place{})
	s.Unsettled = !settled
	s.Passed = len(s.Misses) == 0 && settled && !slices.ContainsFunc(s.Findings, func(f Finding) bool { return f.Open() })
	return s.Result
}

func (s *script) step(x *program.Step) {
	switch x.Op {
	case program.StepGo:
		s.did(s.walk.Go(x.A), x.At)
	case program.StepStand:
		s.did(s.walk.Stand(x.A), x.At)
	case program.StepMoment:
		s.did(s.walk.Moment(x.A), x.At)
	case program.StepPress:
		s.did(s.walk.Press(x.A), x.At)
	case program.StepHold:
		s.did(s.walk.Hold(x.A, x.Micros), x.At)
	case program.StepAfter:
		s.did(s.walk.After(x.Micros), x.At)
	case program.StepFault:
		s.did(s.walk.Fault(x.A, uint32(x.B)), x.At)
	case program.StepExpect:
		s.expect(x)
	case program.StepExpectAlert:
		s.expectAlert(x)
	case program.StepExpectFinding:
		s.expectFinding(x)
	}
}

// did takes in what came of a step that does something.
func (s *script) did(turn Turn, at program.Place) {
	s.from, s.fromA = len(s.Findings), len(s.alerts)
	s.Beats = append(s.Beats, turn.Beats...)
	s.Findings = append(s.Findings, turn.Findings...)
	for _, b := range turn.Beats {
		for _, text := range b.Alerts {
			s.alerts = append(s.alerts, alert{text, b.Time})
		}
	}
	if turn.Miss != nil {
		turn.Miss.At = at
		s.Misses = append(s.Misses, *turn.Miss)
	}
}

func (s *script) missed(code diag.Code, x *program.Step, seen, format string, args ...any) {
	s.Misses = append(s.Misses, Miss{Code: code, At: x.At, Beat: s.walk.now.beats - 1, What: fmt.Sprintf(format, args...), Seen: seen})
}

func (s *script) expect(x *program.Step) {
	s.Expectations++
	if !s.walk.Holds(x.A) {
		s.missed(expectationMissed, x, s.walk.tell.Seen(s.walk.State(), x.A), "`%s` is not so at %s", x.Text, story.Seconds(s.walk.State().Now))
	}
}

// expectAlert wants an alert since the last step that did something.
func (s *script) expectAlert(x *program.Step) {
	s.Expectations++
	said := func(a alert) bool { return a.text == x.Text }
	if slices.ContainsFunc(s.alerts[s.fromA:], said) {
		return
	}
	seen := "no alert since the last step"
	if n := len(s.alerts); n > s.fromA {
		seen = fmt.Sprintf("the last alert was %q", s.alerts[n-1].text)
	} else if i := slices.IndexFunc(s.alerts, said); i >= 0 {
		seen = "it was raised before the last step, at " + s.alerts[i].time
	}
	s.missed(alertMissed, x, seen, "the alert %q was not raised", x.Text)
}

// expectFinding takes all findings of a code since the last step that did
// something as expected.
func (s *script) expectFinding(x *program.Step) {
	s.Expectations++
	found := false
	for i := s.from; i < len(s.Findings); i++ {
		if s.Findings[i].Code == x.Text {
			s.Findings[i].Expected, found = true, true
		}
	}
	if found {
		return
	}
	seen := "no finding since the last step"
	if n := len(s.Findings); n > s.from {
		seen = "what was found is `" + s.Findings[n-1].Code + "`"
	} else if i := slices.IndexFunc(s.Findings, func(f Finding) bool { return f.Code == x.Text }); i >= 0 {
		seen = fmt.Sprintf("it was found before the last step, in beat %d", s.Findings[i].Beat)
	}
	s.missed(findingMissed, x, seen, "`%s` was not found", x.Text)
}

// miss notes why what was asked could not be done.
func (w *Walk) miss(code diag.Code, format string, args ...any) *Miss {
	w.turn.Miss = &Miss{Code: code, Beat: w.now.beats - 1, What: fmt.Sprintf(format, args...)}
	return w.turn.Miss
}
