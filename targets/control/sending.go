package control

import (
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// sending is the newest message that sets a variable, and what became of it.
// Times are by the wall clock, in microseconds since 1970.
type sending struct {
	of       *program.Program // whose message it is; nil when nothing was sent
	message  int32
	at       int64 // show time
	time     int64
	came     surface.State
	answer   string
	cameTime int64
}

// give gives messages to their device.
func (c *Controller) give(b *batch) {
	s := c.show
	b.job = job{show: s.mark[0], device: b.device, indexes: b.indexes, pressed: c.pressed, messages: make([]*program.Message, len(b.indexes)),
		of: s.p, tasks: b.tasks, at: s.state.Now, wish: c.granting}
	for i, index := range b.indexes {
		b.job.messages[i] = &s.p.Messages[index]
	}
	b.fate = fate{}
	if c.granting != nil {
		c.granting.gave += len(b.indexes)
		c.granting.owes += len(b.indexes)
	}
	switch l := s.lines[b.device]; {
	case l == nil || c.held && c.granting == nil:
	case c.pair != nil: // it goes out once the other one knows
		c.pair.later = append(c.pair.later, parcel{l, b.job})
		b.fate.taken = true
	default:
		b.fate = l.put(b.job)
	}
}

// given notes messages that were given to their device, and what became of
// them if that is known.
func (c *Controller) given(b *batch, by int32) {
	wall := time.Now().UnixMicro()
	for i, index := range b.indexes {
		c.show.sends(index, b.job.at, wall)
		if c.journal != nil {
			c.note(journal.Record{Kind: journal.Sent, A: b.device, B: index, C: b.group, D: by, Data: wireBytes(b.job.messages[i])})
		}
	}
	f := b.fate
	if f.taken && !f.sent {
		return
	}
	if !f.taken {
		f.err = errBehind
		if c.held {
			f.err = errHeld // no script runs then, so nothing should have come here
		}
		c.alert("device", c.show.p.Devices[b.device].Name+": "+f.err.Error())
	}
	l := c.show.lines[b.device]
	for i := range b.indexes {
		answer, err := f.answer, error(nil)
		if i >= f.done {
			answer, err = "", f.err
		}
		c.outcome(l, b.job, i, answer, err)
		c.acknowledge(l, b.job, i, answer, err)
	}
	if f.sent {
		l.sent(f.err)
	}
}

// sends notes that a message has been given to its device.
func (s *show) sends(message int32, at, wall int64) {
	for _, v := range setBy(s.p, s.p.Messages[message].Command) {
		if v >= 0 {
			s.facts[v].sent = sending{of: s.p, message: message, at: at, time: wall, came: surface.Waiting}
		}
	}
}

// came notes what became of the newest message that was sent at a moment.
func (s *show) came(of *program.Program, message int32, at int64, state surface.State, answer string, wall int64) {
	for i := range s.facts {
		if x := &s.facts[i].sent; x.of == of && x.message == message && x.at == at {
			x.came, x.answer, x.cameTime = state, answer, wall
		}
	}
}

// acknowledge takes what became of a message of a job. A device that says no
// has not done what a script told it: that has failed. How the device stands
// then nobody knows, so the state stays as the script set it.
func (c *Controller) acknowledge(l *line, j job, at int, answer string, err error) {
	s := c.show
	state := surface.Undone
	if l != nil {
		state = map[Fate]surface.State{OnItsWay: surface.OnItsWay, Answered: surface.Yes, Declined: surface.No,
			Broken: surface.Undone, Dropped: surface.Undone}[fateOf(l, err)]
	}
	switch {
	case err != nil:
		answer = err.Error()
	case state == surface.OnItsWay:
		answer = "" // its state says all
	}
	s.came(j.of, j.indexes[at], j.at, state, answer, time.Now().UnixMicro())
	c.dirty = true
	if j.wish != nil {
		c.arrived(j.wish, state, answer)
	}
	if state == surface.No && s.p == j.of && at < len(j.tasks) && j.tasks[at] >= 0 && !c.stopping {
		if e := (step.Event{Kind: step.Declined, A: j.tasks[at], At: s.state.Now}); s.m.Enabled(s.state, e) {
			c.apply(e)
		}
	}
}

// recall takes up what a journal says of a message.
func (s *show) recall(r journal.Record) {
	if r.B < 0 || int(r.B) >= len(s.p.Messages) {
		return
	}
	if r.Kind == journal.Sent {
		s.sends(r.B, r.At, r.Time)
		return
	}
	if r.C != s.mark[0] {
		return
	}
	state := surface.OnItsWay
	switch wire := s.p.Devices[s.p.Messages[r.B].Device].Wire; {
	case r.D == 1:
		state = surface.Undone
	case isHTTP(wire):
		state = surface.Yes
	default:
		r.Text = ""
	}
	for _, v := range setBy(s.p, s.p.Messages[r.B].Command) {
		if v >= 0 && s.facts[v].sent.message == r.B && s.facts[v].sent.came == surface.Waiting {
			x := &s.facts[v].sent
			x.came, x.answer, x.cameTime = state, r.Text, r.Time
		}
	}
}
