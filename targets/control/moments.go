package control

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/daytime"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// onTime is how late a cue may be by the clock, in microseconds: the loop looks
// at least twice a second. What is later is missed, never fired late.
const onTime int64 = 1_000_000

// moments is when the cues of a show come by the clock. A clock that is set
// fires nothing that it skips, and nothing twice: what it goes over is told, and
// a moment that has come does not come again when the clock goes back over it.
type moments struct {
	zone *time.Location
	err  error // the zone is not known here
	all  []timed
	wall int64 // what the clock showed when it was last looked at, in microseconds since 1970; 0 is not yet
	at   int64 // and the show time then
}

// timed is a cue that comes by the clock. Times are microseconds since 1970.
type timed struct {
	cue  int32
	due  int64 // when it comes next
	past int64 // when it came last, or 0
}

func newMoments(p *program.Program) *moments {
	m := &moments{zone: time.Local}
	if p.Zone != "" {
		zone, err := time.LoadLocation(p.Zone)
		if err != nil {
			m.err = fmt.Errorf("the time zone of the show is not known here: %w", err)
		} else {
			m.zone = zone
		}
	}
	for i := range p.Cues {
		if p.Cues[i].By == program.ByClock {
			m.all = append(m.all, timed{cue: int32(i)})
		}
	}
	return m
}

// next is when a cue comes next after a moment.
func (m *moments) next(p *program.Program, x *timed, after int64) {
	come := func(after int64) int64 {
		return daytime.After(time.UnixMicro(after), p.Cues[x.cue].Moment, m.zone).UnixMicro()
	}
	if x.due = come(after); x.due == x.past {
		x.due = come(x.due)
	}
}

// look takes what the clock shows. It gives by how much it was set since it was
// last looked at.
func (m *moments) look(p *program.Program, at, wall int64) (set int64) {
	if m.wall != 0 {
		set = wall - m.wall - (at - m.at)
	}
	if m.wall == 0 || wall < m.wall {
		for i := range m.all {
			m.next(p, &m.all[i], wall-1)
		}
	}
	m.wall, m.at = wall, at
	return set
}

// first is the cue that comes first by the clock, or nil.
func (m *moments) first(which func(cue int32) bool) *timed {
	var first *timed
	for i := range m.all {
		if x := &m.all[i]; (first == nil || x.due < first.due) && (which == nil || which(x.cue)) {
			first = x
		}
	}
	return first
}

// day is longer than any clock that was right is set by, in microseconds.
const day int64 = 24 * 60 * 60 * 1_000_000

// lookAtClock looks at the clock, if anything goes by it.
func (c *Controller) lookAtClock(now int64) {
	m := c.show.moments
	if len(m.all) == 0 {
		return
	}
	set := m.look(c.show.p, now, c.clock.wall().UnixMicro())
	if set >= onTime || set <= -onTime {
		way := "forward"
		if set < 0 {
			way = "back"
		}
		c.alert("controller", "the clock of this machine was set "+way+" by "+longWords(max(set, -set)))
	}
	if set > day { // it was not right before: nothing was missed by it
		for i := range m.all {
			m.next(c.show.p, &m.all[i], m.wall-1)
		}
	}
}

// come is the next cue whose moment has come by the clock, with the show time
// of that. What is late is told and passed over.
func (c *Controller) come() (cue int32, at int64, ok bool) {
	m := c.show.moments
	for {
		x := m.first(nil)
		if x == nil || m.wall == 0 || x.due > m.wall {
			return -1, 0, false
		}
		late := m.wall - x.due
		x.past = x.due
		m.next(c.show.p, x, m.wall)
		if late <= onTime {
			return x.cue, m.at - late, true
		}
		if c.armed(x.cue) {
			c.alert("controller", c.momentWords(x.cue)+" was missed by "+longWords(late)+": it is not fired")
		}
	}
}

// rings is the show time at which a cue comes next by the clock, or -1.
func (m *moments) rings() int64 {
	x := m.first(nil)
	if x == nil || m.wall == 0 {
		return -1
	}
	return m.at + x.due - m.wall
}

// missedBefore tells what came by the clock while the controller was down.
func (c *Controller) missedBefore(since time.Time) {
	m, now := c.show.moments, c.clock.wall()
	for i := range m.all {
		x := timed{cue: m.all[i].cue}
		if m.next(c.show.p, &x, since.UnixMicro()); c.armed(x.cue) && x.due <= now.UnixMicro() {
			c.alert("controller", c.momentWords(x.cue)+" was missed by "+longWords(now.UnixMicro()-x.due)+": it is not fired")
		}
	}
}

