package control

import (
	"encoding/binary"
	"sync"
	"sync/atomic"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// pressTime is how long a press waits for its turn.
const pressTime = time.Second

// pending is a press in the queue. Taken decides between the owner, who does
// it, and the presser, who has waited long enough.
type pending struct {
	press  surface.Press
	came   time.Time
	taken  atomic.Bool
	answer chan surface.Answer
}

// Press applies a press.
func (c *Controller) Press(p surface.Press) (a surface.Answer) {
	came := time.Now()
	if p.Kind == surface.SwitchOver {
		return c.switchOver(&p)
	}
	if c.atOnce(func() { a = c.press(&p, came) }) {
		return c.known(a)
	}
	return c.queued(&pending{press: p, came: came, answer: make(chan surface.Answer, 1)})
}

// queued applies a press in its turn.
func (c *Controller) queued(w *pending) surface.Answer {
	do := func() {
		if w.taken.CompareAndSwap(false, true) {
			a := c.press(&w.press, w.came)
			c.afterTelling(func() { w.answer <- a })
		}
	}
	select {
	case c.queue <- do:
	default:
		return c.busy(&w.press)
	}
	late := time.NewTimer(pressTime)
	defer late.Stop()
	select {
	case a := <-w.answer:
		return c.known(a)
	case <-late.C:
	case <-c.ended:
	}
	if w.taken.CompareAndSwap(false, true) {
		return c.busy(&w.press)
	}
	return c.known(<-w.answer)
}

// busy refuses a press that did not come to its turn.
func (c *Controller) busy(p *surface.Press) surface.Answer {
	a := surface.Answer{Outcome: surface.Busy, Text: "too much is waiting: it was not done"}
	c.counts.presses[surface.Busy].Add(1)
	if c.journal != nil {
		c.journal.Append(pressed(p, a, c.clock.now()))
	}
	return a
}

// pressed is a press and its outcome, as the journal has it.
func pressed(p *surface.Press, a surface.Answer, at int64) journal.Record {
	r := journal.Record{Kind: journal.Press, At: at, A: int32(p.Kind), B: what(p), C: p.Surface, D: int32(a.Outcome), By: p.By, Text: a.Text}
	if p.Number != 0 {
		r.Data = binary.AppendUvarint(nil, p.Number)
	}
	return r
}

// atOnce does something here and now if nobody owns the show and nothing
// waits. The loop sees to the view and the journal soon after: to wake it costs
// more than most presses, and here would hold up what was just sent.
func (c *Controller) atOnce(do func()) bool {
	if !c.owner.TryLock() {
		return false
	}
	free := len(c.queue) == 0
	if free {
		c.turn(do)
		c.leave()
	}
	c.owner.Unlock()
	return free
}

// leave leaves it to the loop to see to the view and the journal soon.
func (c *Controller) leave() {
	if !c.stopping { // then the bell may be gone, and Stop sees to the journal
		c.soon = c.show.state.Now + gatherTime
		c.set()
	}
}

// press is the owner's side of Press.
func (c *Controller) press(p *surface.Press, came time.Time) surface.Answer {
	answer := c.judge(p)
	if answer.Outcome == surface.Done {
		c.pressed = came
		answer = c.do(p)
		c.pressed = time.Time{}
	}
	c.countPress(p, answer)
	c.note(pressed(p, answer, 0))
	return answer
}

// what is the index that a press names.
func what(p *surface.Press) int32 {
	switch p.Kind {
	case surface.Down, surface.Up:
		return p.Button
	case surface.Go, surface.Disarm, surface.Arm:
		return p.Cue
	case surface.Resend, surface.Adopt:
		return p.Destination
	}
	return -1
}

func refused(reason step.Reason, text string) surface.Answer {
	return surface.Answer{Outcome: surface.Refused, Reason: reason, Text: text}
}

// judge says whether a press may be done; Done means that it may.
func (c *Controller) judge(p *surface.Press) surface.Answer {
	s, idle := c.show, c.idle()
	switch {
	case c.stopping:
		return refused(step.NoReason, "the show is being stopped")
	case idle != "":
		return refused(step.NoReason, idle)
	case !s.meets(p):
		return refused(step.NoReason, "another show has been loaded")
	case p.Judged != nil:
		return *p.Judged
	case !within(p, s.p):
		return refused(step.NoReason, "there is no such thing in this show")
	case c.filter.repeated(p, c.clock.now()):
		return surface.Answer{Outcome: surface.Repeated, Text: "it came twice"}
	case c.held && !freeWhenHeld(p.Kind):
		return surface.Answer{Outcome: surface.Held, Text: "nothing is done before somebody resumes"}
	case p.Surface >= 0 && len(c.holders) > 0 && !c.mayPress(p):
		return refused(step.NoReason, c.takenWords(p.Surface))
	case p.Kind == surface.Down && p.Surface >= 0 && !s.showing(p.Surface, p.Button):
		return refused(step.NotShowing, s.tell.ButtonName(p.Button)+" is not showing on "+s.p.Surfaces[p.Surface].Name)
	}
	return surface.Answer{}
}

// freeWhenHeld says what may be done before somebody resumes: nothing that
// sends.
func freeWhenHeld(k surface.Kind) bool {
	return k == surface.Resume || k == surface.Up || k == surface.TakeOver || k == surface.GiveBack
}

// within says whether what a press names is there.
func within(p *surface.Press, of *program.Program) bool {
	index := func(i int32, n int) bool { return i >= 0 && int(i) < n }
	if p.Surface != -1 && !index(p.Surface, len(of.Surfaces)) {
		return false
	}
	switch p.Kind {
	case surface.Down, surface.Up:
		return index(p.Button, len(of.Buttons))
	case surface.Go, surface.Disarm, surface.Arm:
		return p.Cue == -1 || index(p.Cue, len(of.Cues))
	case surface.Resend, surface.Adopt:
		return index(p.Destination, len(surface.OutputNames(of)))
	}
	return p.Kind < surface.Kinds
}

func (s *show) showing(on, button int32) bool {
	pages := s.p.Surfaces[on].Pages
	return len(pages) > 0 && pages[s.m.L.Get(s.state, s.p.Surfaces[on].Page)] == s.p.Buttons[button].Page
}

// do does a press.
func (c *Controller) do(p *surface.Press) surface.Answer {
	e := step.Event{At: c.show.state.Now}
	switch p.Kind {
	case surface.Down:
		e.Kind, e.A = step.Down, p.Button
	case surface.Up:
		e.Kind, e.A = step.Up, p.Button
	case surface.Go:
		e.Kind, e.A = step.Go, p.Cue
	case surface.StopAll:
		e.Kind = step.StopAll
	case surface.Back, surface.Skip:
		return c.stand(p.Kind)
	case surface.Resume:
		return c.resume(p.By)
	case surface.Resend:
		return c.resend(p.Destination)
	case surface.Adopt:
		return c.adopt(p.Destination)
	case surface.Keep:
		return c.keepTrial(p.By)
	case surface.Return:
		return c.returnTrial(p.By)
	case surface.TakeOver:
		return c.takeOver(p)
	case surface.GiveBack:
		return c.giveBack(p)
	case surface.Disarm, surface.Arm:
		return c.arm(p.Cue, p.Kind == surface.Disarm)
	}
	return c.answer(c.apply(e))
}

// answer says what became of a press by what it did: refused when it set
// nothing off, else done, with the first thing that did not go as it should.
func (c *Controller) answer(effects []step.Effect) surface.Answer {
	began := false
	for i := range effects {
		e := &effects[i]
		switch e.Kind {
		case step.Started, step.Sent:
			began = true
		case step.Failed, step.Blocked:
			return surface.Answer{Reason: e.Reason, Text: story.Failure(c.show.p, e)}
		case step.Ignored:
			a := surface.Answer{Reason: e.Reason, Text: c.show.tell.Ignored(e)}
			if !began && e.Reason != step.CoverOpened && e.Reason != step.WasQueued {
				a.Outcome = surface.Refused
			}
			return a
		}
	}
	return surface.Answer{}
}

// stand moves standby by one cue.
func (c *Controller) stand(k surface.Kind) surface.Answer {
	s := c.show
	to := int32(s.m.L.Get(s.state, s.p.StandbyVar())) + 1
	if k == surface.Back {
		to -= 2
	}
	if to < 0 || int(to) > len(s.p.Cues) {
		return refused(step.NothingToDo, "the rundown has no more cues in this direction")
	}
	return c.answer(c.apply(step.Event{Kind: step.Stand, A: to, At: s.state.Now}))
}

// resume lets a held controller send.
func (c *Controller) resume(by string) surface.Answer {
	if !c.held {
		return refused(step.NothingToDo, "nothing is held")
	}
	c.held, c.dirty = false, true
	c.note(journal.Record{Kind: journal.Mark, By: by, Text: "resumed"})
	c.log("resumed by " + by)
	return surface.Answer{}
}

// watching is who waits for views. mu is taken under no other lock and no
// other under it.
type watching struct {
	mu  sync.Mutex
	all map[chan struct{}]bool
}

// View is the newest view.
func (c *Controller) View() *surface.View { return c.newest.Load() }

// Watch says when there is a newer view.
func (c *Controller) Watch() (<-chan struct{}, func()) {
	w := &c.watching
	changed := make(chan struct{}, 1)
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all == nil {
		w.all = map[chan struct{}]bool{}
	}
	w.all[changed] = true
	return changed, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.all, changed)
	}
}

