package osc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"cuewright/targets/wire"
)

// heard collects what a handler is given. patience only ends a test that
// would hang.
type heard chan string

const patience = 10 * time.Second

func (h heard) handler(packet []byte, _ From) { h <- string(packet) }

func (h heard) next(t *testing.T) string {
	t.Helper()
	select {
	case p := <-h:
		return p
	case <-time.After(patience):
		t.Fatal("nothing was heard")
		return ""
	}
}

func listen(t *testing.T, wireName string, h Handler) *Receiver {
	t.Helper()
	return listenAt(t, wireName, "127.0.0.1:0", h)
}

func listenAt(t *testing.T, wireName, at string, h Handler) *Receiver {
	t.Helper()
	var r *Receiver
	var err error
	switch wireName {
	case "osc.udp":
		r, err = ListenUDP(at, h)
	case "osc.tcp":
		r, err = ListenTCP(at, Sized, h)
	default:
		r, err = ListenTCP(at, SLIP, h)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Close() })
	return r
}

func sender(t *testing.T, c Config) Sender {
	t.Helper()
	s, err := NewSender(c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

var wires = []string{"osc.udp", "osc.tcp", "osc.slip"}

func packets(t *testing.T, n int) [][]byte {
	t.Helper()
	var all [][]byte
	for i := range n {
		p, err := Encode(Message{"/route", []Arg{Int32(int32(i)), Int32(192)}})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	return all
}

func TestSalvoArrivesWholeAndInOrder(t *testing.T) {
	for _, w := range wires {
		t.Run(w, func(t *testing.T) {
			got := make(heard, 256)
			s := sender(t, Config{Wire: w, Address: listen(t, w, got.handler).Addr().String()})
			want := packets(t, 100)
			if err := s.Send(t.Context(), want); err != nil {
				t.Fatal(err)
			}
			for i, p := range want {
				if g := got.next(t); g != string(p) {
					t.Fatalf("packet %d is %q", i, g)
				}
			}
		})
	}
}

func TestSalvoAsOneBundle(t *testing.T) {
	for _, w := range wires {
		t.Run(w, func(t *testing.T) {
			got := make(heard, 16)
			s := sender(t, Config{Wire: w, Address: listen(t, w, got.handler).Addr().String(), Bundle: true})
			for _, n := range []int{3, 1} {
				if err := s.Send(t.Context(), packets(t, n)); err != nil {
					t.Fatal(err)
				}
				p, err := Decode([]byte(got.next(t)))
				if err != nil {
					t.Fatal(err)
				}
				if b, ok := p.(Bundle); ok != (n > 1) || ok && (len(b.Elements) != n || b.Time != Immediately) {
					t.Errorf("%d messages came as %v", n, p)
				}
			}
		})
	}
}

func TestAnswersComeBackOnTheSameWire(t *testing.T) {
	for _, w := range wires {
		t.Run(w, func(t *testing.T) {
			back := make(heard, 16)
			r := listen(t, w, func(p []byte, from From) {
				if err := from.Reply(p); err != nil {
					t.Error(err)
				}
			})
			s := sender(t, Config{Wire: w, Address: r.Addr().String(), Heard: back.handler})
			want := packets(t, 1)
			if err := s.Send(t.Context(), want); err != nil {
				t.Fatal(err)
			}
			if got := back.next(t); got != string(want[0]) {
				t.Errorf("got %q", got)
			}
		})
	}
}

func TestSenderAddressIsGiven(t *testing.T) {
	from := make(chan string, 1)
	r := listen(t, "osc.udp", func(_ []byte, f From) { from <- f.Addr.String() })
	conn, err := net.Dial("udp", r.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.Write(packets(t, 1)[0]); err != nil {
		t.Fatal(err)
	}
	if got := <-from; got != conn.LocalAddr().String() {
		t.Errorf("got %s, want %s", got, conn.LocalAddr())
	}
}

// A device that was switched off and on again is dialled anew.
func TestStreamSenderDialsAgain(t *testing.T) {
	for _, w := range wires[1:] {
		t.Run(w, func(t *testing.T) {
			got := make(heard, 256)
			first := listen(t, w, got.handler)
			s := sender(t, Config{Name: "deck", Wire: w, Address: first.Addr().String()})
			one := packets(t, 1)
			if err := s.Send(t.Context(), one); err != nil {
				t.Fatal(err)
			}
			got.next(t)
			if err := first.Close(); err != nil {
				t.Fatal(err)
			}
			untilRefused(t, s, one)
			listenAt(t, w, first.Addr().String(), got.handler)
			if err := s.Send(t.Context(), one); err != nil {
				t.Fatal(err)
			}
			if g := got.next(t); g != string(one[0]) {
				t.Errorf("got %q", g)
			}
		})
	}
}

// untilRefused sends until the sender has noticed that nothing listens.
func untilRefused(t *testing.T, s Sender, one [][]byte) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if wire.CodeOf(s.Send(t.Context(), one)) == "device-refused" {
			return
		}
	}
	t.Fatal("a closed port is not noticed")
}

func TestRefusedUDPIsReportedAndStillSent(t *testing.T) {
	got := make(heard, 256)
	first := listen(t, "osc.udp", got.handler)
	s := sender(t, Config{Name: "mixer", Wire: "osc.udp", Address: first.Addr().String()})
	_ = first.Close()
	one := packets(t, 1)
	untilRefused(t, s, one)
	listenAt(t, "osc.udp", first.Addr().String(), got.handler)
	// The refusal of what went before may still be reported; the packet goes out all the same.
	_ = s.Send(t.Context(), one)
	if g := got.next(t); g != string(one[0]) {
		t.Errorf("got %q", g)
	}
	for end := time.Now().Add(patience); s.Send(t.Context(), one) != nil; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("a refusal is reported for ever")
		}
	}
}

