package surfacetest

import (
	"fmt"
	"os"
	"testing"

	"golang.org/x/sys/unix"
	"golang.org/x/term"
)

// Terminal is a raw pseudo-terminal: a real character device, which can be
// waited for, written to and pulled out. The test holds the other end.
func Terminal(t testing.TB) (other *os.File, path string) {
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
