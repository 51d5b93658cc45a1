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
	if state == surface.Undone && j.wish != nil {
		j.wish.undone(answer)
	}
	if state != surface.No {
		return
	}
	if j.wish != nil {
		j.wish.over("could not be met: " + answer)
	}
	if s.p == j.of && at < len(j.tasks) && j.tasks[at] >= 0 && !c.stopping {
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
	if r.C != s.mark() {
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