// A refusal can be waited for; one that nobody waited for is told as that of
// something earlier, and what was given with that call has gone out.
func TestRefusedIsToldOfWhatItIs(t *testing.T) {
	got := make(heard, 256)
	first := listen(t, "osc.udp", got.handler)
	address := first.Addr().String()
	s := sender(t, Config{Name: "mixer", Wire: "osc.udp", Address: address}).(Refuser)
	one := packets(t, 1)
	if err := s.Refused(time.Millisecond); err != nil {
		t.Errorf("refused before anything was sent: %v", err)
	}
	_ = first.Close()
	if err := s.Send(t.Context(), one); err != nil {
		t.Fatal(err)
	}
	if err := s.Refused(patience); wire.CodeOf(err) != "device-refused" {
		t.Errorf("got %v", err)
	}
	if err := s.Send(t.Context(), one); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(patience); ; time.Sleep(time.Millisecond) { // the refusal is under way
		if u := s.(*udpSender); func() bool { u.mu.Lock(); defer u.mu.Unlock(); return u.refused != nil }() {
			break
		} else if time.Now().After(end) {
			t.Fatal("a closed port is not noticed")
		}
	}
	listenAt(t, "osc.udp", address, got.handler)
	err := s.Send(t.Context(), one)
	var f *wire.Fault
	if !errors.As(err, &f) || !f.Earlier || f.Code != "device-refused" {
		t.Errorf("got %v", err)
	}
	if g := got.next(t); g != string(one[0]) {
		t.Errorf("got %q", g)
	}
}

func TestRefusedFaultNamesDeviceAndAddress(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	_ = l.Close()
	err = sender(t, Config{Name: "deck", Wire: "osc.tcp", Address: address}).Send(t.Context(), packets(t, 1))
	if wire.CodeOf(err) != "device-refused" || err.Error() != "`deck` at "+address+" refused: nothing listens there" {
		t.Errorf("got %v", err)
	}
}

// A peer that reads nothing fills the buffers; the deadline ends the wait.
func TestDeadlineOfStream(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := sender(t, Config{Wire: "osc.tcp", Address: l.Addr().String(), Deadline: 50 * time.Millisecond})
	big := make([][]byte, 200)
	for i := range big {
		big[i] = make([]byte, MaxPacket)
	}
	if err := s.Send(t.Context(), big); wire.CodeOf(err) != "device-no-answer" || !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("got %v", err)
	}
}

func TestCancelledSend(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := sender(t, Config{Wire: "osc.tcp", Address: l.Addr().String(), Deadline: patience})
	big := make([][]byte, 200)
	for i := range big {
		big[i] = make([]byte, MaxPacket)
	}
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		if conn, err := l.Accept(); err == nil {
			_, _ = io.ReadFull(conn, make([]byte, 1)) // the sender is writing
			cancel()
			<-t.Context().Done()
			_ = conn.Close()
		}
	}()
	if err := s.Send(ctx, big); !errors.Is(err, context.Canceled) || wire.CodeOf(err) != "" {
		t.Errorf("got %v", err)
	}
}

func TestSenderRefusesBadConfigAndLongPackets(t *testing.T) {
	for _, c := range []Config{{Wire: "osc.udp", Address: "nowhere"}, {Wire: "http", Address: "127.0.0.1:1"}} {
		if _, err := NewSender(c); err == nil {
			t.Errorf("%v is taken", c)
		}
	}
	s := sender(t, Config{Wire: "osc.udp", Address: "127.0.0.1:9"})
	if err := s.Send(t.Context(), [][]byte{make([]byte, MaxPacket+4)}); wire.CodeOf(err) != "oversized-message" {
		t.Errorf("got %v", err)
	}
	_ = s.Close()
	if err := s.Send(t.Context(), packets(t, 1)); err == nil {
		t.Error("a closed sender sends")
	}
}

