package keys

import (
	"os"

	"golang.org/x/sys/unix"
)

// eviocgrab is EVIOCGRAB, _IOW('E', 0x90, int) of include/uapi/linux/input.h.
const eviocgrab = 1<<30 | 4<<16 | 'E'<<8 | 0x90

// grab makes a keyboard ours alone until it is closed.
func grab(f *os.File) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var bad error
	err = raw.Control(func(fd uintptr) { bad = unix.IoctlSetInt(int(fd), eviocgrab, 1) })
	if err != nil {
		return err
	}
	return bad
}
