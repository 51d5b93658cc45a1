package osc

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"syscall"
	"time"

	"cuewright/macro/diag"
	"cuewright/targets/wire"
)

// Sender sends packets to one device. Send gives all packets of a salvo to the
// network together and in order, and returns when they are on their way; its
// errors are *wire.Fault, or ctx's own when it was cancelled. It may be called
// from several goroutines; salvos do not mix. Close ends it and its
// goroutines, and may be called twice.
type Sender interface {
	Send(ctx context.Context, packets [][]byte) error
	Close() error
}

// Config says how a sender reaches its device.
type Config struct {
	Name     string        // the device's, for errors
	Wire     string        // osc.udp, osc.tcp or osc.slip
	Address  string        // host:port
	Deadline time.Duration // for one salvo, dialling included; 0 is DefaultDeadline
	Bundle   bool          // send a salvo of several packets as one bundle, when it fits

	// Heard, when set, is given what the device sends back on the same socket
	// or connection. It is called from one goroutine at a time.
	Heard Handler

	// Lost, when set, is called when a connection has ended while nothing was
	// sent, because the device did that or what it said was out of step. It must
	// not call the sender.
	Lost func()
}

// DefaultDeadline is the time that one salvo may take.
const DefaultDeadline = 2 * time.Second

// NewSender makes a sender. It does not dial: that is done by the first Send.
func NewSender(c Config) (Sender, error) {
	if _, _, err := net.SplitHostPort(c.Address); err != nil {
		return nil, fmt.Errorf("`%s` is not host:port", c.Address)
	}
	if c.Deadline <= 0 {
		c.Deadline = DefaultDeadline
	}
	switch c.Wire {
	case "osc.udp":
		return &udpSender{Config: c, news: make(chan struct{}, 1)}, nil
	case "osc.tcp":
		return &streamSender{Config: c, framing: Sized}, nil
	case "osc.slip":
		return &streamSender{Config: c, framing: SLIP}, nil
	}
	return nil, fmt.Errorf("`%s` is not a wire for OSC", c.Wire)
}

var errClosed = errors.New("the sender is closed")

func (c *Config) who() string { return wire.Who(c.Name, c.Address) }

func (c *Config) fault(code diag.Code, format string, args ...any) error {
	return &wire.Fault{Code: code, What: fmt.Sprintf(format, args...)}
}

// salvo is the packets as they are sent: one bundle when that is wanted and
// fits, else each by itself.
func (c *Config) salvo(packets [][]byte) ([][]byte, error) {
	for _, p := range packets {
		if len(p) > MaxPacket {
			return nil, c.fault("oversized-message", "a message of %d bytes is too long to be sent to %s", len(p), c.who())
		}
	}
	if c.Bundle && len(packets) > 1 {
		if b, err := AppendBundle(nil, Immediately, packets...); err == nil {
			return [][]byte{b}, nil
		}
	}
	return packets, nil
}

// until is the moment by which a Send of now must be done.
func (c *Config) until(ctx context.Context) time.Time {
	until := time.Now().Add(c.Deadline)
	if d, ok := ctx.Deadline(); ok && d.Before(until) {
		return d
	}
	return until
}

// udpSender sends datagrams from one connected socket. mu guards conn, deadline, refused
// and closed; it is never held while Heard is called, and no other lock is
// taken under it.
//
// A datagram that nobody takes comes back as a refusal some time after it was
// sent. Refused waits for it; else the next Send reports it as an Earlier
// fault, after having sent its own packets.
type udpSender struct {
	Config
	mu       sync.Mutex
	conn     *net.UDPConn
	deadline time.Time // conn's, for writing
	refused  error
	news     chan struct{} // holds one when refused was set
	closed   bool
	reading  sync.WaitGroup
}

// Refuser is a Sender whose packets may come back as refused some time after
// they were sent, as datagrams do.
type Refuser interface {
	Sender
	// Refused waits for a refusal of what was sent before, and gives it; nil
	// when none has come in that time.
	Refused(wait time.Duration) error
}

var _ Refuser = (*udpSender)(nil)

func (s *udpSender) Send(ctx context.Context, packets [][]byte) error {
	packets, err := s.salvo(packets)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.dial(ctx); err != nil {
		return wire.Classify(s.who(), err)
	}
	s.hurry(s.until(ctx))
	var own error
	earlier := s.refused
	s.refused = nil
	for i, p := range packets {
		refused, err := s.write(p)
		switch {
		case refused != nil && i == 0:
			earlier = refused
		case refused != nil:
			own = refused
		}
		if err != nil {
			_ = s.conn.Close() // our own address may have changed: dial again next time
			s.conn = nil
			return wire.Classify(s.who(), err)
		}
	}
	if own == nil && earlier == nil {
		return nil // without a word made for a fault that is none
	}
	if own != nil {
		return wire.Classify(s.who(), own)
	}
	err = wire.Classify(s.who(), earlier)
	var f *wire.Fault
	if errors.As(err, &f) {
		f.Earlier = true
	}
	return err
}

// hurry gives what is sent until then, or half of that time at least: to set
// the deadline of a socket takes as long as all else that is done for a press.
func (s *udpSender) hurry(until time.Time) {
	if left := time.Until(s.deadline); s.deadline.After(until) || left < time.Until(until)/2 {
		s.deadline = until
		_ = s.conn.SetWriteDeadline(until)
	}
}

// write sends one datagram. Refused is what became of an earlier one, when the
// system said so instead of sending this one, which is then sent again.
func (s *udpSender) write(packet []byte) (refused, err error) {
	const tries = 3
	for range tries {
		if _, err = s.conn.Write(packet); err == nil || refused != nil && !errors.Is(err, syscall.ECONNREFUSED) {
			break
		}
		refused = err
	}
	return refused, err
}

func (s *udpSender) Refused(wait time.Duration) error {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	for {
		s.mu.Lock()
		err := s.refused
		s.refused = nil
		s.mu.Unlock()
		if err != nil {
			return wire.Classify(s.who(), err)
		}
		select {
		case <-s.news:
		case <-timer.C:
			return nil
		}
	}
}

func (s *udpSender) dial(ctx context.Context) error {
	if s.closed {
		return &wire.Fault{Code: "device-hung-up", What: errClosed.Error(), Err: errClosed}
	}
	if s.conn != nil {
		return nil
	}
	d := net.Dialer{Deadline: s.until(ctx)}
	conn, err := d.DialContext(ctx, "udp", s.Address)
	if err != nil {
		return err
	}
	udp := conn.(*net.UDPConn)
	s.conn, s.deadline = udp, time.Time{}
	s.reading.Go(func() { s.read(udp) })
	return nil
}

// read hears the device's answers and the refusals, until the socket is closed.
func (s *udpSender) read(conn *net.UDPConn) {
	buf := make([]byte, MaxPacket+4)
	from := From{Addr: addrPort(conn.RemoteAddr()), dialled: conn}
	var held pace
	for {
		n, err := conn.Read(buf)
		held.read(n)
		switch {
		case errors.Is(err, net.ErrClosed):
			return
		case err != nil:
			s.mu.Lock()
			s.refused = err
			s.mu.Unlock()
			select {
			case s.news <- struct{}{}:
			default: // there is news already
			}
			time.Sleep(errorPause)
		case s.Heard != nil:
			s.Heard(buf[:n], from)
		}
	}
}

func (s *udpSender) Close() error {
	s.mu.Lock()
	s.closed = true
	if s.conn != nil {
		_ = s.conn.Close() // a second Close says that it is closed, no more
	}
	s.mu.Unlock()
	s.reading.Wait()
	return nil
}
