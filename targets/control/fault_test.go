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

func newBad(t *testing.T, do func(net.Conn)) *bad {
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
		{"resets", func(c net.Conn) { _ = c.(*net.TCPConn).SetLinger(0) }},
		{"answers garbage", func(c net.Conn) {
			_, _ = io.WriteString(c, "\x00\x01\x02 what is this\r\n\r\n")
			time.Sleep(10 * time.Millisecond)
		}},
		{"floods", func(c net.Conn) {
			for {
				if _, err := c.Write(make([]byte, 64<<10)); err != nil {
					return
				}
			}
		}},
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