func (w *watching) tell() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for changed := range w.all {
		ring(changed)
	}
}

// publish makes the newest view.
func (c *Controller) publish() {
	s, last := c.show, c.newest.Load()
	c.seen.Store(s)
	v := &surface.View{Program: s.p, At: time.Now(), Show: s.p.Show, Running: s.digest, OnDisk: *c.onDisk.Load(), Held: c.held, Alerts: c.past}
	if c.pair != nil {
		standing := c.pair.Standing()
		v.Pair = &standing
	}
	if c.before != nil {
		v.Before, v.RanBefore = c.before.p, c.before.digest
	}
	if last != nil {
		v.Serial = last.Serial + 1
	}
	if last != nil && !c.dirty && last.Program == s.p {
		v.Page, v.Lamps, v.Open, v.Standby, v.Away, v.Drifted = last.Page, last.Lamps, last.Open, last.Standby, last.Away, last.Drifted
		v.Outputs = last.Outputs
		v.Trial, v.Holder = last.Trial, last.Holder
		v.Disarmed = last.Disarmed
	} else {
		c.look(v)
	}
	v.Clock, v.Code = c.clockView(), c.codeView()
	c.newest.Store(v)
	c.dirty, c.viewed = false, c.clock.now()
	c.watching.tell()
}

