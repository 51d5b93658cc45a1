// Package control runs a show: presses come in, devices are told, and what
// they say is heard.
//
// One goroutine at a time owns the state and a step.Machine: the loop, to which
// whatever happens comes through one queue, or, while nothing waits there, the
// goroutine that presses, which saves it two changes of goroutine. Each thing
// is done to its end before the next, as W3C
// SCXML has it: events in the order of the queue, timers that ran out before
// them by their due time and in table order. Each event is applied, what it
// sends is given to the devices' lines, it is put into the journal, and then
// looked at for what must not happen on air. So the journal's events, applied
// again, send the same bytes (Replay).
//
// Nothing that can wait is waited for in the loop: each device has a line, a
// queue with a goroutine of its own; the journal has one; a surface looks at a
// View, which is made when the queue is empty and never changed.
//
// After a power cut the show is where the journal has it, with its scripts
// ended, and held: devices are read, and nothing is sent before an operator
// resumes but what the plan wishes for each output: see wish.
package control

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/chase"
	"cuewright/targets/journal"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// Options says how a show is run.
type Options struct {
	Dir     string                // where the journal and the programs are kept; "" keeps none
	Env     func(string) string   // where credentials are; nil is an empty environment
	Bundles bool                  // a salvo to an OSC device goes as one bundle
	Load    func() prepare.Result // reads the show again; nil means that it cannot be
	Journal journal.Options       // Trouble is the controller's

	// Devices, when set, says where the devices of a program are; without it
	// they are where the program says. It must keep their number and order.
	Devices func(*program.Program) ([]program.Device, error)

	// Log is told what an operator at the console should know and, at the level
	// Routine, what became of every press and message. nil is silence. It is used
	// from several goroutines, the loop among them, so its handler may not wait.
	Log *slog.Logger

	// Turned, when set, is called by the loop after each full turn, which comes at
	// least every half a second. It may not wait. A loop that hangs does not call it.
	Turned func()

	// Pair, when set, is the other controller: this one sends only while it is told
	// to lead. Dir has to be set.
	Pair Pair

	clock func(at int64) clock // of tests
	dial  dial                 // of tests
}

// Controller is a running show. It is a surface.Desk.
type Controller struct {
	opts    Options
	clock   clock
	bell    alarm
	journal *journal.Writer // or nil
	queue   chan func()
	ended   chan struct{} // the loop has ended
	stop    chan context.Context
	counts  counts
	pair    *pairing             // nil when there is no other controller
	seen    atomic.Pointer[show] // of which Figures tells: its program and lines never change

	newest   atomic.Pointer[surface.View]
	onDisk   atomic.Pointer[string]
	watching watching
	loading  sync.Mutex  // held by Load; nothing is locked under it
	gap      atomic.Bool // something could not be kept since the last snapshot
	watch    sync.WaitGroup

	// What the owner has: the loop, or a goroutine that presses while nothing
	// waits. No lock but the journal's, the mailboxes' and the watchers' is
	// taken under it, and nothing that waits for the loop is done.
	owner    sync.Mutex
	show     *show
	before   *show             // that ran before it, or nil
	trial    *trial            // of show; nil when it is there to stay
	notKept  mark              // of a show that was tried and not kept: a start after a cut does not run it
	holders  map[string]string // of a surface by its name: whose presses alone count on it
	past     []surface.Alert   // the last, oldest first
	held     bool
	stopping bool
	filter   filter
	granting *wish       // what is sent now is to meet it
	waiting  *swap       // a program that waits for scripts to end
	pressed  time.Time   // when the press being done came; zero else
	dirty    bool        // a view is due
	viewed   int64       // show time of the newest view
	soon     int64       // when the loop has to see to what others did; 0 when there is nothing
	bellAt   int64       // what the bell is set to; 0 once it has rung
	kept     int64       // the journal's size at the last snapshot
	unkept   bool        // the program is not beside the journal
	keeping  bool        // it is being put there
	mended   int64       // show time of the last attempt at making good for gaps
	code     *chase.Move // where the timecode is; nil when none is followed
	moves    moves
	old      sync.WaitGroup
}

var _ surface.Desk = (*Controller)(nil)

// waitingRoom is how many presses and reports can wait for the loop.
const waitingRoom = 1024

