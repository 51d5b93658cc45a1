package control

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// Two controllers can run one show as a pair. One leads: it is as one that is
// alone, but that it tells the other what happens, in pieces, and gives messages
// to devices only when the other knows that it is about to. The other follows:
// it applies the same events to the same state, opens no line to a device and
// takes no press. Which of them leads is not known here; a Pair says so.

// Pair is the way to the other controller, and who decides which one leads. Its
// methods may be called from any goroutine; only those with a context wait.
type Pair interface {
	// Join begins. From then on the member is told what to be, one call at a time.
	Join(Member)
	// Tell tells the other one a piece.
	Tell(Piece)
	// Open waits until the messages of a piece may leave; an error says that they
	// never will.
	Open(ctx context.Context, epoch, number uint64) error
	// May says whether anything may be sent now.
	May() bool
	// SwitchOver lets the other one lead, or this one when nobody does.
	SwitchOver(context.Context) surface.Answer
	// Standing is how it stands.
	Standing() surface.Pair
	// Leave has a leader hand over, if there is another that can lead.
	Leave(context.Context)
	// Close ends it.
	Close()
}

// Member is a controller, as its pair sees it.
type Member interface {
	// Lead has it lead under an epoch. Complete says that it knows all that was
	// done before; else it holds what it has, as after a power cut.
	Lead(epoch uint64, complete bool)
	// Yield has it lead no more.
	Yield()
	// Follow takes a piece of the leader's. Get fetches a program by its digest. An
	// error says that it has lost its place: it has to begin at a Start.
	Follow(p Piece, get func(digest string) ([]byte, error)) error
	// Rest has it set nothing off any more and send what it has, to hand over;
	// Rouse has it go on after all.
	Rest(context.Context)
	Rouse()
	// Again has a leader tell where it is: the other one has lost its place.
	Again()
	// Turned is when the loop ended its last turn. One that hangs does not lead.
	Turned() time.Time
	// Changed says that Standing is another.
	Changed()
	// Alert tells operators something.
	Alert(text string)
}

// Piece is what happened at the leader at once: records of the journal, none
// to say what time it is. Numbers begin at 1 with each epoch.
type Piece struct {
	Epoch, Number uint64
	Now           int64 // the leader's show time
	Held          bool
	Records       []byte

	// Start is set where one can begin to follow: the first record is a snapshot,
	// of this program.
	Start   bool
	Digest  string
	Program *program.Program // not when it was told by the other one
}

// pairing is what a controller of a pair has besides. Mu guards what stands
// under it; it is taken under the owner's, and only the Pair's own locks are
// taken under it.
type pairing struct {
	Pair
	before *past // what there was at the start
	piece  []byte
	later  []parcel // what goes out with the piece
	after  []func() // what is done when the piece was told
	told   time.Time
	tail   *tail  // where the leader is, of one that follows
	rests  bool   // it is about to hand over
	passes []pass // what the timecode has run through while nothing was set off

	mu     sync.Mutex
	leads  bool
	epoch  uint64
	number uint64 // of the last piece
}

// pass is a cue whose frame the timecode has run through.
type pass struct {
	cue int32
	at  time.Time
}

// passed remembers a cue that the leader fires, if there still is one.
func (w *pairing) passed(cue int32) {
	recent := slices.DeleteFunc(w.passes, func(x pass) bool { return time.Since(x.at) > time.Duration(onTime)*time.Microsecond })
	w.passes = append(recent, pass{cue, time.Now()})
}

// parcel is a job on its way to a line.
type parcel struct {
	line *line
	job  job
}

// idle is why nothing is set off here, or "".
func (c *Controller) idle() string {
	w := c.pair
	switch {
	case w == nil:
	case !w.leads:
		if s := w.Standing(); !s.Leads {
			return s.Words()
		}
		return "it is about to lead"
	case w.rests:
		return "it is handing over to the other one"
	case !w.May():
		s := w.Standing()
		return s.Words()
	}
	return ""
}

// note puts a record into the piece that is to be told. The owner calls it.
func (w *pairing) note(r journal.Record) {
	if w.leads {
		w.piece = r.Append(w.piece)
	}
}