// look fills a view from the state.
func (c *Controller) look(v *surface.View) {
	s := c.show
	get := func(x int32) uint32 { return s.m.L.Get(s.state, x) }
	v.Page = make([]int32, len(s.p.Surfaces))
	for i := range s.p.Surfaces {
		v.Page[i] = -1
		if f := &s.p.Surfaces[i]; len(f.Pages) > 0 {
			v.Page[i] = f.Pages[get(f.Page)]
		}
	}
	v.Lamps, v.Open = make([]step.LampState, len(s.p.Buttons)), make([]bool, len(s.p.Buttons))
	for i := range s.p.Buttons {
		v.Lamps[i] = s.m.Lamp(s.state, int32(i))
		cover := s.p.Buttons[i].Cover
		v.Open[i] = cover >= 0 && get(cover) == 1
	}
	v.Holder = make([]string, len(s.p.Surfaces))
	for i := range s.p.Surfaces {
		v.Holder[i] = c.holders[s.p.Surfaces[i].Name]
	}
	v.Trial = c.trialSeen()
	v.Standby = int32(get(s.p.StandbyVar()))
	for i, is := range s.disarmed {
		if is {
			v.Disarmed = append(v.Disarmed, int32(i))
		}
	}
	for i := range s.p.Devices {
		if get(s.p.Devices[i].Health) == program.Away {
			v.Away = append(v.Away, int32(i))
		}
	}
	v.Outputs = c.outputs()
	for _, x := range s.heard {
		if c.drifted(x) {
			v.Drifted = append(v.Drifted, x)
		}
	}
}