// Start runs a program. It gives the controller once it is ready to take
// presses; devices may not have been reached yet.
func Start(p *program.Program, opts Options) (*Controller, error) {
	if opts.Log == nil {
		opts.Log = slog.New(slog.DiscardHandler)
	}
	if opts.Turned == nil {
		opts.Turned = func() {}
	}
	if opts.Env == nil {
		opts.Env = func(string) string { return "" }
	}
	if opts.clock == nil {
		opts.clock = func(at int64) clock { return startClock(at) }
	}
	if opts.dial == nil {
		opts.dial = dialler(opts.Env, opts.Bundles)
	}
	c := &Controller{opts: opts, queue: make(chan func(), waitingRoom), ended: make(chan struct{}), stop: make(chan context.Context, 1)}
	c.counts.begin()
	given := Digest(p)
	s, before, err := c.recover(newShow(p, given))
	if err != nil {
		return nil, err
	}
	if s.moments.err != nil {
		return nil, s.moments.err
	}
	c.show = s
	c.clock = opts.clock(s.state.Now)
	if c.bell, err = c.clock.alarm(); err != nil {
		return nil, err
	}
	if opts.Pair != nil {
		c.pair = &pairing{Pair: opts.Pair, before: before}
	}
	if err := c.begin(before); err != nil {
		c.bell.close()
		return nil, err
	}
	c.onDisk.Store(&given)
	if c.idle() == "" {
		c.lookAtClock(c.clock.now())
	}
	c.publish()
	c.set()
	c.flush()
	go c.loop()
	c.watchFile()
	if c.pair != nil {
		c.pair.Join(member{c})
	}
	return c, nil
}

// begin opens the journal and the lines.
func (c *Controller) begin(before *past) error {
	lines, err := c.connect(c.show, nil)
	if err != nil {
		return err
	}
	if c.pair != nil { // lines are for who leads: this was to know now that they can be made then
		for _, l := range lines {
			l.link.close()
		}
		clear(c.show.lines)
		return c.open(before)
	}
	if err := c.open(before); err != nil {
		for _, l := range lines {
			l.link.close()
		}
		return err
	}
	for _, l := range lines {
		l.start()
	}
	return nil
}

// connect gives a show its lines: those of old that lead to the same device,
// new ones for the rest, which it returns and which are not started yet.
func (c *Controller) connect(s *show, old []*line) (fresh []*line, err error) {
	devices := s.p.Devices
	if c.opts.Devices != nil {
		if devices, err = c.opts.Devices(s.p); err != nil {
			return nil, err
		}
	}
	for i, d := range devices {
		if d.Wire == "" {
			continue
		}
		at := slices.IndexFunc(old, func(l *line) bool { return l != nil && same(l.device, d) })
		if at >= 0 {
			s.lines[i] = old[at]
			continue
		}
		l, err := newLine(d, c, c.opts.dial)
		if err != nil {
			for _, l := range fresh {
				l.link.close()
			}
			return nil, err
		}
		l.watch(s.p, int32(i))
		s.lines[i] = l
		fresh = append(fresh, l)
	}
	return fresh, nil
}

// same says that two devices are one and are spoken to in the same way.
func same(a, b program.Device) bool {
	a.Health, a.At = b.Health, b.At
	return a == b
}

// loop is the goroutine that owns the show.
func (c *Controller) loop() {
	defer close(c.ended)
	var over <-chan struct{} // all lines are empty
	for {
		var do func()
		rang := false
		select {
		case do = <-c.queue:
		case <-c.bell.rings():
			rang = true
		case ctx := <-c.stop:
			do = func() { c.stopping, over = true, c.drain(ctx) }
		case <-over:
			c.owner.Lock()
			c.end()
			c.owner.Unlock()
			return
		}
		began := time.Now()
		c.owner.Lock()
		if rang {
			c.bellAt = 0
		}
		c.turn(do)
		c.turns()
		c.rest()
		c.soon = 0
		c.set()
		c.owner.Unlock()
		now := time.Now()
		c.counts.turn.Observe(now.Sub(began))
		c.counts.turned.Store(&now)
		c.opts.Turned()
	}
}

// turns does what waits in the queue.
func (c *Controller) turns() {
	for range waitingRoom {
		select {
		case do := <-c.queue:
			c.turn(do)
		default:
			return
		}
	}
}

