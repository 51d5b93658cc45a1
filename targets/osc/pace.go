package osc

import (
	"net"
	"time"
)

// pace holds back a goroutine that reads from a peer which sends without end,
// so that a flood takes a small part of the processor: what comes by TCP waits
// at the sender, datagrams are lost. The zero value is ready.
type pace struct {
	taken int
	since time.Time
}

// What one peer may send: so many bytes a second in the long run, of which so
// many come at once. A read counts as some bytes more than it brings.
const (
	paceRate = 8 << 20
	paceStep = 256 << 10
	perRead  = 64
)

// read hears of n bytes that were read, and may wait for some milliseconds.
func (p *pace) read(n int) {
	if p.taken += n + perRead; p.taken < paceStep {
		return
	}
	now := time.Now()
	if ahead := time.Duration(p.taken)*time.Second/paceRate - now.Sub(p.since); ahead > 0 {
		time.Sleep(ahead)
		now = now.Add(ahead)
	}
	p.taken, p.since = 0, now
}

// pacedConn is a connection that is read no faster than pace lets it.
type pacedConn struct {
	net.Conn
	pace pace
}

func (c *pacedConn) Read(b []byte) (int, error) {
	n, err := c.Conn.Read(b)
	c.pace.read(n)
	return n, err
}