// armed says whether a cue fires by itself when its moment comes: the rundown
// is not past it, and nobody has disarmed it.
func (c *Controller) armed(cue int32) bool {
	return c.show.m.Ahead(c.show.state, cue) && !c.show.disarmed[cue]
}

// strike fires a cue whose moment has come, or says why not.
func (c *Controller) strike(cue int32, at int64) {
	s := c.show
	switch {
	case !s.m.Ahead(s.state, cue):
	case s.disarmed[cue]:
		c.note(journal.Record{Kind: journal.Mark, By: "controller", Text: c.momentWords(cue) + " is disarmed: it is not fired"})
	case c.held:
		c.alert("controller", c.momentWords(cue)+" has come, and nobody has resumed the show: it is not fired")
	default:
		left := cue - int32(s.m.L.Get(s.state, s.p.StandbyVar()))
		c.apply(step.Event{Kind: step.Moment, A: cue, At: max(at, s.state.Now)})
		if left > 0 {
			c.alert("controller", c.momentWords(cue)+" was fired before what was on standby: "+c.leftOut(cue-left, left))
		}
	}
}

// leftOut says how many cues are left out, from the first on.
func (c *Controller) leftOut(first, n int32) string {
	q := &c.show.p.Cues[first]
	if n == 1 {
		return fmt.Sprintf("cue %s %q is left out", q.Number, q.Label)
	}
	return fmt.Sprintf("%d cues from cue %s %q on are left out", n, q.Number, q.Label)
}

// momentWords is a cue with its moment: cue 12 "Kick-off" at 19:30:00.
func (c *Controller) momentWords(cue int32) string {
	q := &c.show.p.Cues[cue]
	by := " at "
	if q.By == program.ByTimecode {
		by = " at timecode "
	}
	return fmt.Sprintf("cue %s %q", q.Number, q.Label) + by + story.MomentOf(c.show.p, cue)
}

// byItself says what fires a cue by itself: by the clock, 19:30:00.
func byItself(p *program.Program, cue int32) string {
	if p.Cues[cue].By == program.ByTimecode {
		return "by the timecode, " + story.MomentOf(p, cue)
	}
	return "by the clock, " + story.MomentOf(p, cue)
}

// longWords is a length of time for people: 4 min 10 s.
func longWords(micros int64) string {
	seconds := (micros + 500_000) / 1_000_000
	switch {
	case seconds < 60:
		return fmt.Sprintf("%d s", seconds)
	case seconds < 3600:
		return fmt.Sprintf("%d min %d s", seconds/60, seconds%60)
	case seconds < 48*3600:
		return fmt.Sprintf("%d h %d min", seconds/3600, seconds/60%60)
	}
	return fmt.Sprintf("%d days", seconds/86400)
}

// arm lets cues fire by themselves again, or not: one, or with -1 all that can.
func (c *Controller) arm(cue int32, disarmed bool) surface.Answer {
	s := c.show
	if cue >= 0 && s.p.Cues[cue].By == program.NoMoment {
		return refused(step.NothingToDo, fmt.Sprintf("cue %s does not fire by itself", s.p.Cues[cue].Number))
	}
	changed := s.arm(cue, disarmed)
	if !changed {
		return refused(step.NothingToDo, "that changes nothing")
	}
	c.dirty = true
	return surface.Answer{}
}

// disarmedNumbers are the numbers of the cues that do not fire by themselves,
// with blanks between them.
func (s *show) disarmedNumbers() string {
	var numbers []string
	for i, is := range s.disarmed {
		if is {
			numbers = append(numbers, s.p.Cues[i].Number)
		}
	}
	return strings.Join(numbers, " ")
}

// disarm is the reverse: what the show does not have is left out.
func (s *show) disarm(numbers []string) {
	for i := range s.p.Cues {
		if slices.Contains(numbers, s.p.Cues[i].Number) {
			s.arm(int32(i), true)
		}
	}
}

// arms says whether a record is of a press that armed or disarmed.
func arms(r journal.Record) bool {
	return r.Kind == journal.Press && surface.Outcome(r.D) == surface.Done && (surface.Kind(r.A) == surface.Disarm || surface.Kind(r.A) == surface.Arm)
}

// armedAsIn does what a record says that an operator has done.
func (s *show) armedAsIn(r journal.Record) {
	if arms(r) && r.B >= -1 && int(r.B) < len(s.p.Cues) {
		s.arm(r.B, surface.Kind(r.A) == surface.Disarm)
	}
}

// arm says whether that changes anything.
func (s *show) arm(cue int32, disarmed bool) (changed bool) {
	for i := range s.p.Cues {
		if s.p.Cues[i].By != program.NoMoment && (cue < 0 || cue == int32(i)) && s.disarmed[i] != disarmed {
			s.disarmed[i], changed = disarmed, true
		}
	}
	return changed
}
