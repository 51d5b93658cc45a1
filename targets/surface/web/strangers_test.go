package web

import (
	"bufio"
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/coder/websocket"

	"cuewright/targets/surface/surfacetest"
)

// What somebody without the token tries to take up room with.

// stranger opens a connection that is closed at the end of the test.
func stranger(t *testing.T, s *Surface) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", s.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// hungUp waits until the other side has closed a connection, and gives what it
// said before.
func hungUp(t *testing.T, c net.Conn, within time.Duration) string {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(within))
	said, err := io.ReadAll(io.LimitReader(c, 1<<20))
	if err != nil && !strings.Contains(err.Error(), "reset") {
		t.Errorf("it is not closed within %v: %v", within, err)
	}
	return string(said)
}

// TestSlowStrangers: whoever sends nothing, a head or a body a byte at a time,
// or never reads, is put out within the deadlines of the server, has pressed
// nothing and learnt nothing, and does not hold up others meanwhile.
func TestSlowStrangers(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{Token: secret})
	at := s.Addr().String()
	head := "POST /pair HTTP/1.1\r\nHost: " + at + "\r\nContent-Type: application/json\r\n"
	var all sync.WaitGroup
	for name, c := range map[string]struct{ first, then string }{
		"no word":                    {"", ""},
		"half a request line":        {"GET /hea", ""},
		"a head a byte at a time":    {"GET /health HTTP/1.1\r\nHost: " + at + "\r\n", "X"},
		"lines of a head":            {"GET /health HTTP/1.1\r\nHost: " + at + "\r\n", "X: y\r\n"},
		"a body a byte at a time":    {head + "Content-Length: 4000\r\n\r\n", " "},
		"chunks a byte at a time":    {head + "Transfer-Encoding: chunked\r\n\r\n", "1\r\n \r\n"},
		"a body that never comes":    {head + "Content-Length: 40\r\n\r\n", ""},
		"a body after Expect":        {head + "Expect: 100-continue\r\nContent-Length: 40\r\n\r\n", ""},
		"an upgrade to a socket":     {"GET /api/socket HTTP/1.1\r\nHost: " + at + "\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n", "\x81\xff"},
		"HTTP/2 without asking":      {"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00", "\x00\x00\x04\x03\x00\x00\x00\x00\x01\x00\x00\x00\x08"},
		"an upgrade to HTTP/2":       {"GET /api/view HTTP/1.1\r\nHost: " + at + "\r\nConnection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AAMAAABkAARAAAAAAAIAAAAA\r\n\r\n", "X: y\r\n"},
		"the hello of another (TLS)": {"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", "\x00"},
	} {
		conn := stranger(t, s)
		_, _ = io.WriteString(conn, c.first)
		all.Go(func() {
			for c.then != "" {
				time.Sleep(100 * time.Millisecond)
				if _, err := io.WriteString(conn, c.then); err != nil {
					return
				}
			}
		})
		all.Go(func() {
			said := hungUp(t, conn, 30*time.Second)
			_ = conn.Close()
			if strings.Contains(said, " 200 ") || strings.Contains(said, " 101 ") || strings.Contains(said, "HTTP/2") || strings.Contains(said, "Small") {
				t.Errorf("%s: it was told %q", name, said)
			}
		})
	}
	for range 20 {
		if status, _ := call(t, s, "GET", "/api/view", "", "Authorization", "Bearer "+secret); status != http.StatusOK {
			t.Errorf("others meanwhile: %d", status)
		}
	}
	all.Wait()
	if len(d.Pressed()) != 0 || d.Watchers() != 0 {
		t.Errorf("pressed %v, %d watch", d.Pressed(), d.Watchers())
	}
}

// TestFullOfStrangers: as many connections as there may be, each with a head
// as long as it may be and not at its end, take little memory; the next ones
// are closed at once.
func TestFullOfStrangers(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), Config{Token: secret})
	used := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc + m.StackInuse
	}
	before := used()
	for range maxEach {
		_, _ = io.WriteString(stranger(t, s), "GET /api/view HTTP/1.1\r\nHost: "+s.Addr().String()+"\r\nX: "+strings.Repeat("x", maxHeader-200))
	}
	for range 200 {
		if said := hungUp(t, stranger(t, s), 5*time.Second); said != "" {
			t.Errorf("one too many was told %q", said)
		}
	}
	if after := used(); after > before+maxEach*(8*maxHeader) {
		t.Errorf("%d KiB for %d strangers", (after-before)>>10, maxEach)
	}
}

// TestOneSite: an IPv6 network of 64 bits, which one house has, counts as one
// address.
func TestOneSite(t *testing.T) {
	l := newLimited(nil)
	took := 0
	for i := range maxConnections {
		if l.take(site(netip.AddrFrom16([16]byte{0x20, 1, 0xd, 0xb8, 14: byte(i >> 8), 15: byte(i)}))) {
			took++
		}
	}
	if took != maxEach {
		t.Errorf("%d connections of one network, want %d", took, maxEach)
	}
}

