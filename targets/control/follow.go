package control

import (
	"errors"
	"fmt"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/story"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// tail is where the leader of a pair is, as one that follows knows it. It is a
// replay that does not end: the events are applied by the same step, and what
// they send is held against what the leader sent.
type tail struct {
	replay
	epoch, next uint64
	open        []intent // what may have been sent, the oldest first
	trial       bool
	wall        int64 // what the clock showed here at the last piece, in microseconds since 1970

	// Show time of the leader less the time since began, of the last pieces: the
	// largest had the shortest way.
	began   time.Time
	ahead   [8]int64
	samples int
}

// intent is a message that the leader was about to send.
type intent struct {
	device, message int32
	what            string
}

// now is the leader's show time.
func (t *tail) now() int64 {
	best := t.ahead[0]
	for _, a := range t.ahead[:min(t.samples, len(t.ahead))] {
		best = max(best, a)
	}
	return best + time.Since(t.began).Microseconds()
}

func (t *tail) sample(now int64) {
	t.ahead[t.samples%len(t.ahead)] = now - time.Since(t.began).Microseconds()
	t.samples++
}

// ErrPlace says that pieces are missing: one has to begin at a Start.
var ErrPlace = errors.New("pieces are missing")

var errLeader = errors.New("this controller leads")

// Follow takes a piece.
func (m member) Follow(p Piece, get func(string) ([]byte, error)) error {
	if p.Start {
		if err := m.fetch(p.Digest, get); err != nil {
			return err
		}
	}
	err := errLeader
	m.wait(func() { err = m.takePiece(p) })
	return err
}

// fetch has a program beside the journal.
func (c *Controller) fetch(digest string, get func(string) ([]byte, error)) error {
	if _, err := readProgram(c.opts.Dir, digest); err == nil {
		return nil
	}
	data, err := get(digest)
	if err != nil {
		return fmt.Errorf("the leader's program cannot be had: %w", err)
	}
	p, err := program.Decode(data)
	if err != nil || Digest(p) != digest {
		return errors.Join(errors.New("the leader's program cannot be read"), err)
	}
	return writeProgram(c.opts.Dir, p, digest)
}

// takePiece applies a piece.
func (c *Controller) takePiece(p Piece) error {
	w := c.pair
	if w.leads || c.stopping {
		return errLeader
	}
	t := w.tail
	if t != nil && t.epoch == p.Epoch && p.Number < t.next {
		return nil // it is known
	}
	if t == nil || t.epoch != p.Epoch || t.next != p.Number {
		if !p.Start {
			return ErrPlace
		}
		t = &tail{replay: replay{dir: c.opts.Dir}, epoch: p.Epoch, began: time.Now()}
		w.tail = t
		c.joins(p)
	}
	t.next = p.Number + 1
	t.sample(p.Now)
	t.wall = c.clock.wall().UnixMicro()
	for rest := p.Records; len(rest) > 0; {
		var r journal.Record
		var err error
		if r, rest, err = journal.Next(rest); err != nil {
			return err
		}
		if err := c.take(t, r); err != nil {
			w.tail = nil
			return err
		}
	}
	if err := t.allSent(journal.Record{}); err != nil {
		w.tail = nil
		return errors.New(t.Difference)
	}
	c.held, c.dirty = p.Held, true
	return nil
}

// joins begins to follow.
func (c *Controller) joins(p Piece) {
	c.note(journal.Record{Kind: journal.Session, A: sessionFollows, Text: p.Digest, By: c.show.p.Show})
	c.past = nil
	c.pair.before = nil
}

// sessionFollows is in A of a Session of one that follows.
const sessionFollows = 2

// take takes one record of the leader's.
func (c *Controller) take(t *tail, r journal.Record) error {
	if c.journal != nil {
		c.journal.Gather(r)
	}
	if err := t.record(r); err != nil {
		if t.Difference != "" {
			return errors.New("it does not come out here as it did at the leader: " + t.Difference)
		}
		return err
	}
	if t.show == nil {
		return ErrPlace
	}
	if c.show != t.show {
		if c.show.p != t.show.p && c.show.digest != t.show.digest {
			c.before = c.show
		}
		c.show = t.show
	}
	switch r.Kind {
	case journal.Snapshot:
		t.trial = r.A == tried
	case journal.Adopted:
		if index(r.B, len(t.show.facts)) && t.show.value(r.B) == uint32(r.C) {
			t.show.wants(r.B)
		}
	case journal.Sent:
		t.show.recall(r)
		t.open = append(t.open, intent{r.A, r.B, story.Command(t.show.p, t.show.p.Messages[r.B].Command)})
	case journal.Outcome:
		t.show.recall(r)
		t.closed(r)
	case journal.Alert:
		c.sees(r)
	case journal.Press:
		t.show.armedAsIn(r)
		c.filter.heard(r, c.clock.now())
	}
	return nil
}

// closed hears what became of a message: outcomes come in a device's order.
func (t *tail) closed(r journal.Record) {
	for i, x := range t.open {
		if x.device == r.A && x.message == r.B {
			t.open = append(t.open[:i], t.open[i+1:]...)
			return
		}
	}
}

// sees shows an alert of the leader's.
func (c *Controller) sees(r journal.Record) {
	c.past = append(c.past[:len(c.past):len(c.past)], surface.Alert{At: time.UnixMicro(r.Time), Text: r.Text})
	if len(c.past) > keptAlerts {
		c.past = c.past[1:]
	}
}
