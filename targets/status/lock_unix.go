//go:build unix

package status

import (
	"os"

	"golang.org/x/sys/unix"
)

// take locks a folder until it is closed or the process ends, however it does.
func take(dir *os.File) error { return unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
