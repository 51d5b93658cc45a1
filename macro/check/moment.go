package check

import (
	"errors"
	"time"
	_ "time/tzdata" // a machine that has no zones of its own still knows them

	"cuewright/macro/diag"
	"cuewright/macro/syntax"
	"cuewright/macro/timecode"
)

// moments reads what the clock and timecode fire.
func (c *checker) moments(n *syntax.Rundown) {
	c.zone(n.Zone)
	for _, q := range n.Cues {
		c.moment(q)
	}
}

// zone checks the time zone of a rundown. "Local" is no zone: what it is
// depends on the machine.
func (c *checker) zone(n syntax.Text) {
	if n.Text == "" && (n.At.IsZero() || n.At.Text() != `""`) {
		return // none, or that has been said
	}
	if _, err := time.LoadLocation(n.Text); err == nil && n.Text != "" && n.Text != "Local" {
		return
	}
	c.add(diag.New("zone-unknown", n.At, "there is no time zone %q", n.Text).
		Mend("write the IANA name of the zone, as in `Europe/Vienna`, or leave it out: then it is the zone of the machine"))
}

// moment reads what fires a cue by itself and holds it against the cues before.
func (c *checker) moment(q *syntax.Cue) {
	m, ok := c.readMoment(q.Moment)
	if !ok {
		return
	}
	var above *syntax.Cue // the nearest of its kind
	for _, b := range c.timed {
		was := c.info.Moments[b]
		if was == m {
			c.add(diag.New("same-moment", q.Moment.At, "cue %s fires at the same moment as cue %s", q.Number.Text, b.Number.Text).
				With(b.Moment.At, "the other one").
				Mend("give one of the two another time, or make one cue of them"))
			above = nil
			break
		}
		if was.Timecode == m.Timecode {
			above = b
		}
	}
	if above != nil && c.before(m, c.info.Moments[above]) {
		c.add(diag.New("moment-order", q.Moment.At, "cue %s comes before cue %s, which stands above it", q.Number.Text, above.Number.Text).
			With(above.Moment.At, "later than this").
			Mend("put the cues in the order of their times"))
	}
	c.info.Moments[q] = m
	c.timed = append(c.timed, q)
}

// halfDay is how far back a clock may go from cue to cue and still be meant for
// the evening before midnight: more than this, and it is the next day.
const halfDay = timecode.SecondsPerDay / 2

// before says whether a moment comes before another. A clock that goes back by
// more than half a day has gone past midnight.
func (c *checker) before(m, other Moment) bool {
	return m.At < other.At && (m.Timecode || other.At-m.At < halfDay)
}

// readMoment reads a time of the day or a timecode.
func (c *checker) readMoment(op syntax.Operand) (m Moment, ok bool) {
	var err error
	switch op.Kind {
	case syntax.Clock:
		m.At, err = timecode.ParseClock(op.Text)
		return m, c.readable("clock-unreadable", op, err)
	case syntax.Duration:
		if c.rack.Unrated {
			return m, false // nobody can tell, and that has been said
		}
		m.Timecode = true
		m.At, err = c.rack.Rate.Code().ParseLabel(op.Text)
		return m, c.readable("duration-unreadable", op, err)
	}
	return m, false
}

func (c *checker) readable(code diag.Code, op syntax.Operand, err error) bool {
	var m *timecode.Mistake
	if !errors.As(err, &m) {
		return true
	}
	d := diag.New(code, op.At, "%s", m.What)
	for _, w := range m.Write {
		d = d.Replace(op.At, w, false, "write `%s`", w)
	}
	if len(m.Write) == 0 {
		d = d.Mend("write hours, minutes and seconds, and the frames of a timecode, with two digits each")
	}
	c.add(d)
	return false
}

// shown checks that a cue fires at what a rehearsal says the clock or the
// timecode shows.
func (c *checker) shown(s *syntax.Step) {
	m, ok := c.readMoment(s.Time)
	if !ok {
		return
	}
	c.info.Shown[s] = m
	for _, has := range c.info.Moments {
		if has == m {
			return
		}
	}
	d := diag.New("moment-unknown", s.Time.At, "no cue fires at `%s`", s.Time.Text)
	var times []string
	for _, q := range c.timed {
		if c.info.Moments[q].Timecode == m.Timecode {
			times = append(times, q.Moment.Text)
		}
	}
	for _, t := range c.nearest(s.Time.Text, times) {
		d = d.Replace(s.Time.At, t, false, "write `%s`", t)
	}
	if len(d.Mends) == 0 {
		d = d.Mend("write the time of a cue, or give a cue this one")
	}
	c.add(d)
}
