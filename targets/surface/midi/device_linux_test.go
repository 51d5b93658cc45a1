package midi

import (
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"golang.org/x/term"

	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// terminal is a raw pseudo-terminal: a real character device, which can be
// waited for, written to and pulled out. The test holds the other end.
func terminal(t *testing.T) (other *os.File, path string) {
	t.Helper()
	fd, err := unix.Open("/dev/ptmx", unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
		t.Fatal(err)
	}
	n, err := unix.IoctlGetInt(fd, unix.TIOCGPTN)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := term.MakeRaw(fd); err != nil {
		t.Fatal(err)
	}
	other = os.NewFile(uintptr(fd), "terminal")
	t.Cleanup(func() { _ = other.Close() })
	return other, fmt.Sprintf("/dev/pts/%d", n)
}

// TestDevice: a device gets all lamps when it is there, its notes press, what
// changes is told, and when it is pulled out its fingers come up.
func TestDevice(t *testing.T) {
	other, path := terminal(t)
	d := surfacetest.New(t, surfacetest.Show(t))
	start(t, d, Config{File: path, Surface: "desk"})
	read := func(n int) string {
		t.Helper()
		_ = other.SetReadDeadline(time.Now().Add(5 * time.Second))
		b := make([]byte, n)
		if _, err := io.ReadFull(other, b); err != nil {
			t.Fatal(err)
		}
		return notes(b)
	}
	if got := read(3 * 15); !strings.HasPrefix(got, "ch1 36:127 on, ch1 37:0 off") {
		t.Errorf("at first %s", got)
	}
	if _, err := other.Write(bytesOf(t, "90 25 7F FE 25 00 26 7F")); err != nil {
		t.Fatal(err)
	}
	if got := read(3); got != "ch1 37:25 on" {
		t.Errorf("then %s", got)
	}
	d.Await(t, "Talk is down", func(*surface.View) bool { return pressed(d) == "Goal down, Goal up, Talk down" })
	_ = other.Close()
	d.Await(t, "Talk came up", func(*surface.View) bool { return pressed(d) == "Goal down, Goal up, Talk down, Talk up" })
}
