package osc

import (
	"bufio"
	"net"
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// dropped is how many datagrams the system had no room for in a socket's
// receive buffer: the last column of /proc/net/udp (proc(5)), which costs
// nothing while datagrams come. false when the system does not tell.
func dropped(conn *net.UDPConn) (uint64, bool) {
	raw, err := conn.SyscallConn()
	if err != nil {
		return 0, false
	}
	var stat unix.Stat_t
	failed := raw.Control(func(fd uintptr) { err = unix.Fstat(int(fd), &stat) })
	if failed != nil || err != nil {
		return 0, false
	}
	inode := strconv.FormatUint(stat.Ino, 10)
	for _, name := range []string{"/proc/self/net/udp", "/proc/self/net/udp6"} {
		if n, ok := dropsIn(name, inode); ok {
			return n, true
		}
	}
	return 0, false
}

// The columns of the file, counted from 0.
const (
	inodeColumn = 9
	dropsColumn = 12
)

func dropsIn(name, inode string) (uint64, bool) {
	f, err := os.Open(name)
	if err != nil {
		return 0, false
	}
	defer f.Close()
	for lines := bufio.NewScanner(f); lines.Scan(); {
		column := strings.Fields(lines.Text())
		if len(column) > dropsColumn && column[inodeColumn] == inode {
			n, err := strconv.ParseUint(column[dropsColumn], 10, 64)
			return n, err == nil
		}
	}
	return 0, false
}
