package control

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/surface"
)

// bad is a device that does what a test wants with each connection.
type bad struct {
	l     net.Listener
	group sync.WaitGroup
	mu    sync.Mutex
	open  []net.Conn
	do    atomic.Pointer[func(net.Conn)]
}

func newBad(t testing.TB, do func(net.Conn)) *bad {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &bad{l: l}
	b.do.Store(&do)
	b.group.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			b.mu.Lock()
			b.open = append(b.open, conn)
			b.mu.Unlock()
			b.group.Go(func() { (*b.do.Load())(conn); conn.Close() })
		}
	})
	t.Cleanup(func() {
		l.Close()
		b.hangUp()
		b.group.Wait()
	})
	return b
}

func (b *bad) hangUp() {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, c := range b.open {
		c.Close()
	}
	b.open = nil
}

// better makes the device do something else from now on.
func (b *bad) better(do func(net.Conn)) {
	b.do.Store(&do)
	b.hangUp()
}

// silent accepts and never answers.
func silent(c net.Conn) { _, _ = io.Copy(io.Discard, c) }

// answering is an HTTP device that says an answer to every request, after a
// while, and counts what it was told.
func answering(pause time.Duration, answer string, told func(string)) func(net.Conn) {
	return func(c net.Conn) {
		r := bufio.NewReader(c)
		for {
			req, err := http.ReadRequest(r)
			if err != nil {
				return
			}
			_, _ = io.Copy(io.Discard, req.Body)
			told(req.Method + " " + req.URL.Path)
			time.Sleep(pause)
			if _, err := io.WriteString(c, answer); err != nil {
				return
			}
		}
	}
}

// says is a device that says something to whoever connects, and hangs up.
func says(text string) func(net.Conn) {
	return func(c net.Conn) {
		_, _ = io.WriteString(c, text)
		time.Sleep(10 * time.Millisecond)
	}
}

// repeat says something, and then something else for ever.
func repeat(c net.Conn, first, then string) {
	_, err := io.WriteString(c, first)
	for err == nil {
		_, err = io.WriteString(c, then)
	}
}

const ok = "HTTP/1.1 200 OK\r\nContent-Length: 21\r\n\r\n{\"transport\":\"ready\"}"

// counter counts texts.
type counter struct {
	mu  sync.Mutex
	all []string
}

func (c *counter) add(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.all = append(c.all, text)
}

func (c *counter) of(text string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	n := 0
	for _, x := range c.all {
		if strings.Contains(x, text) {
			n++
		}
	}
	return n
}

// at puts a device elsewhere.
func at(p *program.Program, name, wire, address string) *program.Program {
	q := *p
	q.Devices = slices.Clone(p.Devices)
	for i := range q.Devices {
		if q.Devices[i].Name == name {
			q.Devices[i].Wire, q.Devices[i].Address = wire, address
		}
	}
	return &q
}

func away(c *Controller, name string) bool {
	v := c.View()
	return slices.ContainsFunc(v.Away, func(d int32) bool { return v.Program.Devices[d].Name == name })
}

// tap presses and lets go of a button as often as it takes for it not to be a
// bounce.
func tap(t *testing.T, c *Controller, b int32) surface.Answer {
	t.Helper()
	time.Sleep(time.Duration(bounceTime)*time.Microsecond + time.Millisecond)
	a := c.Press(down(b))
	c.Press(up(b))
	return a
}

