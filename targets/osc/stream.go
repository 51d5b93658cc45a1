package osc

import (
	"context"
	"errors"
	"net"
	"sync"
	"time"

	"cuewright/targets/wire"
)

// streamSender sends framed packets over a TCP connection, which it dials when
// it has none. mu guards conn and closed; it is never held while Heard is
// called, and no other lock is taken under it.
//
// A salvo is one write. When the device has closed the connection in the
// meantime, the write that finds out is done again on a new one, but only if
// not a byte of it had left: a device must not be told twice.
type streamSender struct {
	Config
	framing Framing
	mu      sync.Mutex
	conn    net.Conn
	closed  bool
	frames  []byte
	reading sync.WaitGroup
}

func (s *streamSender) Send(ctx context.Context, packets [][]byte) error {
	packets, err := s.salvo(packets)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.frames = s.frames[:0]
	for _, p := range packets {
		s.frames = AppendFrame(s.frames, s.framing, p)
	}
	until := s.until(ctx)
	fresh := s.conn == nil
	n, err := s.write(ctx, until)
	if err != nil && n == 0 && !fresh && ctx.Err() == nil && time.Now().Before(until) {
		_, err = s.write(ctx, until)
	}
	if ctx.Err() == context.Canceled && err != nil {
		return ctx.Err()
	}
	return wire.Classify(s.who(), err)
}

// write writes the frames, and gives the connection up when that fails.
func (s *streamSender) write(ctx context.Context, until time.Time) (int, error) {
	if err := s.dial(ctx, until); err != nil {
		return 0, err
	}
	conn := s.conn
	_ = conn.SetWriteDeadline(until)
	stop := context.AfterFunc(ctx, func() { _ = conn.SetWriteDeadline(time.Unix(1, 0)) })
	n, err := conn.Write(s.frames)
	stop()
	if err != nil {
		_ = conn.Close()
		s.conn = nil
	}
	return n, err
}

func (s *streamSender) dial(ctx context.Context, until time.Time) error {
	if s.closed {
		return &wire.Fault{Code: "device-hung-up", What: errClosed.Error(), Err: errClosed}
	}
	if s.conn != nil {
		return nil
	}
	d := net.Dialer{Deadline: until, KeepAlive: 5 * time.Second}
	conn, err := d.DialContext(ctx, "tcp", s.Address)
	if err != nil {
		return err
	}
	s.conn = conn
	s.reading.Go(func() { s.read(conn) })
	return nil
}

// read hears what the device sends, until the connection ends; then the next
// Send dials.
func (s *streamSender) read(conn net.Conn) {
	hear(conn, s.framing, s.Heard, From{Addr: addrPort(conn.RemoteAddr()), stream: &stream{conn: conn, framing: s.framing}})
	_ = conn.Close()
	s.mu.Lock()
	lost := s.conn == conn && !s.closed
	if s.conn == conn {
		s.conn = nil
	}
	s.mu.Unlock()
	if lost && s.Lost != nil {
		s.Lost()
	}
}

func (s *streamSender) Close() error {
	s.mu.Lock()
	s.closed = true
	if s.conn != nil {
		_ = s.conn.Close()
		s.conn = nil
	}
	s.mu.Unlock()
	s.reading.Wait()
	return nil
}

// hear gives the packets of a stream to h until the stream ends.
func hear(conn net.Conn, f Framing, h Handler, from From) {
	r := NewFrameReader(&pacedConn{Conn: conn}, f, 0)
	for {
		packet, err := r.Next()
		switch {
		case errors.Is(err, ErrFrameDropped):
		case err != nil:
			return
		case h != nil:
			h(packet, from)
		}
	}
}
