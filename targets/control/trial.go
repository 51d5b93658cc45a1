package control

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// trial is what is kept while a show is on trial, so that the one before can
// come back: that show, which nobody changes meanwhile and whose lines stay
// open, and the buses of both.
type trial struct {
	old   *show
	by    string
	began int64 // show time
	until int64 // show time
	ends  time.Time
	buses []bus
}

// bus is something that decides which pictures are seen, and that both shows
// have: what a bank or a switch selects, a keyer, black.
type bus struct {
	v      int32 // of the old show
	tried  int32 // of the show on trial
	device int32 // of the old show
}

// comeback is a bus that is not as it was, and how it comes back: by a message,
// or -1 where its device is sent nothing. Why is "" or says why it does not.
type comeback struct {
	bus
	command program.Command
	message int32
	why     string
}

var errOnTrial = errors.New("a show is on trial: keep it, or let the one before it return")

// mayTry says why a show cannot be tried now.
func (c *Controller) mayTry(w *swap) error {
	running := changed(c.show, w.next)
	switch {
	case c.held:
		return errors.New("nothing can be tried before somebody resumes: the routes could not be sent back")
	case w.next.digest == c.show.digest:
		return errors.New("this is the show that runs: there is nothing to try")
	case len(running) > 0:
		return fmt.Errorf("it changes %s, which runs now: try it when that has ended", strings.Join(running, ", "))
	}
	for i := range c.show.p.Banks {
		if b := &c.show.p.Banks[i]; c.show.m.L.Get(c.show.state, b.Transition) != program.NoTransition {
			return fmt.Errorf("%s is between two pictures: try it when that has ended", b.Name)
		}
	}
	return nil
}

// try puts a show on trial. The one before keeps its lines.
func (c *Controller) try(w *swap) {
	was := c.show
	c.exchange(w)
	c.trial = newTrial(was, c.show)
	c.trial.by, c.trial.until = w.by, c.trial.began+w.trial.Microseconds()
	c.trial.ends = time.Now().Add(w.trial)
	c.note(journal.Record{Kind: journal.Mark, By: w.by, Text: "a show is on trial"})
	c.snapshot()
	text := fmt.Sprintf("NEW SHOW ON TRIAL for %v, by %s. Unless somebody keeps it, all scripts end then, the show before comes back, "+
		"and every bus that was changed is SENT again as it is now", w.trial, w.by)
	if stays := c.trial.stays(c.show); len(stays) > 0 {
		text += "; these cannot be sent back: " + strings.Join(stays, ", ")
	}
	c.alert("controller", text)
}

// newTrial is the trial of a show that has just taken over from another.
func newTrial(old, tried *show) *trial {
	t := &trial{old: old, began: tried.state.Now}
	named := varsByName(tried.p)
	for v := range old.p.Vars {
		x := &old.p.Vars[v]
		if from, ok := named[nameOf(x)]; ok && isBus(x.Kind) {
			t.buses = append(t.buses, bus{int32(v), from, deviceOf(old.p, x)})
		}
	}
	return t
}

func isBus(k program.VarKind) bool {
	switch k {
	case program.BankProgram, program.BankPreset, program.BankFaded, program.KeyerOn, program.SwitchPick:
		return true
	}
	return false
}

// deviceOf is the device that a bus belongs to.
func deviceOf(p *program.Program, x *program.Var) int32 {
	switch x.Kind {
	case program.SwitchPick:
		return p.Switches[x.Owner].Device
	case program.KeyerOn:
		return p.Banks[p.Keyers[x.Owner].Bank].Device
	}
	return p.Banks[x.Owner].Device
}

// isThere says whether a variable tells how a device stands, which a show that
// comes back cannot wish away.
func isThere(k program.VarKind) bool {
	switch k {
	case program.BankTransition, program.DeckState, program.DeckClip, program.RecorderState, program.EncoderState,
		program.CameraShot, program.OutletOn, program.DeviceHealth:
		return true
	}
	return isBus(k)
}

// moved are the buses that the show on trial has changed, and how they come
// back.
func (t *trial) moved(tried *show) []comeback {
	var all []comeback
	for _, b := range t.buses {
		f := &tried.facts[b.tried]
		if !f.set || f.wantedAt < t.began {
			continue // nothing was sent to it, or its value alone would have been kept
		}
		was := t.old.m.L.Get(t.old.state, b.v)
		now, ok := translate(tried.p, b.tried, tried.m.L.Get(tried.state, b.tried), t.old.p, b.v)
		if !ok || now != was || tried.between(b.tried) {
			all = append(all, t.comeback(b))
		}
	}
	return all
}

// between says whether the bank of a variable is between two pictures.
func (s *show) between(v int32) bool {
	x := &s.p.Vars[v]
	switch x.Kind {
	case program.BankProgram, program.BankPreset, program.BankFaded:
		return s.m.L.Get(s.state, s.p.Banks[x.Owner].Transition) != program.NoTransition
	}
	return false
}