// TestLongFrames: with the token too: a frame that claims to be huge, or a
// message of many parts, ends the stream before it is held.
func TestLongFrames(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	for name, frame := range map[string]string{ // RFC 6455 section 5.2: FIN and opcode, mask and length, 8 bytes of length, mask
		"claims 2^62 bytes": "\x81\xff\x40\x00\x00\x00\x00\x00\x00\x00\x01\x02\x03\x04" + strings.Repeat("x", 10_000),
		"is longer":         "\x81\xfe\xff\xff\x01\x02\x03\x04" + strings.Repeat("x", 65_535),
		"in many parts":     strings.Repeat("\x01\xfe\x04\x00\x01\x02\x03\x04"+strings.Repeat("x", 1024), 20),
		"a length below 0":  "\x81\xff\xff\xff\xff\xff\xff\xff\xff\xff\x01\x02\x03\x04",
		"not masked":        "\x81\x05hello",
		"a ping too long":   "\x89\xfe\x00\xff\x01\x02\x03\x04" + strings.Repeat("x", 255),
	} {
		t.Run(name, func(t *testing.T) {
			conn := stranger(t, s)
			_, _ = io.WriteString(conn, "GET /api/socket HTTP/1.1\r\nHost: "+s.Addr().String()+"\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"+
				"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"+frame)
			if said := hungUp(t, conn, 60*time.Second); !strings.HasPrefix(said, "HTTP/1.1 101 ") {
				t.Errorf("it was told %.60q", said)
			}
		})
	}
	for end := time.Now().Add(5 * time.Second); len(s.streams) > 0 || d.Watchers() > 0; time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d streams stay, %d watch", len(s.streams), d.Watchers())
		}
	}
	if len(d.Pressed()) != 0 {
		t.Errorf("pressed %v", d.Pressed())
	}
}

// TestStreamsAreBounded: even with the token, streams that are kept for ever
// are no more than maxStreams, and leave nothing behind.
func TestStreamsAreBounded(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	s := serve(t, d, Config{})
	var open []net.Conn
	for i := range maxEach {
		c := stranger(t, s)
		_, _ = fmt.Fprintf(c, "GET /api/events?who=t%d HTTP/1.1\r\nHost: %s\r\n\r\n", i, s.Addr())
		if line, err := bufio.NewReader(c).ReadString('\n'); err != nil || !strings.HasPrefix(line, "HTTP/1.1 200") {
			t.Fatalf("%q, %v", line, err)
		}
		open = append(open, c)
	}
	for _, c := range open {
		_ = c.Close()
	}
	for end := time.Now().Add(10 * time.Second); d.Watchers() > 0 || len(s.streams) > 0; time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d watch, %d streams", d.Watchers(), len(s.streams))
		}
	}
	for range cap(s.streams) { // as if they were all there
		s.streams <- struct{}{}
	}
	if status, _ := call(t, s, "GET", "/api/events", ""); status != http.StatusServiceUnavailable {
		t.Errorf("one too many: %d", status)
	}
	if _, answer, err := websocket.Dial(t.Context(), "ws://"+s.Addr().String()+"/api/socket", nil); err == nil || answer.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("one too many: %v", err)
	}
}

// TestStrangersToTLS: what is no TLS, or stops in the middle of its hello, is
// put out, and HTTP/2 is not spoken.
func TestStrangersToTLS(t *testing.T) {
	s := serve(t, surfacetest.New(t, surfacetest.Show(t)), certified(t, Config{Token: secret}))
	var all sync.WaitGroup
	for name, text := range map[string]string{
		"nothing":        "",
		"plain HTTP":     "GET /health HTTP/1.1\r\nHost: " + s.Addr().String() + "\r\n\r\n",
		"garbage":        strings.Repeat("\xa5\x5a", 4000),
		"half a hello":   "\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
		"a huge record":  "\x16\x03\x01\xff\xff" + strings.Repeat("\x00", 70_000),
		"an empty hello": "\x16\x03\x01\x00\x00",
	} {
		conn := stranger(t, s)
		_, _ = io.WriteString(conn, text)
		all.Go(func() {
			if said := hungUp(t, conn, 30*time.Second); strings.Contains(said, " 200 ") {
				t.Errorf("%s: it was told %q", name, said)
			}
		})
	}
	all.Wait()
	conn, err := tls.Dial("tcp", s.Addr().String(), &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2", "http/1.1"}})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if got := conn.ConnectionState().NegotiatedProtocol; got != "http/1.1" {
		t.Errorf("%q was agreed on", got)
	}
	if _, err := tls.Dial("tcp", s.Addr().String(), &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2"}}); err == nil {
		t.Error("HTTP/2 was agreed on")
	}
}
