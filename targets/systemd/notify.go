// Package systemd is what a service has to do with the service manager of that
// name: it tells the manager how it is, and has the unit file that the manager
// starts it by.
//
// The messages are those of sd_notify(3) and sd_watchdog_enabled(3): lines
// NAME=VALUE in one datagram to the socket that NOTIFY_SOCKET names. Nothing
// else of the manager's interface is used.
package systemd

import (
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"
)

// Manager is told how this process is. A nil Manager is nobody: all its
// methods do nothing. Ready, Reloading, Stopping and Status may be called from
// any goroutine; Turned only from one.
type Manager struct {
	socket   *net.UnixAddr
	watchdog time.Duration // 0 when the manager does not watch
	last     time.Time     // of the pings; Turned's own
}

// sendWithin is how long the manager may take to make room for a message.
const sendWithin = 20 * time.Millisecond

// FromEnvironment is the manager that started this process, as the environment
// says; nil when none is to be told. pid is this process: WATCHDOG_PID says
// which one is watched.
func FromEnvironment(env func(string) string, pid int) (*Manager, error) {
	name := env("NOTIFY_SOCKET")
	switch {
	case name == "":
		return nil, nil
	case name[0] != '/' && name[0] != '@', len(name) < 2:
		return nil, fmt.Errorf("NOTIFY_SOCKET is `%s`: only a path, or @ and a name, is understood", name)
	}
	m := &Manager{socket: &net.UnixAddr{Name: name, Net: "unixgram"}}
	if who := env("WATCHDOG_PID"); who != "" && who != strconv.Itoa(pid) {
		return m, nil
	}
	text := env("WATCHDOG_USEC")
	if text == "" {
		return m, nil
	}
	micros, err := strconv.ParseInt(text, 10, 64)
	if err != nil || micros <= 0 || micros > int64(longestWatch/time.Microsecond) {
		return m, fmt.Errorf("WATCHDOG_USEC is `%s`: no time that can be kept to", text)
	}
	m.watchdog = time.Duration(micros) * time.Microsecond
	return m, nil
}

// longestWatch keeps WATCHDOG_USEC from running over.
const longestWatch = 24 * time.Hour

// Ready says that the service has started, or has loaded what it was to load.
func (m *Manager) Ready() error { return m.tell("READY=1") }

// Reloading says that it loads something anew; Ready has to follow.
func (m *Manager) Reloading() error { return m.tell("RELOADING=1") }

// Stopping says that it is about to end.
func (m *Manager) Stopping() error { return m.tell("STOPPING=1") }

// Status is a line for people who ask the manager how the service is.
func (m *Manager) Status(text string) error {
	return m.tell("STATUS=" + strings.Map(func(r rune) rune {
		if r < ' ' {
			return ' '
		}
		return r
	}, text))
}

// Watched is how long the manager waits for Turned before it takes the service
// for dead; 0 when it does not.
func (m *Manager) Watched() time.Duration {
	if m == nil {
		return 0
	}
	return m.watchdog
}

// Turned is for the loop that the service is: it has done a full turn, so it
// lives. The manager is told when a third of its patience has gone: the manual
// page advises half, and a turn may be a moment late. Nothing else ever tells
// it, so a loop that hangs is found out.
func (m *Manager) Turned() {
	if m == nil || m.watchdog == 0 {
		return
	}
	now := time.Now()
	if now.Sub(m.last) < m.watchdog/3 {
		return
	}
	if m.tell("WATCHDOG=1") == nil { // else the next turn tries again
		m.last = now
	}
}

// tell sends one message. The socket is found anew each time, as the manager
// may have made another.
func (m *Manager) tell(message string) error {
	if m == nil {
		return nil
	}
	conn, err := net.DialUnix("unixgram", nil, m.socket)
	if err != nil {
		return fmt.Errorf("the service manager cannot be told: %w", err)
	}
	_ = conn.SetWriteDeadline(time.Now().Add(sendWithin))
	_, err = conn.Write([]byte(message + "\n"))
	if closed := conn.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return fmt.Errorf("the service manager cannot be told: %w", err)
	}
	return nil
}
