package status

import (
	"fmt"
	"os"
)

// longestName is the most that a socket's name may have: sun_path of unix(7)
// less its NUL.
const longestName = 107

// reachable is a name for a socket in an open folder that is not too long: its
// path, or a name by way of the open folder.
func reachable(dir *os.File, socket string) string {
	if path := name(dir, socket); len(path) <= longestName {
		return path
	}
	return fmt.Sprintf("/proc/self/fd/%d/%s", dir.Fd(), socket)
}