func TestNameThatIsNotKnownIsUnreachable(t *testing.T) {
	// RFC 6761 section 6.4: .invalid names never exist.
	s := sender(t, Config{Name: "deck", Wire: "osc.tcp", Address: "deck.invalid:9000"})
	if err := s.Send(t.Context(), packets(t, 1)); wire.CodeOf(err) != "device-unreachable" && wire.CodeOf(err) != "device-no-answer" {
		t.Errorf("got %v", err)
	}
}

// What cannot be a packet does not stop a receiver: the defect that ends
// go-osc's server.
func TestReceiverOutlivesRubbish(t *testing.T) {
	for _, w := range wires {
		t.Run(w, func(t *testing.T) {
			got := make(heard, 256)
			r := listen(t, w, got.handler)
			network := "tcp"
			if w == "osc.udp" {
				network = "udp"
			}
			for _, rubbish := range []string{"/[", "\xc0\xdbx\xc0", "\xff\xff\xff\xff", "GET / HTTP/1.1\r\n\r\n"} {
				conn, err := net.Dial(network, r.Addr().String())
				if err != nil {
					t.Fatal(err)
				}
				_, _ = conn.Write([]byte(rubbish))
				_, _ = conn.Write(nil)
				_ = conn.Close()
			}
			s := sender(t, Config{Wire: w, Address: r.Addr().String()})
			want := packets(t, 1)
			if err := s.Send(t.Context(), want); err != nil {
				t.Fatal(err)
			}
			for g := got.next(t); g != string(want[0]); g = got.next(t) {
			}
		})
	}
}

func TestReceiverKeepsOnlySoManyConnections(t *testing.T) {
	got := make(heard, 2*maxConnections)
	r := listen(t, "osc.tcp", got.handler)
	frame := AppendFrame(nil, Sized, packets(t, 1)[0])
	for range maxConnections {
		conn, err := net.Dial("tcp", r.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := conn.Write(frame); err != nil {
			t.Fatal(err)
		}
		got.next(t)
	}
	conn, err := net.Dial("tcp", r.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	_ = conn.SetReadDeadline(time.Now().Add(patience))
	if _, err := conn.Read(make([]byte, 1)); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("one connection too many stays open: %v", err)
	}
}

func TestSalvosOfSeveralGoroutinesDoNotMix(t *testing.T) {
	for _, w := range wires {
		t.Run(w, func(t *testing.T) {
			got := make(heard, 4096)
			s := sender(t, Config{Wire: w, Address: listen(t, w, got.handler).Addr().String()})
			const writers, each = 4, 25
			errs := make(chan error)
			for g := range writers {
				var salvo [][]byte
				for range each {
					p, _ := AppendMessage(nil, "/from", Int32(int32(g)))
					salvo = append(salvo, p)
				}
				go func() { errs <- s.Send(t.Context(), salvo) }()
			}
			for range writers {
				if err := <-errs; err != nil {
					t.Fatal(err)
				}
			}
			var all strings.Builder
			for range writers * each {
				fmt.Fprintf(&all, "%d", got.next(t)[15])
			}
			for g := range writers {
				if !strings.Contains(all.String(), strings.Repeat(fmt.Sprint(g), each)) {
					t.Errorf("salvos are mixed: %s", all.String())
				}
			}
		})
	}
}

func BenchmarkRoundTrip(b *testing.B) {
	for _, w := range wires {
		b.Run(w, func(b *testing.B) {
			back := make(chan struct{}, 1)
			echo := func(p []byte, f From) { _ = f.Reply(p) }
			var r *Receiver
			var err error
			if w == "osc.udp" {
				r, err = ListenUDP("127.0.0.1:0", echo)
			} else {
				r, err = ListenTCP("127.0.0.1:0", map[string]Framing{"osc.tcp": Sized, "osc.slip": SLIP}[w], echo)
			}
			if err != nil {
				b.Fatal(err)
			}
			defer r.Close()
			s, err := NewSender(Config{Wire: w, Address: r.Addr().String(), Heard: func([]byte, From) { back <- struct{}{} }})
			if err != nil {
				b.Fatal(err)
			}
			defer s.Close()
			p, _ := AppendMessage(nil, "/bank/1/program", Int32(3))
			salvo := [][]byte{p}
			b.ReportAllocs()
			for b.Loop() {
				if err := s.Send(b.Context(), salvo); err != nil {
					b.Fatal(err)
				}
				<-back
			}
		})
	}
}
