package control

import (
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// BenchmarkLateness is how late waiting ends, turn by turn in one run: by the
// alarm that the loop has, and by other ways to wait. It reports how the alarm
// compares with the best of those at p50 and at p99.
func BenchmarkLateness(b *testing.B) {
	for _, period := range []time.Duration{time.Millisecond, 40 * time.Millisecond} {
		b.Run(period.String(), func(b *testing.B) { lateness(b, period) })
	}
}

func lateness(b *testing.B, period time.Duration) {
	c := startClock(0)
	system, err := c.alarm()
	if err != nil {
		b.Fatal(err)
	}
	defer system.close()
	own := newTimerAlarm(c)
	defer own.close()
	base, err := c.kernelBase()
	if err != nil {
		b.Fatal(err)
	}
	nap := newNapper(base)
	defer nap.close()
	by := func(a alarm) func(int64) {
		return func(due int64) {
			a.set(due, true)
			<-a.rings()
		}
	}
	until := func(due int64) time.Duration { return time.Until(c.start.Add(time.Duration(due) * time.Microsecond)) }
	ways := []struct {
		name string
		wait func(due int64)
	}{
		{"alarm", by(system)},
		{"timer", by(own)},
		{"sleep", func(due int64) { time.Sleep(until(due)) }},
		{"nanosleep", nap.until},
		{"sleep-then-nanosleep", func(due int64) {
			time.Sleep(until(due) - 1500*time.Microsecond)
			nap.until(due)
		}},
	}
	late := make([][]time.Duration, len(ways))
	for b.Loop() {
		for i, w := range ways {
			due := c.now() + period.Microseconds()
			w.wait(due)
			late[i] = append(late[i], -until(due))
		}
	}
	var best50, best99, alarm50, alarm99 float64
	for i, w := range ways {
		p50, p99 := quantiles(b, w.name, late[i])
		switch {
		case i == 0:
			alarm50, alarm99 = p50, p99
		case i == 1:
			best50, best99 = p50, p99
		default:
			best50, best99 = min(best50, p50), min(best99, p99)
		}
	}
	b.ReportMetric(alarm50/best50, "p50-to-best")
	b.ReportMetric(alarm99/best99, "p99-to-best")
}

// napper waits in a thread of its own, by clock_nanosleep(2) with an absolute
// deadline and the least timer slack that prctl(2) allows.
type napper struct {
	base  int64
	due   chan int64
	woken chan struct{}
}

func newNapper(base int64) *napper {
	n := &napper{base: base, due: make(chan int64), woken: make(chan struct{})}
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with its slack
		_ = unix.Prctl(unix.PR_SET_TIMERSLACK, 1, 0, 0, 0)
		for due := range n.due {
			at := unix.NsecToTimespec(n.base + due*int64(time.Microsecond))
			for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &at, nil) == unix.EINTR {
			}
			n.woken <- struct{}{}
		}
	}()
	return n
}

func (n *napper) until(due int64) {
	n.due <- due
	<-n.woken
}

func (n *napper) close() { close(n.due) }
