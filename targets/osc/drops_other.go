//go:build !linux

package osc

import "net"

func dropped(*net.UDPConn) (uint64, bool) { return 0, false }
