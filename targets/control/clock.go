package control

import (
	"sync/atomic"
	"time"
)

// clock is the show's time: microseconds since power-on, by a clock that
// nobody can set.
type clock interface {
	now() int64
	alarm() (alarm, error)
	wall() time.Time // what the clock on the wall shows, which people and networks set
	shift(by int64)  // puts it on, or back
}

// alarm rings once at a moment of a clock, never before it. Only the
// owner of the show uses it.
type alarm interface {
	set(due int64, exactly bool) // instead of what was set; state.Off is never; exactly costs a second waking
	rings() <-chan struct{}      // may ring once too often
	close()
}

// monotonic is time since a start, of which `at` microseconds of show time
// had passed.
type monotonic struct {
	start time.Time
	at    atomic.Int64
}

func startClock(at int64) *monotonic {
	c := &monotonic{start: time.Now()}
	c.at.Store(at)
	return c
}

func (c *monotonic) now() int64 { return c.at.Load() + time.Since(c.start).Microseconds() }

func (c *monotonic) shift(by int64) { c.at.Add(by) }

// wall has no reading of the monotonic clock, so that it is what was set.
func (c *monotonic) wall() time.Time { return time.Now().Round(0) }

// timerAlarm is an alarm by the runtime's timers, for systems without a better
// one.
type timerAlarm struct {
	clock *monotonic
	timer *time.Timer
	ring  chan struct{}
}

func newTimerAlarm(c *monotonic) *timerAlarm {
	return &timerAlarm{clock: c, ring: make(chan struct{}, 1)}
}

func (a *timerAlarm) set(due int64, _ bool) {
	if a.timer != nil {
		a.timer.Stop()
	}
	if due < 0 {
		return
	}
	wait := time.Until(a.clock.start.Add(time.Duration(due-a.clock.at.Load()) * time.Microsecond))
	if a.timer == nil {
		a.timer = time.AfterFunc(wait, func() { ring(a.ring) })
		return
	}
	a.timer.Reset(wait)
}

func (a *timerAlarm) rings() <-chan struct{} { return a.ring }

func (a *timerAlarm) close() {
	if a.timer != nil {
		a.timer.Stop()
	}
}

func ring(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