// However the deck misbehaves: its buttons show fault, everything else goes on
// and is told once, and when it is well again it is read before it is told
// anything.
func TestBadDeck(t *testing.T) {
	for _, x := range []struct {
		name string
		do   func(net.Conn)
	}{
		{"accepts and never answers", silent},
		{"answers too late", answering(time.Second, ok, func(string) {})},
		{"answers a byte at a time", func(c net.Conn) {
			for i := range ok {
				if _, err := c.Write([]byte(ok[i : i+1])); err != nil {
					return
				}
				time.Sleep(60 * time.Millisecond)
			}
		}},
		{"resets", func(c net.Conn) { _ = c.(*net.TCPConn).SetLinger(0) }},
		{"answers garbage", says("\x00\x01\x02 what is this\r\n\r\n")},
		{"answers as another protocol does", says("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03")},
		{"cuts its answers", says("HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n{\"transport\":\"rea")},
		{"cuts its heads", says("HTTP/1.1 200 OK\r\nContent-Le")},
		{"has two lengths", says("HTTP/1.1 200 OK\r\nContent-Length: 21\r\nContent-Length: 22\r\n\r\n{\"transport\":\"ready\"}")},
		{"has a length below zero", says("HTTP/1.1 200 OK\r\nContent-Length: -21\r\n\r\n{\"transport\":\"ready\"}")},
		{"has chunks of no size", says("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nxyz\r\n{\"transport\":\"ready\"}")},
		{"has a head without end", func(c net.Conn) { repeat(c, "HTTP/1.1 200 OK\r\n", "X: "+strings.Repeat("y", 1000)+"\r\n") }},
		{"goes on to ask for patience", func(c net.Conn) { repeat(c, "", "HTTP/1.1 100 Continue\r\n\r\n") }},
		{"floods", func(c net.Conn) { repeat(c, "", string(make([]byte, 64<<10))) }},
	} {
		t.Run(x.name, func(t *testing.T) {
			p := compiled(t)
			r, out := rack(t, p)
			deck := newBad(t, x.do)
			dir := t.TempDir()
			p = at(r.Program(), "deck", "http", deck.l.Addr().String())
			c := start(t, p, Options{Dir: dir})
			replay := button(t, p, "Replay")
			went(t, tap(t, c, replay))
			await(t, "the deck is away", func() bool { return away(c, "deck") })
			await(t, "its button shows fault", func() bool { return c.View().Lamps[replay] == step.LampFault })
			for n := 1; n <= 3; n++ {
				went(t, tap(t, c, button(t, p, "Wide")))
				await(t, "the mixer is told", func() bool { return out.heard("cut main to wide") == n })
			}
			stopped := c.Press(surface.Press{Kind: surface.StopAll, Surface: -1, By: "test"})
			went(t, stopped)

			var told counter
			deck.better(answering(0, ok, told.add))
			await(t, "it is well again", func() bool { return !away(c, "deck") })
			if told.of("GET") == 0 || told.of("PUT") > 0 || told.of("POST") > 0 {
				t.Errorf("it was told %v", told.all)
			}
			look(c, func(s *show) {
				if is := s.m.L.Get(s.state, p.Decks[0].State); is != program.DeckCued {
					t.Errorf("the deck says that it is cued, and the show has %d", is)
				}
			})
			went(t, tap(t, c, replay))
			await(t, "it is told to load, once", func() bool { return told.of("PUT") == 1 })
			stop(t, c)
			replays(t, dir)
			if n := out.heard("cut main to wide"); n != 3 {
				t.Errorf("the mixer was told %d times", n)
			}
		})
	}
}

// A deck whose answers hold nothing of use is there all the same: it is told
// what it should be, once, and reading its answers costs little memory.
func TestDeckAnswersNothingOfUse(t *testing.T) {
	head := "HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n%s"
	big := func(body string) string { return fmt.Sprintf(head, len(body), body) }
	for _, x := range []struct{ name, answer string }{
		{"nothing", big("")},
		{"no JSON", big("<html>ready</html>")},
		{"another JSON", big(`{"transport":{"is":["ready"]},"x":null}`)},
		{"more than its length", "HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\n{\"transport\":\"ready\"}"},
		{"very much", big(strings.Repeat("x", 5<<20))},
		{"very many numbers", big("[" + strings.Repeat("0,", 500_000) + "0]")},
		{"brackets in brackets", big(strings.Repeat("[", 1<<20))},
		{"objects in objects", big(strings.Repeat(`{"transport":`, 70_000))},
		{"one word that is very long", big(`{"transport":"` + strings.Repeat("ready", 200_000) + `"}`)},
		{"chunks without end", "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n" + strings.Repeat("10000\r\n"+strings.Repeat("z", 0x10000)+"\r\n", 40)},
	} {
		t.Run(x.name, func(t *testing.T) {
			p := compiled(t)
			r, out := rack(t, p)
			var told counter
			deck := newBad(t, answering(0, x.answer, told.add))
			p = at(r.Program(), "deck", "http", deck.l.Addr().String())
			for i := range p.Observations { // ask often
				p.Observations[i].Every = min(p.Observations[i].Every, 60_000)
			}
			c := start(t, p, Options{})
			await(t, "it is asked", func() bool { return told.of("GET") > 2 })
			before := heap()
			replay := button(t, p, "Replay")
			went(t, tap(t, c, replay))
			await(t, "it is told to load", func() bool { return told.of("PUT") > 0 })
			await(t, "it is asked", func() bool { return told.of("GET") > 10 })
			if grown := int64(heap()) - int64(before); grown > 8<<20 {
				t.Errorf("%d KiB more than before", grown>>10)
			}
			for n := 1; n <= 3; n++ {
				went(t, tap(t, c, button(t, p, "Wide")))
				await(t, "the mixer is told", func() bool { return out.heard("cut main to wide") == n })
			}
			if away(c, "deck") || told.of("PUT") != 1 {
				t.Errorf("away: %v, told to load %d times", away(c, "deck"), told.of("PUT"))
			}
			stop(t, c)
		})
	}
}

