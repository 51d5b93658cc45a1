//go:build !linux

package status

import "os"

func reachable(dir *os.File, socket string) string { return name(dir, socket) }
