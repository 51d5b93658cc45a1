package step

import (
	"cuewright/macro/program"
	"cuewright/sim/state"
)

// The values of a ButtonDown variable.
const (
	buttonUp uint32 = iota
	buttonDown
	buttonHeld // and its hold has fired
)

// Showing says whether the button's page is on a surface.
func (m *Machine) Showing(s *state.State, button int32) bool {
	for _, on := range m.pageOn[m.P.Buttons[button].Page] {
		if m.L.Get(s, on.surface) == on.value {
			return true
		}
	}
	return false
}

// down is a finger going down. Of a button whose cover is shut it only opens
// the cover, so the finger that comes up again releases nothing. A cover falls
// shut when its button has fired: the next press is deliberate again.
func (m *Machine) down(button int32) {
	b := &m.P.Buttons[button]
	switch {
	case !m.Showing(m.s, button):
		m.say(Ignored, NotShowing, -1, button)
		return
	case m.get(b.Down) != buttonUp:
		m.say(Ignored, StillDown, -1, button)
		return
	case b.Cover >= 0 && m.get(b.Cover) == 0:
		m.mark(b.Cover, 1)
		m.arm(b.CoverTimer, program.CoverOpen)
		m.say(Ignored, CoverOpened, -1, button)
		return
	}
	m.mark(b.Cover, 0)
	m.disarm(b.CoverTimer)
	m.mark(b.Down, buttonDown)
	if b.Hold >= 0 {
		m.arm(b.HoldTimer, b.HoldAfter)
	} else if b.Press >= 0 {
		m.launch(b.Press, 0, -1)
	}
}

// up is a finger lifted; the page may have turned under it.
func (m *Machine) up(button int32) {
	b := &m.P.Buttons[button]
	was := m.get(b.Down)
	if was == buttonUp {
		return
	}
	m.mark(b.Down, buttonUp)
	m.disarm(b.HoldTimer)
	if b.Hold >= 0 && b.Press >= 0 && was == buttonDown {
		m.launch(b.Press, 0, -1)
	}
	if b.Release >= 0 {
		m.launch(b.Release, 0, -1)
	}
}

// held is the hold timer running out.
func (m *Machine) held(button int32) {
	b := &m.P.Buttons[button]
	if m.get(b.Down) != buttonDown {
		return
	}
	m.mark(b.Down, buttonHeld)
	if b.Hold >= 0 {
		m.launch(b.Hold, 0, -1)
	}
}

// goCue fires a cue, or the one on standby when cue is -1. Standby moves to
// the next cue that does not follow another.
func (m *Machine) goCue(cue, by int32) {
	if cue < 0 {
		cue = int32(m.get(m.standby))
	}
	if int(cue) >= len(m.P.Cues) {
		m.say(Ignored, NothingToDo, by, -1)
		return
	}
	m.unfollow() // whoever says go has taken over
	if !m.fireCue(cue, by) {
		return
	}
	next := cue + 1
	for int(next) < len(m.P.Cues) && m.P.Cues[next].Follow >= 0 {
		next++
	}
	m.mark(m.standby, uint32(next))
}

// Ahead says whether a cue is on standby or still to come: only then its moment
// fires it.
func (m *Machine) Ahead(s *state.State, cue int32) bool { return m.L.Get(s, m.standby) <= uint32(cue) }

// moment fires a cue whose moment has come, as if it had been called by its
// number, unless the rundown is past it.
func (m *Machine) moment(cue int32) {
	if m.get(m.standby) > uint32(cue) {
		m.say(Ignored, Passed, -1, cue)
		return
	}
	m.goCue(cue, -1)
}

// fireCue starts a cue's task. It says false, and nothing has changed, when the
// cue is still running.
func (m *Machine) fireCue(cue, by int32) bool {
	c := &m.P.Cues[cue]
	if m.running(c.Task) {
		m.say(Ignored, AlreadyRunning, by, c.Task)
		return false
	}
	m.say(Fired, NoReason, by, cue)
	m.start(c.Task, 0)
	for _, f := range m.followers[cue] {
		m.mark(m.P.Cues[f].FollowVar, program.WillFollow)
	}
	return true
}

// unfollow cancels every wait to follow.
func (m *Machine) unfollow() {
	for i := range m.P.Cues {
		m.mark(m.P.Cues[i].FollowVar, program.NoFollow)
		m.disarm(m.P.Cues[i].Timer)
	}
}

// follow lets the cues that follow one that has ended wait, or fires them,
// unless that was cancelled while it ran.
func (m *Machine) follow(ended int32) {
	for _, cue := range m.followers[ended] {
		c := &m.P.Cues[cue]
		if m.get(c.FollowVar) != program.WillFollow {
			continue
		}
		if c.After <= 0 {
			m.mark(c.FollowVar, program.NoFollow) // and when it still runs, it was its turn
			m.fireCue(cue, -1)
			continue
		}
		m.mark(c.FollowVar, program.WaitsToFollow)
		m.arm(c.Timer, c.After)
	}
}
