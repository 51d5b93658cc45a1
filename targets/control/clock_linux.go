package control

import (
	"fmt"
	"math"
	"os"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// alarm is a timer of the kernel with an absolute deadline (timerfd_create(2)),
// which Go's network poller waits for: it wakes its goroutine as a packet
// would, sooner than the runtime's own timers do.
func (c *monotonic) alarm() (alarm, error) {
	fd, err := unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_NONBLOCK|unix.TFD_CLOEXEC)
	if err != nil {
		return nil, fmt.Errorf("a timer of the system cannot be had: %w", err)
	}
	a := &kernelAlarm{clock: c, fd: fd, file: os.NewFile(uintptr(fd), "timer"), ring: make(chan struct{}, 1)}
	if a.base, err = c.kernelBase(); err != nil {
		_ = a.file.Close()
		return nil, err
	}
	a.reading.Go(a.read)
	return a, nil
}

// kernelBase is the kernel's clock when this one was started, in nanoseconds.
// Between reading the one and the other time passes, a lot of it when the
// processor is taken away just then: so the nearest of several readings counts,
// and ours is read first, so that what is left makes an alarm late, never early.
func (c *monotonic) kernelBase() (int64, error) {
	const readings = 16
	base := int64(math.MaxInt64)
	for range readings {
		var ts unix.Timespec
		at := time.Since(c.start).Nanoseconds()
		if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
			return 0, fmt.Errorf("the clock of the system cannot be read: %w", err)
		}
		base = min(base, ts.Nano()-at)
	}
	return base, nil
}

type kernelAlarm struct {
	fd      int
	file    *os.File
	base    int64 // the kernel's clock when ours started, in nanoseconds
	clock   *monotonic
	ring    chan struct{}
	reading sync.WaitGroup

	mu  sync.Mutex // taken under no other lock but the owner's; no other under it
	due int64      // in nanoseconds of the kernel's clock; 0 is never
}

// early is how long before an exact moment the timer goes off a first time, in
// nanoseconds. A processor that has rested for long wakes slowly; after this
// little it is still awake.
const early = int64(300 * time.Microsecond)

func (a *kernelAlarm) set(due int64, exactly bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.due = 0
	if due >= 0 {
		a.due = max(1, a.base+(due-a.clock.at.Load())*int64(time.Microsecond)) // a moment that has passed rings at once
	}
	if exactly && a.due > early {
		a.wind(a.due - early)
	} else {
		a.wind(a.due)
	}
}

// wind sets the timer; zero switches it off. The caller holds the lock.
func (a *kernelAlarm) wind(at int64) {
	spec := unix.ItimerSpec{Value: unix.NsecToTimespec(at)}
	_ = unix.TimerfdSettime(a.fd, unix.TFD_TIMER_ABSTIME, &spec, nil) // fails on a bad descriptor only
}

func (a *kernelAlarm) rings() <-chan struct{} { return a.ring }

// read waits for the timer until its file is closed.
func (a *kernelAlarm) read() {
	var count [8]byte
	for {
		if _, err := a.file.Read(count[:]); err != nil {
			return
		}
		if a.isDue() {
			ring(a.ring)
		}
	}
}

// isDue says whether the moment has come. Where it has not, the timer is set to
// it.
func (a *kernelAlarm) isDue() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	var now unix.Timespec
	if unix.ClockGettime(unix.CLOCK_MONOTONIC, &now) == nil && now.Nano() < a.due {
		a.wind(a.due)
		return false
	}
	return a.due > 0
}

func (a *kernelAlarm) close() {
	_ = a.file.Close()
	a.reading.Wait()
}