// tellPair tells the other one a piece of the owner's, and gives messages to their
// lines.
func (c *Controller) tellPair(start bool) {
	w := c.pair
	if w == nil || !w.leads {
		return
	}
	if len(w.piece) == 0 && len(w.later) == 0 && !start {
		if time.Since(w.told) >= tellAtLeast {
			w.send(Piece{Now: c.clock.now(), Held: c.held})
			w.told = time.Now()
		}
		return
	}
	p := Piece{Now: c.clock.now(), Held: c.held, Records: w.piece}
	if start {
		p.Start, p.Digest, p.Program = true, c.show.digest, c.show.p
	}
	number := w.send(p)
	w.piece, w.told = nil, time.Now()
	for _, x := range w.later {
		x.job.epoch, x.job.piece = w.epoch, number
		if f := x.line.put(x.job); !f.taken {
			for i := range x.job.indexes {
				c.outcome(x.line, x.job, i, "", errBehind)
				c.acknowledge(x.line, x.job, i, "", errBehind)
			}
			c.alert("device", x.line.device.Name+": "+errBehind.Error())
		}
	}
	w.later = w.later[:0]
	for _, do := range w.after {
		do()
	}
	w.after = nil
}

// tellAtLeast is how often the other one hears what time it is.
const tellAtLeast = 2 * time.Second

// send gives a piece its number.
func (w *pairing) send(p Piece) uint64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.leads {
		return 0
	}
	w.number++
	p.Epoch, p.Number = w.epoch, w.number
	w.Tell(p)
	return w.number
}

// outcome tells the other one at once what became of a message.
func (w *pairing) outcome(r journal.Record) {
	if w != nil {
		w.send(Piece{Now: r.At, Records: r.Append(nil)})
	}
}

// place is where the telling is.
func (w *pairing) place() (epoch, number uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.epoch, w.number
}

func (w *pairing) begin(leads bool, epoch uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.leads, w.epoch, w.number = leads, epoch, 0
	w.piece, w.later, w.rests = nil, nil, false
}

// afterTelling does something once the other one has been told of this turn.
func (c *Controller) afterTelling(do func()) {
	if c.pair == nil || !c.pair.leads {
		do()
		return
	}
	c.pair.after = append(c.pair.after, do)
}

// known has an answer wait until the other one knows what was done: who hears
// Done can rely on it.
func (c *Controller) known(a surface.Answer) surface.Answer {
	if c.pair == nil || a.Outcome != surface.Done {
		return a
	}
	ctx, cancel := context.WithTimeout(context.Background(), pressTime)
	defer cancel()
	epoch, number := c.pair.place()
	if number == 0 || c.pair.Open(ctx, epoch, number) != nil {
		return surface.Answer{Outcome: surface.Busy, Text: "the controllers changed places meanwhile: look whether it was done"}
	}
	return a
}

// switchOver does the press that lets the other one lead.
func (c *Controller) switchOver(p *surface.Press) surface.Answer {
	a := refused(step.NothingToDo, "there is no other controller")
	if c.pair != nil {
		ctx, cancel := context.WithTimeout(context.Background(), switchTime)
		defer cancel()
		a = c.pair.SwitchOver(ctx)
	}
	c.post(func() {
		c.countPress(p, a)
		c.note(pressed(p, a, 0))
	})
	return a
}

// switchTime is how long switching over may take.
const switchTime = 3 * time.Second

// member is the controller as its pair sees it.
type member struct{ *Controller }

// wait has the loop do something, and waits for it.
func (c *Controller) wait(do func()) {
	done := make(chan struct{})
	c.post(func() { defer close(done); do() })
	select {
	case <-done:
	case <-c.ended:
	}
}

func (m member) Again() {
	m.post(func() {
		if m.pair.leads {
			m.snapshot()
		}
	})
}

func (m member) Turned() time.Time { return *m.counts.turned.Load() }

func (m member) Changed()          { m.post(func() { m.dirty = true }) }
func (m member) Alert(text string) { m.post(func() { m.alert("pair", text) }) }

func (m member) Lead(epoch uint64, complete bool) { m.wait(func() { m.lead(epoch, complete) }) }

