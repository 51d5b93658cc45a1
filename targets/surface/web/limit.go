package web

import (
	"net"
	"net/netip"
	"sync"
)

// limited is a listener with at most maxConnections open ones, and maxEach of
// one site (see there); what is too much is closed at once. Its lock is taken under no
// other and no other under it.
type limited struct {
	net.Listener
	mu   sync.Mutex
	all  int
	each map[netip.Addr]int
}

func newLimited(l net.Listener) *limited {
	return &limited{Listener: l, each: map[netip.Addr]int{}}
}

// Accept is the next connection that may stay.
func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := site(c.RemoteAddr().(*net.TCPAddr).AddrPort().Addr().Unmap())
		if l.take(from) {
			return &counted{Conn: c, gone: sync.OnceFunc(func() { l.give(from) })}, nil
		}
		_ = c.Close()
	}
}

func (l *limited) take(from netip.Addr) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all >= maxConnections || l.each[from] >= maxEach {
		return false
	}
	l.all++
	l.each[from]++
	return true
}

func (l *limited) give(from netip.Addr) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.each[from]--; l.each[from] == 0 {
		delete(l.each, from)
	}
}

// counted is a connection that makes room when it is closed.
type counted struct {
	net.Conn
	gone func()
}

// Close closes it.
func (c *counted) Close() error {
	err := c.Conn.Close()
	c.gone()
	return err
}
