package control

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"cuewright/targets/journal"
	"cuewright/targets/metrics"
	"cuewright/targets/surface"
)

// Fate is what became of a message.
type Fate uint8

// The fates of a message.
const (
	OnItsWay Fate = iota // it was handed to the system; its wire has no answer
	Answered             // the device took it and said so
	Declined             // the device said no
	Broken               // it could not be sent, or nobody knows whether it arrived
	Dropped              // it was not sent: the device was away or too far behind, or the show held or stopped
	fates
)

var fateWords = [fates]string{"sent", "answered", "refused", "failed", "dropped"}

// String is the word for it in logs and metrics.
func (f Fate) String() string { return fateWords[f] }

// Fates are all of them.
func Fates() []Fate { return []Fate{OnItsWay, Answered, Declined, Broken, Dropped} }

// Figures are what a controller has counted since it was started, and how it
// is now.
type Figures struct {
	Began   time.Time
	Turned  time.Time                // when the loop ended its last full turn
	Presses [surface.Outcomes]uint64 // by surface.Outcome
	Waiting int                      // what waits for the loop
	Reach   []Reach
	Turn    metrics.Spread // of the loop's turns
	Late    metrics.Spread // of timers after their due time
	Reloads Reloads
	Devices []DeviceFigures
	Journal *journal.Figures // nil when none is kept
	Dir     string           // of the journal
}

// Reach is how long messages took from the press that set them off to being
// handed to the system or, over HTTP, to their answer.
type Reach struct {
	Wire string
	metrics.Spread
}

// Reloads counts what became of them.
type Reloads struct{ Taken, Waited, Refused uint64 }

// DeviceFigures are a device's, of those that are sent to. Seen is when it was
// last heard of or reached, zero if never. Of Room jobs, Waiting wait.
type DeviceFigures struct {
	Name, Wire, Address string
	Away                bool
	Seen                time.Time
	Waiting, Room       int
	Messages            [fates]uint64 // by Fate
}

// counts is what a controller counts. It is used from any goroutine.
type counts struct {
	began                   time.Time
	turned                  atomic.Pointer[time.Time]
	presses                 [surface.Outcomes]atomic.Uint64
	taken, waited, declined atomic.Uint64 // reloads
	reach                   map[string]*metrics.Histogram
	turn, late              *metrics.Histogram
}

// wires are how devices are spoken to.
var wires = []string{"http", "https", "osc.slip", "osc.tcp", "osc.udp"}

func (n *counts) begin() {
	const us, ms = time.Microsecond, time.Millisecond
	n.began = time.Now()
	n.turned.Store(&n.began)
	n.turn = metrics.NewHistogram(10*us, 50*us, 100*us, 500*us, ms, 5*ms, 10*ms, 50*ms, 100*ms, 500*ms, time.Second)
	n.late = metrics.NewHistogram(50*us, 100*us, 250*us, 500*us, ms, 2*ms, 5*ms, 10*ms, 50*ms, 500*ms)
	n.reach = map[string]*metrics.Histogram{}
	for _, w := range wires {
		n.reach[w] = metrics.NewHistogram(50*us, 100*us, 250*us, 500*us, ms, 2*ms, 5*ms, 10*ms, 25*ms, 100*ms, 500*ms, 2*time.Second)
	}
}

func (n *counts) reloaded(r surface.Loaded, err error) {
	switch {
	case err != nil:
		n.declined.Add(1)
	case r.Taken:
		n.taken.Add(1)
	default:
		n.waited.Add(1)
	}
}

// Figures is what has been counted by now. It does not wait for the loop.
func (c *Controller) Figures() Figures {
	n := &c.counts
	f := Figures{Began: n.began, Turned: *n.turned.Load(), Waiting: len(c.queue), Turn: n.turn.Read(), Late: n.late.Read(),
		Reloads: Reloads{n.taken.Load(), n.waited.Load(), n.declined.Load()}, Dir: c.opts.Dir}
	for i := range n.presses {
		f.Presses[i] = n.presses[i].Load()
	}
	for _, w := range wires {
		if s := n.reach[w].Read(); s.Count() > 0 {
			f.Reach = append(f.Reach, Reach{w, s})
		}
	}
	s, v := c.seen.Load(), c.View()
	for i, l := range s.lines {
		if l != nil {
			d := l.figures()
			d.Away = s.p == v.Program && slices.Contains(v.Away, int32(i))
			f.Devices = append(f.Devices, d)
		}
	}
	if c.journal != nil {
		j := c.journal.Figures()
		f.Journal = &j
	}
	return f
}

