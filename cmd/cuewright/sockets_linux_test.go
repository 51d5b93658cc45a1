package main

import (
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"unsafe"

	"golang.org/x/sys/unix"
)

func init() { scriptCommands["nosockets"] = noSockets }

// noSockets runs a command that the kernel ends with SIGSYS as soon as it
// opens a socket (seccomp, see the kernel's seccomp_filter.rst).
func noSockets() {
	const ( // the classic BPF of linux/filter.h
		loadWord  = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS
		jumpEqual = unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K
		give      = unix.BPF_RET | unix.BPF_K
		kill      = 0x80000000 // SECCOMP_RET_KILL_PROCESS
		allow     = 0x7fff0000 // SECCOMP_RET_ALLOW
	)
	filter := []unix.SockFilter{
		{Code: loadWord, K: 0}, // the number of the system call
		{Code: jumpEqual, K: unix.SYS_SOCKET, Jt: 0, Jf: 1},
		{Code: give, K: kill},
		{Code: give, K: allow},
	}
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	runtime.LockOSThread()
	path, err := exec.LookPath(os.Args[1])
	if err == nil {
		err = unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
	}
	if err == nil {
		err = unix.Prctl(unix.PR_SET_SECCOMP, unix.SECCOMP_MODE_FILTER, uintptr(unsafe.Pointer(&program)), 0, 0)
	}
	if err == nil {
		err = unix.Exec(path, os.Args[1:], os.Environ())
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(3)
}