// lead begins to lead, or goes on leading under another epoch.
func (c *Controller) lead(epoch uint64, complete bool) {
	w := c.pair
	if c.stopping {
		return
	}
	again, t := w.leads, w.tail
	w.begin(true, epoch)
	w.tail = nil
	if t != nil {
		c.clock.shift(max(t.now(), c.show.state.Now) - c.clock.now())
		c.viewed, c.soon, c.bellAt = 0, 0, 0
		now := c.clock.now()
		c.show.moments.look(c.show.p, now-(c.clock.wall().UnixMicro()-t.wall), t.wall)
	}
	fresh := []*line(nil)
	if !again {
		var err error
		if fresh, err = c.connect(c.show, nil); err != nil {
			c.alert("controller", "it cannot send: "+err.Error())
		}
		text := fmt.Sprintf("%s leads, epoch %d", w.Standing().Seat, epoch)
		c.note(journal.Record{Kind: journal.Mark, By: "pair", Text: text})
		c.log(text)
	}
	c.snapshot()
	switch {
	case again:
	case t == nil:
		c.goOn(w.before)
		w.before = nil
	default:
		c.inherit(t, complete)
	}
	for _, l := range fresh {
		l.reads = t != nil
		l.start()
	}
	c.dirty = true
	c.tellPair(false)
}

// inherit takes over from another leader: what it may or may not have sent is
// told, and never sent again.
func (c *Controller) inherit(t *tail, complete bool) {
	switch {
	case !complete:
		c.held = true
		c.apply(step.Event{Kind: step.StopAll, At: c.show.state.Now})
		for _, text := range c.show.where() {
			c.alert("pair", text)
		}
		c.alert("pair", "this controller does not know everything that the other one did: nothing is sent before somebody resumes")
	case c.held:
		c.alert("pair", "nothing is sent before somebody resumes; what the plan wished after the power cut, and was not met, is left")
	}
	var open []string
	for _, x := range t.open {
		open = append(open, deviceName(c.show.p, x.device)+": "+x.what)
	}
	if len(open) > 0 {
		c.alert("pair", "may or may not have been sent, and is not sent again: "+strings.Join(open, "; "))
	}
	for _, x := range c.pair.passes {
		if time.Since(x.at) < time.Duration(onTime)*time.Microsecond {
			c.strike(x.cue, c.show.state.Now) // one that was fired is behind the rundown
		}
	}
	c.pair.passes = nil
	if t.trial {
		c.alert("pair", "the show that was on trial stays")
	}
}

func (m member) Yield() { m.wait(m.yield) }

// yield leads no more: nothing is sent from here.
func (c *Controller) yield() {
	w := c.pair
	if !w.leads {
		return
	}
	w.begin(false, 0)
	if c.trial != nil {
		c.retireAll(c.trial.old, c.show)
		c.trial = nil
	}
	c.giveUp()
	for i, l := range c.show.lines {
		if l != nil {
			l.cancel()
			c.retire(l)
			c.show.lines[i] = nil
		}
	}
	for _, do := range w.after {
		do()
	}
	w.after = nil
	c.seen.Store(c.show)
	c.note(journal.Record{Kind: journal.Mark, By: "pair", Text: w.Standing().Seat + " leads no more"})
	c.dirty = true
}

// Rest has the lines send what they have.
func (m member) Rest(ctx context.Context) {
	var lines []*line
	m.wait(func() {
		m.pair.rests = true
		m.tellPair(false)
		lines = m.show.lines
	})
	for ctx.Err() == nil {
		busy := false
		for _, l := range lines {
			busy = busy || l != nil && l.up.Load() && l.under.Load() > 0
		}
		if !busy {
			return
		}
		time.Sleep(time.Millisecond)
	}
}

func (m member) Rouse() { m.wait(func() { m.pair.rests = false }) }

// leaves waits until a job may be sent, or says why it never will be.
func (c *Controller) leaves(ctx context.Context, j job) error {
	if c.pair == nil {
		return nil
	}
	if err := c.pair.Open(ctx, j.epoch, j.piece); err != nil {
		return errors.Join(errYielded, err)
	}
	return nil
}

var errYielded = errors.New("not sent: this controller leads no more")
