// Package rehearse walks through a show in virtual time, without the gear: by
// a rehearsal block, or one press at a time with a way back.
//
// It applies events with sim/step, watches them with sim/onair and tells them
// with sim/story. The same walk gives the same words. Nothing waits, and
// nothing is sent.
package rehearse

import (
	"cuewright/macro/diag"
	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// mostBeats bounds one step: a show settles long before.
const mostBeats = 10_000

// Walk is a show being stepped by hand. It serves one goroutine.
type Walk struct {
	m     *step.Machine
	tell  *story.Teller
	was   *signal.Graph // for the watch: before an event, and after
	is    *signal.Graph
	today string

	now     moment
	past    []moment // one for each thing done, the latest last
	before  *state.State
	effects []step.Effect
	turn    *Turn // being gathered
}

// moment is all that a walk goes back to.
type moment struct {
	state *state.State
	watch *onair.Watch
	beats int
}

// Turn is what came of one thing that was done. Miss says why it could not be.
type Turn struct {
	Beats    []story.Beat
	Findings []Finding
	Miss     *Miss
}

// Finding is a finding of the on-air checks, or a rule of the show that broke,
// and where in the walk it came.
type Finding struct {
	onair.Finding
	Beat     int  // number of the beat
	Allowed  int  // the allowance in Program.Allows that accepts it, or -1
	Expected bool // a step of the rehearsal expected it
	Late     bool // it came after the rehearsal's last step
}

// Open says that nobody has accepted the finding.
func (f *Finding) Open() bool { return f.Allowed < 0 && !f.Expected }

// Miss is something that did not go as the rehearsal says.
type Miss struct {
	Code diag.Code
	At   program.Place
	Beat int // number of the last beat before
	What string
	Seen string // what was the case instead, or ""
}

// NewWalk powers a show on. today, like 2027-01-31, ends allowances that were
// given until a day before; without it all hold.
func NewWalk(p *program.Program, today string) *Walk { return newWalk(step.New(p), today) }

func newWalk(m *step.Machine, today string) *Walk {
	w := &Walk{m: m, tell: story.New(m), was: signal.New(m.P, m.L), is: signal.New(m.P, m.L), today: today}
	w.Restart()
	return w
}

// Restart powers the show on again and forgets what was done.
func (w *Walk) Restart() {
	s := w.m.Start()
	w.now = moment{state: s, watch: onair.NewWatch(w.m.P, w.m.L), beats: 1}
	w.before, w.past = s.Clone(), nil
}

// PowerOn is the beat that every walk begins with, number 0.
func (w *Walk) PowerOn() story.Beat { return w.tell.PowerOn(w.m.Start()) }

// State is the state now. It is the walk's own: look, but do not change it.
func (w *Walk) State() *state.State { return w.now.state }

// Describe says how everything stands.
func (w *Walk) Describe() story.Scene { return w.tell.Scene(w.now.state) }

// Holds says whether a condition holds now.
func (w *Walk) Holds(cond int32) bool { return w.m.Holds(w.now.state, cond) }

// Back undoes the last thing done. It says false at power-on.
func (w *Walk) Back() bool {
	if len(w.past) == 0 {
		return false
	}
	w.now = w.past[len(w.past)-1]
	w.past = w.past[:len(w.past)-1]
	return true
}

// Press taps a button: down and up at one moment.
func (w *Walk) Press(button int32) Turn { return w.Hold(button, 0) }

// Hold puts a finger on a button and lifts it after micros.
func (w *Walk) Hold(button int32, micros int64) Turn {
	return w.do(func() {
		if !w.m.Showing(w.now.state, button) {
			w.miss(notShowing, "`%s` is not showing", w.tell.ButtonName(button)).Seen = w.tell.Showing(w.now.state, button)
			return
		}
		w.apply(step.Event{Kind: step.Down, A: button})
		w.pass(micros)
		w.apply(step.Event{Kind: step.Up, A: button})
	})
}

// Go fires a cue, or the one on standby when cue is -1.
func (w *Walk) Go(cue int32) Turn {
	return w.do(func() {
		if e := (step.Event{Kind: step.Go, A: cue}); w.m.Enabled(w.now.state, e) {
			w.apply(e)
			return
		}
		w.miss(nothingOnStandby, "`go` finds nothing on standby").Seen = "the rundown is at its end"
	})
}

// Stand skips or goes back, cue by cue, until a cue is on standby, or, past the
// last one, nothing.
func (w *Walk) Stand(cue int32) Turn {
	return w.do(func() {
		for {
			at := int32(w.m.L.Get(w.now.state, w.m.P.StandbyVar()))
			switch {
			case at < cue:
				at++
			case at > cue:
				at--
			default:
				return
			}
			w.apply(step.Event{Kind: step.Stand, A: at})
		}
	})
}

// Moment lets a cue's moment come, by the clock or the timecode. It does nothing
// when the rundown is past the cue.
func (w *Walk) Moment(cue int32) Turn {
	return w.do(func() { w.apply(step.Event{Kind: step.Moment, A: cue}) })
}

// After lets time pass.
func (w *Walk) After(micros int64) Turn { return w.do(func() { w.pass(micros) }) }

// Fault gives a device a health; program.Well ends the fault.
func (w *Walk) Fault(device int32, health uint32) Turn {
	return w.do(func() { w.apply(step.Event{Kind: step.Fault, A: device, B: int32(health)}) })
}

// Stop ends every running script, as the stop button of a controller does.
func (w *Walk) Stop() Turn { return w.do(func() { w.apply(step.Event{Kind: step.StopAll}) }) }

// Settle lets time pass until nothing more happens by itself. Scripts that
// wait for ever still do. It says false when there was no end of it.
func (w *Walk) Settle() (Turn, bool) {
	settled := true
	turn := w.do(func() {
		for {
			timer, due := w.now.state.Next()
			if timer < 0 {
				return
			}
			if len(w.turn.Beats) >= mostBeats {
				settled = false
				return
			}
			w.pass(due - w.now.state.Now)
		}
	})
	return turn, settled
}

// do gathers what comes of one thing, and remembers the moment before it.
func (w *Walk) do(what func()) Turn {
	w.past = append(w.past, moment{w.now.state.Clone(), w.now.watch.Clone(), w.now.beats})
	w.turn = &Turn{}
	what()
	return *w.turn
}

// pass lets micros pass, one timer after the other.
func (w *Walk) pass(micros int64) {
	to := w.now.state.Now + micros
	for {
		timer, due := w.now.state.Next()
		if timer < 0 || due > to || len(w.turn.Beats) >= mostBeats {
			break
		}
		w.now.state.Now = max(w.now.state.Now, due)
		w.apply(step.Event{Kind: step.Expire, A: timer})
	}
	w.now.state.Now = max(w.now.state.Now, to)
}

// apply applies an event now, watches it and tells it. An event that did
// nothing at all makes no beat.
func (w *Walk) apply(e step.Event) {
	s := w.now.state
	e.At = s.Now
	w.before.CopyFrom(s)
	w.effects = w.m.Apply(s, e, w.effects[:0])
	beat := w.tell.Tell(w.before, e, w.effects, s)
	w.was.Look(w.before)
	w.is.Look(s)
	found := append(w.now.watch.Look(w.before, s, w.was, w.is, e, w.effects), Broke(w.m.P, w.was, w.is)...)
	if !beat.Did() && len(found) == 0 {
		return
	}
	beat.Number = w.now.beats
	w.now.beats++
	for _, f := range found {
		w.turn.Findings = append(w.turn.Findings, Finding{Finding: f, Beat: beat.Number, Allowed: onair.Allowed(w.m.P, f, w.today)})
	}
	w.turn.Beats = append(w.turn.Beats, beat)
}
