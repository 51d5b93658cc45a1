package systemd

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// manager is a service manager that hears: a datagram socket of a name.
func manager(t *testing.T, name string) *net.UnixConn {
	t.Helper()
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// hears is the next message to a manager.
func hears(t *testing.T, conn *net.UnixConn) string {
	t.Helper()
	_ = conn.SetReadDeadline(time.Now().Add(5 * time.Second))
	buf := make([]byte, 4096)
	n, err := conn.Read(buf)
	if err != nil {
		t.Fatal(err)
	}
	return string(buf[:n])
}

// silent says that nothing waits for a manager.
func silent(t *testing.T, conn *net.UnixConn) {
	t.Helper()
	_ = conn.SetReadDeadline(time.Now().Add(time.Millisecond))
	buf := make([]byte, 4096)
	if n, err := conn.Read(buf); err == nil {
		t.Errorf("the manager was told %q", buf[:n])
	}
}

func env(pairs ...string) func(string) string {
	return func(name string) string {
		for i := 0; i < len(pairs); i += 2 {
			if pairs[i] == name {
				return pairs[i+1]
			}
		}
		return ""
	}
}

// TestTold: the messages are those of sd_notify(3), to a path and to an
// abstract name (unix(7)).
func TestTold(t *testing.T) {
	for kind, name := range map[string]string{
		"path":     filepath.Join(t.TempDir(), "notify"),
		"abstract": fmt.Sprintf("@cuewright-test-%d", os.Getpid()),
	} {
		t.Run(kind, func(t *testing.T) {
			conn := manager(t, name)
			m, err := FromEnvironment(env("NOTIFY_SOCKET", name), 1)
			if err != nil {
				t.Fatal(err)
			}
			for _, c := range []struct {
				tell func() error
				want string
			}{
				{m.Ready, "READY=1\n"},
				{m.Reloading, "RELOADING=1\n"},
				{m.Stopping, "STOPPING=1\n"},
				{func() error { return m.Status("two\nlines, ü") }, "STATUS=two lines, ü\n"},
			} {
				if err := c.tell(); err != nil {
					t.Fatal(err)
				}
				if got := hears(t, conn); got != c.want {
					t.Errorf("got %q, want %q", got, c.want)
				}
			}
		})
	}
}

// TestWatchdog: turns are told to the manager, no more often than a third of
// its patience, and only when it watches this process.
func TestWatchdog(t *testing.T) {
	name := filepath.Join(t.TempDir(), "notify")
	conn := manager(t, name)
	m, err := FromEnvironment(env("NOTIFY_SOCKET", name, "WATCHDOG_USEC", "3600000000", "WATCHDOG_PID", "7"), 7)
	if err != nil || m.Watched() != time.Hour {
		t.Fatal(m.Watched(), err)
	}
	m.Turned()
	if got := hears(t, conn); got != "WATCHDOG=1\n" {
		t.Errorf("got %q", got)
	}
	m.Turned() // at once again: not told
	silent(t, conn)
	m.last = time.Now().Add(-20 * time.Minute)
	m.Turned()
	if got := hears(t, conn); got != "WATCHDOG=1\n" {
		t.Errorf("got %q", got)
	}
	other, err := FromEnvironment(env("NOTIFY_SOCKET", name, "WATCHDOG_USEC", "3600000000", "WATCHDOG_PID", "8"), 7)
	if err != nil || other.Watched() != 0 {
		t.Error("another process is watched, not this one")
	}
	other.Turned()
	silent(t, conn)
}

// TestNobody: without a manager nothing is told, and nothing fails.
func TestNobody(t *testing.T) {
	m, err := FromEnvironment(env(), 1)
	if m != nil || err != nil {
		t.Fatal(m, err)
	}
	m.Turned()
	if m.Ready() != nil || m.Stopping() != nil || m.Watched() != 0 {
		t.Error("nobody was told something")
	}
}

// TestManagerGone: a ping that did not get through is tried again by the next
// turn, whatever the interval.
func TestManagerGone(t *testing.T) {
	name := filepath.Join(t.TempDir(), "notify")
	m, err := FromEnvironment(env("NOTIFY_SOCKET", name, "WATCHDOG_USEC", "3600000000"), 1)
	if err != nil {
		t.Fatal(err)
	}
	if m.Ready() == nil {
		t.Error("nobody listens, and that was not said")
	}
	m.Turned()
	conn := manager(t, name)
	m.Turned()
	if got := hears(t, conn); got != "WATCHDOG=1\n" {
		t.Errorf("got %q", got)
	}
}

// TestBadEnvironment: what cannot be understood is said, in words.
func TestBadEnvironment(t *testing.T) {
	for _, c := range []struct {
		env  func(string) string
		want string
	}{
		{env("NOTIFY_SOCKET", "vsock:2:1234"), "only a path"},
		{env("NOTIFY_SOCKET", "@"), "only a path"},
		{env("NOTIFY_SOCKET", "relative"), "only a path"},
		{env("NOTIFY_SOCKET", "/x", "WATCHDOG_USEC", "soon"), "no time that can be kept to"},
		{env("NOTIFY_SOCKET", "/x", "WATCHDOG_USEC", "0"), "no time that can be kept to"},
		{env("NOTIFY_SOCKET", "/x", "WATCHDOG_USEC", "9223372036854775807"), "no time that can be kept to"},
	} {
		if _, err := FromEnvironment(c.env, 1); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want %s", err, c.want)
		}
	}
}