// tally is what a line counts.
type tally struct {
	fates [fates]atomic.Uint64
	seen  atomic.Pointer[time.Time]
}

// noticed says that the device has been heard of.
func (l *line) noticed() {
	now := time.Now()
	l.tally.seen.Store(&now)
}

func (l *line) figures() DeviceFigures {
	d := DeviceFigures{Name: l.device.Name, Wire: l.device.Wire, Address: l.device.Address, Waiting: len(l.jobs), Room: queued}
	if at := l.tally.seen.Load(); at != nil {
		d.Seen = *at
	}
	for i := range l.tally.fates {
		d.Messages[i] = l.tally.fates[i].Load()
	}
	return d
}

// fateOf is what became of a message, by the error that came of it.
func fateOf(l *line, err error) Fate {
	switch {
	case err == nil && isHTTP(l.device.Wire):
		return Answered
	case err == nil:
		return OnItsWay
	case errors.Is(err, errAway), errors.Is(err, errStopped), errors.Is(err, errBehind), errors.Is(err, errHeld):
		return Dropped
	case answered(err):
		return Declined
	}
	return Broken
}

// count counts and logs what became of a message.
func (c *Controller) count(l *line, j job, at int, answer string, err error) {
	if l == nil {
		return // nothing is ever sent to it
	}
	fate := fateOf(l, err)
	l.tally.fates[fate].Add(1)
	if fate == Answered || fate == Declined {
		l.noticed()
	}
	if !j.pressed.IsZero() && (fate == OnItsWay || fate == Answered) {
		c.counts.reach[l.device.Wire].Observe(time.Since(j.pressed))
	}
	if c.opts.Log.Enabled(context.Background(), Routine) {
		if err != nil {
			answer = err.Error()
		}
		c.opts.Log.Log(context.Background(), Routine, "message", "kind", "message", "device", l.device.Name,
			"message", j.messages[at].Text, "outcome", fate.String(), "answer", answer)
	}
}

// Routine is the level of what happens all the time: the outcomes of presses
// and messages. It lies below slog's Info.
const Routine = slog.LevelInfo - 2

// countPress counts and logs what became of a press.
func (c *Controller) countPress(p *surface.Press, a surface.Answer) {
	c.counts.presses[a.Outcome].Add(1)
	if c.opts.Log.Enabled(context.Background(), Routine) {
		c.opts.Log.Log(context.Background(), Routine, "press", "kind", "press", "by", p.By, "press", c.show.pressed(p.Kind, what(p), p.Surface),
			"outcome", a.Outcome.String(), "answer", a.Text)
	}
}

// pressed says in words what was pressed: of is what a press of its kind names.
func (s *show) pressed(kind surface.Kind, of, on int32) string {
	p, where := s.p, ""
	if index(on, len(p.Surfaces)) {
		where = p.Surfaces[on].Name + ": "
	}
	switch {
	case (kind == surface.Down || kind == surface.Up) && index(of, len(p.Buttons)):
		text := where + s.tell.ButtonName(of)
		if kind == surface.Up {
			text += " let go"
		}
		return text
	case kind == surface.Go && index(of, len(p.Cues)):
		return where + "go " + p.Cues[of].Number
	case (kind == surface.Disarm || kind == surface.Arm) && index(of, len(p.Cues)):
		return where + pressWords[kind] + " " + p.Cues[of].Number
	case kind == surface.Resend || kind == surface.Adopt:
		if names := surface.OutputNames(p); index(of, len(names)) {
			return where + pressWords[kind] + ": " + names[of]
		}
	}
	return strings.TrimSuffix(where+pressWords[kind], ": ")
}
