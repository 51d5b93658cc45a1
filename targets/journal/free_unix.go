//go:build unix

package journal

import "golang.org/x/sys/unix"

// Free is how many bytes of the disk that dir is on can still be used by who
// is not its administrator.
func Free(dir string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