// words say what is sent. What the show has never set and no device has told
// was only taken to be so, as on every page.
func (b comeback) words(old *show) string {
	text := story.Command(old.p, b.command)
	if f := &old.facts[b.v]; !f.set && !f.heard {
		text += " (taken to be so: it was never set)"
	}
	return text
}

// comeback is how a bus comes back to where it was.
func (t *trial) comeback(b bus) comeback {
	s := t.old
	x, was := &s.p.Vars[b.v], s.m.L.Get(s.state, b.v)
	back := comeback{bus: b, command: s.puts(b.v, was), message: -1}
	message, ok := s.index[back.command]
	switch {
	case s.p.Devices[b.device].Wire == "":
	case !ok:
		back.why = fmt.Sprintf("%s (that show has no message for %s)", x.Name, s.tell.Value(b.v, was))
	default:
		back.message = message
	}
	return back
}

// puts is the command that sets a variable of a device to a value. A deck has
// none: what it plays cannot be said in one.
func (s *show) puts(v int32, value uint32) program.Command {
	x := &s.p.Vars[v]
	command := program.Command{A: x.Owner, B: int32(value)}
	switch x.Kind {
	case program.BankProgram:
		command.Verb = program.CutTo
	case program.BankPreset:
		command.Verb = program.PresetTo
	case program.KeyerOn:
		command.Verb = program.KeyTo
	case program.SwitchPick:
		command.Verb = program.Crosspoint
	case program.BankFaded:
		command.Verb = program.Fade
		s.quicken(&command)
	case program.OutletOn:
		command.Verb = program.SwitchTo
	case program.CameraShot:
		if value == 0 { // nobody knows which
			return unsaid
		}
		command.Verb, command.B = program.Recall, int32(value)-1
	case program.RecorderState:
		command.Verb, command.B = machine(value, program.Record, program.StopRecorder), 0
	case program.EncoderState:
		command.Verb, command.B = machine(value, program.Start, program.StopEncoder), 0
	default:
		return unsaid
	}
	return command
}

// unsaid is a command that there never is a message for.
var unsaid = program.Command{Verb: program.Route, A: -1}

// machine is what brings a recorder or encoder to a state.
func machine(value uint32, start, stop program.Verb) program.Verb {
	if value == program.MachineStopped {
		return stop
	}
	return start
}

// quicken has a fade take the shortest time that there is a message for.
func (s *show) quicken(fade *program.Command) {
	for i := range s.p.Messages {
		k := &s.p.Messages[i].Command
		if k.Verb == program.Fade && k.A == fade.A && k.B == fade.B && (fade.Micros == 0 || k.Micros < fade.Micros) {
			fade.Micros = k.Micros
		}
	}
}

// stays are the buses that the show on trial can change and that could not be
// sent back.
func (t *trial) stays(tried *show) []string {
	sets := map[int32]bool{}
	for i := range tried.p.Messages {
		for _, v := range setBy(tried.p, tried.p.Messages[i].Command) {
			sets[v] = true // also -1, which is none
		}
	}
	var all []string
	for _, b := range t.buses {
		if back := t.comeback(b); sets[b.tried] && back.why != "" {
			all = append(all, back.why)
		}
	}
	return all
}

// revive is the old show as it comes back: pages, standby and what is protected
// as they were; devices as they are, so also the buses that are still to be
// sent. No script runs, no finger is down, no cover is open.
func (t *trial) revive(tried *show) *show {
	s := newShow(t.old.p, t.old.digest)
	s.lines, s.met, s.wished, s.news = t.old.lines, t.old.met, t.old.wished, true
	s.state.CopyFrom(t.old.state)
	copy(s.facts, t.old.facts)
	s.carryMoments(t.old)
	s.carryMoments(tried)
	s.halt()
	s.lift()
	for i := range s.p.Buttons {
		if at := s.p.Buttons[i].Cover; at >= 0 {
			s.m.L.Set(s.state, at, 0)
		}
	}
	named := varsByName(tried.p)
	for v := range s.p.Vars {
		x := &s.p.Vars[v]
		from, ok := named[nameOf(x)]
		s.facts[v].heard, s.facts[v].waits = false, false
		if !ok || !isThere(x.Kind) {
			continue
		}
		if value, ok := translate(tried.p, from, tried.m.L.Get(tried.state, from), s.p, int32(v)); ok {
			s.m.L.Set(s.state, int32(v), value)
		}
		if !isBus(x.Kind) {
			s.facts[v] = carryFact(tried, from, s, int32(v))
		}
	}
	s.state.Now = tried.state.Now
	s.timeDevices(tried)
	return s
}