// A slow device gets everything in order, and holds nobody else up.
func TestSlowDeck(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	var told counter
	deck := newBad(t, answering(300*time.Millisecond, ok, told.add))
	p = at(r.Program(), "deck", "http", deck.l.Addr().String())
	c := start(t, p, Options{})
	stopAll := button(t, p, "Stop")
	went(t, tap(t, c, stopAll)) // its cover
	went(t, tap(t, c, stopAll))
	for n := 1; n <= 5; n++ {
		began := time.Now()
		went(t, tap(t, c, button(t, p, "Wide")))
		await(t, "the mixer is told", func() bool { return out.heard("cut main to wide") == n })
		if n == 1 && told.of("POST /api/stop") > 0 && time.Since(began) > 300*time.Millisecond {
			t.Log("the mixer waited for the deck, or this machine is very busy")
		}
	}
	await(t, "the deck is told", func() bool { return told.of("POST /api/stop") == 1 })
	if away(c, "deck") {
		t.Error("slow is not away")
	}
	stop(t, c)
}

// A device that says no is there: it is said, and the rest goes on.
func TestDeviceSaysNo(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	var told counter
	deck := newBad(t, answering(0, "HTTP/1.1 409 Conflict\r\nContent-Length: 8\r\n\r\nno clip!", told.add))
	p = at(r.Program(), "deck", "http", deck.l.Addr().String())
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir})
	replay := button(t, p, "Replay")
	went(t, tap(t, c, replay))
	await(t, "it is said", func() bool { return strings.Contains(fmt.Sprint(c.View().Alerts), "409 Conflict: no clip!") })
	if away(c, "deck") {
		t.Error("no is an answer")
	}
	await(t, "the columns say no, and why", func() bool {
		o := outputNamed(c, "deck.state")
		return o.Acknowledged.State == surface.No && strings.Contains(o.Acknowledged.Words, "409 Conflict: no clip!") && o.NeedsLook()
	})
	went(t, c.Press(surface.Press{Kind: surface.StopAll, Surface: -1, By: "test"}))
	await(t, "the button that sent it shows fault", func() bool { return c.View().Lamps[replay] == step.LampFault })
	stop(t, c)
	replays(t, dir)
}

// A mixer that nothing listens for is found out soon, and found again.
func TestNobodyListens(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	s := newSink(t)
	address := s.conn.LocalAddr().(*net.UDPAddr)
	s.conn.Close()
	p = at(r.Program(), "mixer", "osc.udp", address.String())
	c := start(t, p, Options{})
	went(t, tap(t, c, button(t, p, "Wide")))
	await(t, "the mixer is away", func() bool { return away(c, "mixer") })
	if a := tap(t, c, button(t, p, "Wide")); a.Reason != step.DeviceAway {
		t.Errorf("a press that needs it: %+v", a)
	}
	conn, err := net.ListenUDP("udp", address)
	if err != nil {
		t.Skip("somebody else has taken the port:", err)
	}
	defer conn.Close()
	await(t, "it is back", func() bool { return !away(c, "mixer") })
	stop(t, c)
}

// Presses that come by datagrams which are lost, doubled and put out of order
// on the way: each that arrives is done once.
func TestDatagrams(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	c := start(t, r.Program(), Options{})
	wide := button(t, p, "Wide")
	done := map[uint64]int{}
	arrives := func(n uint64) {
		x := surface.Press{Kind: surface.Down, Surface: -1, Button: wide, By: "finger", Number: n}
		if n%2 == 0 {
			x.Kind = surface.StopAll
		}
		if a := c.Press(x); a.Outcome == surface.Done {
			done[n]++
		}
	}
	cuts, arrived := 0, 0
	var late []uint64
	for n := uint64(1); n <= 63; n++ {
		time.Sleep(time.Duration(bounceTime)*time.Microsecond + time.Millisecond)
		if n%7 == 0 { // lost
			continue
		}
		arrived++
		cuts += int(n % 2)
		switch n % 7 {
		case 1: // doubled
			arrives(n)
			arrives(n)
		case 2: // late, and doubled
			late = append(late, n)
		default:
			arrives(n)
			for _, l := range late {
				arrives(l)
				arrives(l)
				arrives(n)
			}
			late = nil
		}
	}
	if len(done) != arrived {
		t.Errorf("%d arrived, %d were done", arrived, len(done))
	}
	for n, times := range done {
		if times != 1 {
			t.Errorf("press %d was done %d times", n, times)
		}
	}
	stop(t, c)
	await(t, "the mixer has heard them", func() bool { return out.heard("cut main to wide") >= cuts })
	time.Sleep(20 * time.Millisecond)
	if n := out.heard("cut main to wide"); n != cuts {
		t.Errorf("%d were done and the mixer was told %d times", cuts, n)
	}
}