// turn lets time pass until now and then does something.
func (c *Controller) turn(do func()) {
	defer c.tellPair(false)
	if c.stopping || c.idle() != "" { // time stands still: nothing more is set off
		if do != nil {
			do()
		}
		return
	}
	now := c.clock.now()
	c.lookAtClock(now)
	for cue, at, ok := c.come(); ok; cue, at, ok = c.come() {
		c.pass(at, now)
		c.strike(cue, at)
	}
	c.pass(now, now)
	if do != nil {
		do()
	}
	c.settle()
	c.grant()
	c.swapIfFree()
}

// pass lets time pass until a moment that is not after now.
func (c *Controller) pass(until, now int64) {
	for {
		timer, due := c.show.state.Next()
		if c.trial != nil && c.trial.until <= until && (timer < 0 || c.trial.until <= due) {
			c.timeIsUp()
			continue
		}
		if timer < 0 || due > until {
			break
		}
		c.counts.late.Observe(time.Duration(now-due) * time.Microsecond)
		c.apply(step.Event{Kind: step.Expire, A: timer, At: max(due, c.show.state.Now)})
	}
	c.show.state.Now = max(c.show.state.Now, until)
}

// apply applies an event. What it gives is good until the next.
func (c *Controller) apply(e step.Event) []step.Effect {
	s := c.show
	s.before.CopyFrom(s.state)
	s.effects = s.m.Apply(s.state, e, s.effects[:0])
	s.batches = bundle(s.index, s.effects, s.batches)
	for i := range s.batches { // before anything else: the audience waits for it
		c.give(&s.batches[i])
	}
	c.note(journal.Record{Kind: journal.Event, A: int32(e.Kind), B: e.A, C: e.B})
	for i := range s.batches {
		c.given(&s.batches[i], 0)
	}
	s.want(e, s.effects)
	c.tell(e, s.effects)
	s.was.Look(s.before)
	s.is.Look(s.state)
	for _, f := range s.watch.Look(s.before, s.state, s.was, s.is, e, s.effects) {
		if onair.Allowed(s.p, f, c.clock.wall().Format(time.DateOnly)) < 0 {
			c.alert("check", f.What+" ["+f.Code+"]")
		}
	}
	c.dirty = true
	return s.effects
}

// tell puts what an event did into the journal, and before operators what they
// should know.
func (c *Controller) tell(of step.Event, effects []step.Effect) {
	for i := range effects {
		switch e := &effects[i]; e.Kind {
		case step.Fired:
			r := journal.Record{Kind: journal.Cue, A: e.A}
			if of.Kind == step.Moment && of.A == e.A {
				r.By = byItself(c.show.p, e.A)
			}
			c.note(r)
		case step.Alerted:
			c.alert("show", e.Text)
		case step.Noted:
			c.note(journal.Record{Kind: journal.Mark, By: "show", Text: e.Text})
		case step.Failed, step.Blocked:
			c.alert("show", story.Failure(c.show.p, e))
		case step.Missed:
			c.alert("show", "what was expected did not come true"+c.about(e.Instr))
		case step.Timed:
			c.note(journal.Record{Kind: journal.Mark, By: "show", Text: "waits no longer" + c.about(e.Instr)})
		case step.Came:
			word := "what is waited for has come true"
			if c.show.p.Code[e.Instr].C == 1 {
				word = "what was expected is so"
			}
			c.note(journal.Record{Kind: journal.Mark, By: "show", Text: word + c.about(e.Instr)})
		}
	}
}

// about says how surely the condition of an instruction is known, and where it
// stands.
func (c *Controller) about(instr int32) string {
	in := &c.show.p.Code[instr]
	return c.show.sureness(in.A) + ": " + story.Place(c.show.p, in.At)
}

// outcome notes what became of a message of a job. l is its line, or nil where
// the device has none. It may be called from any goroutine.
func (c *Controller) outcome(l *line, j job, at int, answer string, err error) {
	r := journal.Record{Kind: journal.Outcome, Time: c.clock.wall().UnixMicro(), At: c.clock.now(), A: j.device, B: j.indexes[at], C: j.show, Text: answer}
	if err != nil {
		r.D, r.Text = 1, err.Error()
	}
	if c.journal != nil {
		c.journal.Gather(r)
	}
	c.pair.outcome(r)
	c.count(l, j, at, answer, err)
}

