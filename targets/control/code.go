package control

import (
	"fmt"
	"sync"
	"time"

	"cuewright/macro/program"
	"cuewright/macro/timecode"
	"cuewright/sim/story"
	"cuewright/targets/chase"
	"cuewright/targets/surface"
)

// moves keeps what a timecode does until the loop takes it: a source that
// floods costs a turn at a time. mu is taken under no other lock and no other
// under it.
type moves struct {
	mu  sync.Mutex
	all []chase.Move
}

// mostMoves is how many jumps are kept. What comes on top is one jump.
const mostMoves = 16

// put says true when there was nothing: then the loop has to be told.
func (b *moves) put(m chase.Move) (first bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := len(b.all)
	switch {
	case n > 0 && !m.Jumped && m.Rate == b.all[n-1].Rate:
		m.Ran += b.all[n-1].Ran
		m.Jumped, m.Was = b.all[n-1].Jumped, b.all[n-1].Was
		b.all[n-1] = m
	case n == mostMoves:
		m.Jumped, m.Was = true, b.all[0].Was
		b.all = append(b.all[:0], m)
	default:
		b.all = append(b.all, m)
	}
	return n == 0
}

func (b *moves) take() []chase.Move {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := b.all
	b.all = nil
	return all
}

// Timecode hears where a timecode is. It does not wait.
func (c *Controller) Timecode(m chase.Move) {
	if c.moves.put(m) {
		c.post(func() {
			for _, m := range c.moves.take() {
				c.follow(m)
			}
		})
	}
}

// follow does what a timecode brings: cues whose frame it runs through
// forwards are fired, those that it jumps over are told.
func (c *Controller) follow(m chase.Move) {
	was := chase.Move{}
	if c.code != nil {
		was = *c.code
	}
	c.dirty = c.dirty || c.code == nil || m.State != was.State || m.Jumped || m.Back != was.Back
	c.code = &m
	if c.stopping || c.idle() != "" {
		return // another one leads, or nobody
	}
	rate := timecode.Rate(c.show.p.Rate).Code()
	fits := m.Rate.Nominal() == rate.Nominal() && m.Rate.Drop == rate.Drop
	if !fits {
		if goes := m.State == chase.Locked && (was.State != chase.Locked || was.Rate != m.Rate); goes && c.byTimecode() {
			c.alert("controller", fmt.Sprintf("the timecode counts as at %s, and the show as at %s: it fires nothing", m.Rate, rate))
		}
		return
	}
	day := rate.FramesPerDay()
	for i := range c.show.p.Cues {
		q := &c.show.p.Cues[i]
		if q.By != program.ByTimecode {
			continue
		}
		switch before := (m.Frame - q.Moment + day) % day; {
		case before < m.Ran:
			if c.idle() != "" {
				c.pair.passed(int32(i))
			} else {
				c.strike(int32(i), c.show.state.Now)
			}
		case m.Jumped && m.Was >= 0 && q.Moment > m.Was && q.Moment <= m.Frame && c.armed(int32(i)):
			c.alert("controller", "the timecode has jumped over "+c.momentWords(int32(i))+": it is not fired")
		}
	}
}

// byTimecode says whether any cue goes by the timecode.
func (c *Controller) byTimecode() bool {
	for i := range c.show.p.Cues {
		if c.show.p.Cues[i].By == program.ByTimecode {
			return true
		}
	}
	return false
}

// codeView is what surfaces show of the timecode.
func (c *Controller) codeView() surface.Code {
	v := surface.Code{Next: -1}
	if c.code != nil {
		v.State, v.Back = c.code.State.String(), c.code.Back
		if c.code.Frame >= 0 {
			v.Label = c.code.Rate.Label(c.code.Frame)
		}
	}
	for i := range c.show.p.Cues {
		if q := &c.show.p.Cues[i]; q.By == program.ByTimecode && c.armed(int32(i)) {
			v.Next = int32(i)
			break
		}
	}
	return v
}

// clockView is the next cue that the clock fires, or nil.
func (c *Controller) clockView() *surface.ClockCue {
	m := c.show.moments
	if c.idle() != "" { // who does not lead only shows it
		m = newMoments(c.show.p)
		m.look(c.show.p, 0, c.clock.wall().UnixMicro())
	}
	x := m.first(c.armed)
	if x == nil || m.wall == 0 {
		return nil
	}
	return &surface.ClockCue{Cue: x.cue, Due: time.UnixMicro(x.due), At: story.MomentOf(c.show.p, x.cue)}
}
