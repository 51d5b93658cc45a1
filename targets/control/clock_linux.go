package control

import (
	"fmt"
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
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &ts); err != nil {
		_ = unix.Close(fd)
		return nil, fmt.Errorf("the clock of the system cannot be read: %w", err)
	}
	a := &kernelAlarm{fd: fd, file: os.NewFile(uintptr(fd), "timer"), ring: make(chan struct{}, 1)}
	a.base = ts.Nano() - c.now()*int64(time.Microsecond)
	a.reading.Go(a.read)
	return a, nil
}

type kernelAlarm struct {
	fd      int
	file    *os.File
	base    int64 // the kernel's clock at power-on, in nanoseconds; it may be negative
	ring    chan struct{}
	reading sync.WaitGroup
}

func (a *kernelAlarm) set(due int64) {
	var spec unix.ItimerSpec
	if due >= 0 {
		// A moment that has passed rings at once; zero would switch the timer off.
		spec.Value = unix.NsecToTimespec(max(1, a.base+due*int64(time.Microsecond)))
	}
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
		ring(a.ring)
	}
}

func (a *kernelAlarm) close() {
	_ = a.file.Close()
	a.reading.Wait()
}