// note puts a record into the journal, at the show's now. The loop has it
// written at the end of its turn.
func (c *Controller) note(r journal.Record) {
	if c.journal != nil {
		r.At, r.Time = c.show.state.Now, c.clock.wall().UnixMicro()
		if c.pair != nil {
			c.pair.note(r)
		}
		if c.journal.Gather(r) == 0 {
			c.gap.Store(true)
		}
	}
}

// keptAlerts is how many alerts a view has.
const keptAlerts = 20

// alert tells operators something.
func (c *Controller) alert(from, text string) {
	c.note(journal.Record{Kind: journal.Alert, By: from, Text: text})
	if len(c.past) == keptAlerts {
		c.past = slices.Delete(slices.Clone(c.past), 0, 1) // views share the memory
	}
	c.past = append(c.past[:len(c.past):len(c.past)], surface.Alert{At: c.clock.wall(), Text: text})
	c.dirty = true
	c.opts.Log.Warn(text, "kind", "alert", "from", from)
}

func (c *Controller) log(text string) { c.opts.Log.Info(text, "kind", "note") }

// post has the loop do something. It waits for a place in the queue.
func (c *Controller) post(do func()) {
	select {
	case c.queue <- do:
	case <-c.ended:
	}
}

// viewEvery is the least time between two views, and viewAtLeast the most, in
// microseconds: a surface that sees none for two seconds is right to worry.
const (
	viewEvery   int64 = 10_000
	viewAtLeast int64 = 500_000
)

// rest is what the loop does when nothing waits.
func (c *Controller) rest() {
	now := c.clock.now()
	if due := c.viewed + viewEvery; c.dirty && now >= due || now >= c.viewed+viewAtLeast {
		c.publish()
	}
	c.keep()
	c.tellPair(false)
	c.flush()
}

// flush has written what the journal was given.
func (c *Controller) flush() {
	if c.journal != nil {
		c.journal.Flush()
	}
}

// gatherTime is how long, in microseconds, the loop leaves what presses did to
// gather. A shorter one means setting the system's timer with each press, which
// takes as long as sending does.
const gatherTime int64 = 2_000

// set sets the alarm to what comes first.
func (c *Controller) set() {
	next := c.viewed + viewAtLeast
	if c.dirty {
		next = c.viewed + viewEvery
	}
	if c.soon > 0 {
		next = c.soon
	}
	idle := c.stopping || c.idle() != ""
	if due := c.settles(); due >= 0 && !idle {
		next = min(next, due)
	}
	if c.trial != nil && !idle {
		next = min(next, c.trial.until)
	}
	exactly := false
	if _, due := c.show.state.Next(); due != state.Off && !idle && due <= next {
		next, exactly = due, true
	}
	if due := c.show.moments.rings(); due >= 0 && !idle && due <= next {
		next, exactly = due, true
	}
	if c.bellAt > c.clock.now() && c.bellAt <= next {
		return // once too often does no harm
	}
	c.bellAt = next
	c.bell.set(next, exactly)
}

// became notes what became of a message of a line.
func (c *Controller) became(l *line, j job, at int, answer string, err error) {
	c.outcome(l, j, at, answer, err)
	c.flush()
	c.post(func() { c.acknowledge(l, j, at, answer, err) })
}

// health hears of a device that is away, or back.
func (c *Controller) health(l *line, well bool, why string) {
	c.post(func() {
		device := int32(slices.Index(c.show.lines, l))
		if device < 0 || c.stopping {
			return // of a show that has gone, or is going
		}
		c.show.news = true
		value, text := program.Away, why
		if well {
			c.show.met[device] = true
			value, text = program.Well, c.show.p.Devices[device].Name+" answers again"
		}
		e := step.Event{Kind: step.Fault, A: device, B: int32(value), At: c.show.state.Now}
		if !c.show.m.Enabled(c.show.state, e) {
			return
		}
		c.note(journal.Record{Kind: journal.Fault, A: device, B: int32(value), Text: why})
		c.apply(e)
		c.alert("device", text)
	})
}

func (c *Controller) said(_ *line, what string) { c.post(func() { c.alert("device", what) }) }

func (c *Controller) mail(l *line) { c.post(func() { c.letters(l) }) }

var errHeld = errors.New("not sent: nobody has resumed the show")
