package osc

import (
	"errors"
	"net"
	"net/netip"
	"sync"
	"time"
)

// Handler is given each packet as it came, not yet decoded, and who sent it.
// The packet is good during the call only.
type Handler func(packet []byte, from From)

// From is who sent a packet. It can be kept and compared.
type From struct {
	Addr    netip.AddrPort
	socket  *net.UDPConn // a listening socket
	dialled *net.UDPConn // a connected one
	stream  *stream
}

// Reply sends a packet back on the socket or connection that it came by.
func (f From) Reply(packet []byte) error {
	switch {
	case f.stream != nil:
		return f.stream.send(packet)
	case f.dialled != nil:
		_, err := f.dialled.Write(packet)
		return err
	case f.socket != nil:
		_, err := f.socket.WriteToUDPAddrPort(packet, f.Addr)
		return err
	}
	return net.ErrClosed
}

// stream writes whole frames to a connection, from any goroutine. Its lock is
// taken under no other and no other under it.
type stream struct {
	mu      sync.Mutex
	conn    net.Conn
	framing Framing
	frame   []byte
}

// replyWithin is how long a peer that does not read can hold a reply up.
const replyWithin = time.Second

func (s *stream) send(packet []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.frame = AppendFrame(s.frame[:0], s.framing, packet)
	_ = s.conn.SetWriteDeadline(time.Now().Add(replyWithin))
	_, err := s.conn.Write(s.frame)
	if err != nil {
		_ = s.conn.Close() // half a frame may have gone: nothing after it could be read
	}
	return err
}

// receiveBuffer is the size asked for a socket's receive buffer, in bytes. The
// system's default holds only 256 small datagrams; it may grant less than this.
const receiveBuffer = 4 << 20

// maxConnections is how many TCP connections a receiver keeps; later ones are
// closed at once.
const maxConnections = 64

// errorPause keeps a socket that fails over and over from using the processor.
const errorPause = 10 * time.Millisecond

// Receiver listens until Close, which returns when its last handler has.
type Receiver struct {
	addr    netip.AddrPort
	close   func() error
	dropped func() (uint64, bool)
	running sync.WaitGroup
}

// Addr is the address it listens at, with the port the system chose.
func (r *Receiver) Addr() netip.AddrPort { return r.addr }

// Dropped is how many datagrams found no room in the socket's buffer. It is
// false where there are no datagrams or the system does not tell.
func (r *Receiver) Dropped() (uint64, bool) {
	if r.dropped == nil {
		return 0, false
	}
	return r.dropped()
}

// Close stops listening and waits for its goroutines. It must not be called
// from a handler.
func (r *Receiver) Close() error {
	err := r.close()
	r.running.Wait()
	return err
}

// ListenUDP gives the datagrams that come to addr (host:port) to h, one after
// the other.
func ListenUDP(addr string, h Handler) (*Receiver, error) {
	at, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		return nil, err
	}
	conn, err := net.ListenUDP("udp", at)
	if err != nil {
		return nil, err
	}
	_ = conn.SetReadBuffer(receiveBuffer) // what is granted is the system's to say
	r := &Receiver{addr: addrPort(conn.LocalAddr()), close: conn.Close, dropped: func() (uint64, bool) { return dropped(conn) }}
	r.running.Go(func() {
		buf := make([]byte, MaxPacket+4) // a datagram that is too long shows by being longer
		for {
			n, from, err := conn.ReadFromUDPAddrPort(buf)
			if errors.Is(err, net.ErrClosed) {
				return
			}
			if err != nil {
				time.Sleep(errorPause)
				continue
			}
			h(buf[:n], From{Addr: unmap(from), socket: conn})
		}
	})
	return r, nil
}

// ListenTCP gives the packets of every connection to addr to h: in order for
// each connection, from several goroutines for several. A connection that is
// out of step is closed.
func ListenTCP(addr string, f Framing, h Handler) (*Receiver, error) {
	return ListenTCPFrom(addr, f, func(netip.AddrPort) bool { return true }, h)
}

// ListenTCPFrom is ListenTCP of those who are let in. Everybody else's
// connection is closed before anything is read, and takes no place.
func ListenTCPFrom(addr string, f Framing, letIn func(netip.AddrPort) bool, h Handler) (*Receiver, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, err
	}
	open := &connections{all: map[net.Conn]bool{}}
	r := &Receiver{addr: addrPort(l.Addr())}
	r.close = func() error {
		err := l.Close()
		open.closeAll()
		return err
	}
	r.running.Go(func() {
		for {
			conn, err := l.Accept()
			if errors.Is(err, net.ErrClosed) {
				return
			}
			if err != nil { // out of file descriptors, perhaps: they come back
				time.Sleep(errorPause)
				continue
			}
			if !letIn(addrPort(conn.RemoteAddr())) || !open.add(conn) {
				_ = conn.Close()
				continue
			}
			r.running.Go(func() {
				defer open.remove(conn)
				hear(conn, f, h, From{Addr: addrPort(conn.RemoteAddr()), stream: &stream{conn: conn, framing: f}})
			})
		}
	})
	return r, nil
}

// connections is the open connections of a receiver. Its lock is taken under
// no other and no other under it.
type connections struct {
	mu     sync.Mutex
	all    map[net.Conn]bool
	closed bool
}

func (c *connections) add(conn net.Conn) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed || len(c.all) >= maxConnections {
		return false
	}
	c.all[conn] = true
	return true
}

func (c *connections) remove(conn net.Conn) {
	_ = conn.Close()
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.all, conn)
}

func (c *connections) closeAll() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed = true
	for conn := range c.all {
		_ = conn.Close()
	}
}

func addrPort(a net.Addr) netip.AddrPort {
	switch a := a.(type) {
	case *net.UDPAddr:
		return unmap(a.AddrPort())
	case *net.TCPAddr:
		return unmap(a.AddrPort())
	}
	return netip.AddrPort{}
}

func unmap(a netip.AddrPort) netip.AddrPort {
	return netip.AddrPortFrom(a.Addr().Unmap(), a.Port())
}