// timeDevices has the timers of devices go on as they run in another show.
func (s *show) timeDevices(from *show) {
	for i := range s.p.Timers {
		s.state.Due[i] = state.Off
		switch s.p.Timers[i].Kind {
		case program.BankTimer, program.DeckTimer, program.MachineTimer:
			s.carryTimer(from, i)
		}
	}
}

// timeIsUp lets the old show come back when the trial has lasted long enough.
func (c *Controller) timeIsUp() {
	c.show.state.Now = max(c.show.state.Now, c.trial.until)
	c.comeBack("controller", "nobody has kept the new show")
}

// comeBack ends the trial: the show before comes back, and the buses that were
// changed are sent again as they were.
func (c *Controller) comeBack(by, why string) {
	t, tried := c.trial, c.show
	c.apply(step.Event{Kind: step.StopAll, At: tried.state.Now})
	moved := t.moved(tried)
	s := t.revive(tried)
	for i, l := range s.lines {
		switch {
		case l == nil:
		case slices.Contains(tried.lines, l):
			l.watch(s.p, int32(i))
		default: // it was heard of by nobody
			health := program.Well
			if !l.up.Load() {
				health = program.Away
			}
			s.m.L.Set(s.state, s.p.Devices[i].Health, health)
		}
	}
	c.before, c.show, c.trial, c.notKept = tried, s, nil, tried.mark
	c.lookAtClock(c.clock.now())
	c.retireAll(tried, s)
	c.note(journal.Record{Kind: journal.Mark, By: by, Text: "the show before the trial is back"})
	c.snapshot()
	sent, left := c.sendBack(t.old, moved)
	text := why + ": the show before is back"
	if len(sent) > 0 {
		text += "; sent again: " + strings.Join(sent, ", ")
	}
	if len(left) > 0 {
		text += "; NOT as it was: " + strings.Join(left, ", ")
	}
	c.alert("controller", text)
}

// sendBack sends buses as they were, what goes to one device in one go. It
// gives what was sent, and what could not be.
func (c *Controller) sendBack(old *show, moved []comeback) (sent, left []string) {
	s := c.show
	var batches []batch
	for _, b := range moved {
		switch {
		case b.why != "":
			left = append(left, b.why)
			continue
		case s.m.L.Get(s.state, s.p.Devices[b.device].Health) == program.Away:
			left = append(left, fmt.Sprintf("%s (%s does not answer: send it again when it does)", s.p.Vars[b.v].Name, s.p.Devices[b.device].Name))
			continue
		}
		c.putBack(b)
		if b.message < 0 {
			continue
		}
		sent = append(sent, b.words(old))
		if at := lastOf(batches, b.device); at != nil {
			at.indexes = append(at.indexes, b.message)
		} else {
			batches = append(batches, batch{device: b.device, indexes: []int32{b.message}})
		}
	}
	for i := range batches {
		c.give(&batches[i])
		c.given(&batches[i], 1)
	}
	return sent, left
}

// putBack has the state of a bus be as it was. What the show had set it to
// stays, though it may have been drifted from then.
func (c *Controller) putBack(b comeback) {
	s := c.show
	x := &s.p.Vars[b.v]
	if s.between(b.v) {
		c.apply(step.Event{Kind: step.Observe, A: s.p.Banks[x.Owner].Transition, B: int32(program.NoTransition), At: s.state.Now})
	}
	if s.m.L.Get(s.state, b.v) != uint32(b.command.B) {
		c.apply(step.Event{Kind: step.Observe, A: b.v, B: b.command.B, At: s.state.Now})
	}
	if f := &s.facts[b.v]; f.set {
		f.wantedAt = s.state.Now
	} else {
		s.wants(b.v)
	}
}

// keepTrial lets the show on trial stay.
func (c *Controller) keepTrial(by string) surface.Answer {
	if c.trial == nil {
		return refused(step.NothingToDo, "no show is on trial")
	}
	old := c.trial.old
	c.trial, c.notKept = nil, mark{}
	c.retireAll(old, c.show)
	c.note(journal.Record{Kind: journal.Mark, By: by, Text: "the show on trial was kept"})
	c.snapshot()
	c.alert("controller", "the new show stays: kept by "+by)
	return surface.Answer{}
}

// returnTrial lets the show before come back at once.
func (c *Controller) returnTrial(by string) surface.Answer {
	if c.trial == nil {
		return refused(step.NothingToDo, "no show is on trial")
	}
	c.comeBack(by, by+" has ended the trial")
	return surface.Answer{}
}

// trialSeen is the trial as surfaces see it, or nil.
func (c *Controller) trialSeen() *surface.Trial {
	t := c.trial
	if t == nil {
		return nil
	}
	seen := &surface.Trial{By: t.by, Until: t.ends, Before: t.old.digest}
	for _, b := range t.moved(c.show) {
		switch {
		case b.why != "":
			seen.Stays = append(seen.Stays, b.why)
		case b.message >= 0:
			seen.Returns = append(seen.Returns, b.words(t.old))
		}
	}
	return seen
}
