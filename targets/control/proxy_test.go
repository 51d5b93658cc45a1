package control

import (
	"context"
	"errors"
	"math/rand/v2"
	"net"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
	"cuewright/targets/surface/oscin"
)

// road is a way for datagrams on which they are lost, doubled and put out of
// order, by dice that a seed throws. swallow loses so many to come for certain.
type road struct {
	front, back net.PacketConn // clients send to front; the server is spoken to from back
	server      net.Addr
	mu          sync.Mutex
	dice        *rand.Rand
	client      net.Addr
	swallow     atomic.Int32
	lost        atomic.Int32
	doubled     atomic.Int32
	late        atomic.Int32
	clear       atomic.Bool // nothing happens any more
	group       sync.WaitGroup
}

func newRoad(t *testing.T, seed uint64, server string) *road {
	t.Helper()
	r := &road{dice: rand.New(rand.NewPCG(seed, 1))}
	var err [3]error
	r.front, err[0] = net.ListenPacket("udp", "127.0.0.1:0")
	r.back, err[1] = net.ListenPacket("udp", "127.0.0.1:0")
	r.server, err[2] = net.ResolveUDPAddr("udp", server)
	if err := errors.Join(err[:]...); err != nil {
		t.Fatal(err)
	}
	r.group.Go(func() {
		r.carry(r.front, r.back, func(from net.Addr) { r.setClient(from) }, func() net.Addr { return r.server })
	})
	r.group.Go(func() { r.carry(r.back, r.front, func(net.Addr) {}, r.theClient) })
	t.Cleanup(func() { r.front.Close(); r.back.Close(); r.group.Wait() })
	return r
}

func (r *road) setClient(from net.Addr) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.client = from
}

func (r *road) theClient() net.Addr {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.client
}

func (r *road) carry(in, out net.PacketConn, came func(net.Addr), to func() net.Addr) {
	buf := make([]byte, 65536)
	for {
		n, from, err := in.ReadFrom(buf)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			continue // a refusal
		}
		came(from)
		data := slices.Clone(buf[:n])
		if r.swallow.Add(-1) >= 0 {
			continue
		}
		r.mu.Lock()
		what, wait := r.dice.IntN(10), time.Duration(r.dice.IntN(30))*time.Millisecond
		r.mu.Unlock()
		if r.clear.Load() {
			what = 9
		}
		switch what {
		case 0, 1, 2:
			r.lost.Add(1)
			continue
		case 3, 4:
			r.doubled.Add(1)
			_, _ = out.WriteTo(data, to())
		case 5, 6: // what comes after it is there before it
			r.late.Add(1)
			r.group.Go(func() {
				time.Sleep(wait)
				_, _ = out.WriteTo(data, to())
			})
			continue
		}
		_, _ = out.WriteTo(data, to())
	}
}

func (r *road) address() string { return r.front.LocalAddr().String() }

// A surface that numbers what it says and says it again until it is answered
// gets each press done once and in order, however bad the way is.
func TestPressesOnABadRoad(t *testing.T) {
	s := newStrips(t)
	dir := t.TempDir()
	killShow(t, dir, map[string]string{"udp": s.at["udp"]})
	r := prepare.Show(filepath.Join(dir, "kills.show"), prepare.Disk)
	if r.Program == nil {
		t.Fatal(r.Findings)
	}
	state := t.TempDir()
	c := start(t, r.Program, Options{Dir: state})
	in, err := oscin.Listen(c, oscin.Config{Wire: "osc.udp", Address: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	const seed = 7
	way := newRoad(t, seed, in.Addr().String())
	answers := make(chan int64, 999)
	to, err := osc.NewSender(osc.Config{Wire: "osc.udp", Address: way.address(), Heard: func(packet []byte, _ osc.From) {
		if p, err := osc.Decode(packet); err == nil {
			osc.Each(p, func(m osc.Message) {
				if m.Path == "/answer" {
					answers <- m.Args[2].Int()
				}
			})
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	const presses = 60
	for n := int64(1); n <= 2*presses; n++ {
		column, down := "1", n%2 == 1
		if (n-1)/2%2 == 1 {
			column = "2"
		}
		packet, err := osc.AppendMessage(nil, "/finger/desk1/1/"+column, osc.Bool(down), osc.Int64(n))
		if err != nil {
			t.Fatal(err)
		}
		again := time.NewTicker(5 * time.Millisecond)
		for answered := int64(0); answered != n; {
			if err := to.Send(context.Background(), [][]byte{packet}); err != nil {
				t.Fatal(err)
			}
			select {
			case answered = <-answers:
			case <-again.C:
			}
		}
		again.Stop()
		if !down {
			time.Sleep(12 * time.Millisecond) // the same button comes after twice that
		}
	}
	stop(t, c)
	if err := errors.Join(to.Close(), in.Close()); err != nil {
		t.Error(err)
	}
	await(t, "the device has heard all", func() bool { return s.count() >= presses })
	all := s.take()["udp"]
	once(t, "udp", all)
	if len(all) != presses {
		t.Errorf("seed %d: %d presses, and the device was told %d", seed, presses, len(all))
	}
	if way.lost.Load() < 20 || way.doubled.Load() < 10 || way.late.Load() < 10 {
		t.Errorf("seed %d: the road was good: %d lost, %d doubled, %d late", seed, way.lost.Load(), way.doubled.Load(), way.late.Load())
	}
	replays(t, state)
}

// reporter is a mixer that does what it is told and says how it stands to
// whoever spoke to it, again and again.
type reporter struct {
	conn  net.PacketConn
	mu    sync.Mutex
	is    int32
	times int
	peer  net.Addr
	group sync.WaitGroup
}

func newReporter(t *testing.T) *reporter {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := &reporter{conn: conn, is: 1}
	m.group.Go(func() {
		buf := make([]byte, 2048)
		for {
			n, from, err := conn.ReadFrom(buf)
			if err != nil {
				return
			}
			m.told(buf[:n], from)
		}
	})
	done := make(chan struct{})
	m.group.Go(func() {
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				m.says()
			case <-done:
				return
			}
		}
	})
	t.Cleanup(func() { close(done); conn.Close(); m.group.Wait() })
	return m
}

func (m *reporter) told(packet []byte, from net.Addr) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.peer = from
	p, err := osc.Decode(packet)
	if err != nil {
		return
	}
	osc.Each(p, func(x osc.Message) {
		if x.Path == "/bank/1/program" {
			m.is, m.times = int32(x.Args[0].Int()), m.times+1
		}
	})
}

func (m *reporter) says() {
	m.mu.Lock()
	defer m.mu.Unlock()
	if packet, err := osc.AppendMessage(nil, "/bank/1/program", osc.Int32(m.is)); err == nil && m.peer != nil {
		_, _ = m.conn.WriteTo(packet, m.peer)
	}
}

func (m *reporter) stands() (is int32, times int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.is, m.times
}

// What a device says of itself over a bad road is believed in the end, though
// some of it is lost, comes twice, or comes after what was said later. What it
// was told and has not heard is seen to be so, and can be sent again.
func TestDeviceOnABadRoad(t *testing.T) {
	m := newReporter(t)
	const seed = 11
	way := newRoad(t, seed, m.conn.LocalAddr().String())
	way.clear.Store(true) // commands are not said twice: how each fares is for the test to say
	p := mixerAt(t, way.address())
	p.Observations = compiled(t).Observations
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir})
	number := func(name string) int32 {
		for _, k := range p.Banks[0].Picks {
			if k.Label == name {
				return k.Number
			}
		}
		t.Fatalf("nothing is called %s", name)
		return 0
	}
	heard := func(is int32) bool {
		same := false
		look(c, func(s *show) {
			v := s.p.Banks[0].Program
			pick := s.p.Banks[0].Picks[s.m.L.Get(s.state, v)]
			same = pick.Number == is
		})
		return same
	}
	went(t, tap(t, c, button(t, p, "Wide")))
	await(t, "it is told", func() bool { _, n := m.stands(); return n == 1 })
	way.clear.Store(false)
	for i := range 20 { // a hand at the mixer, on a road that loses, doubles and reorders
		m.mu.Lock()
		m.is = []int32{number("wide"), number("goal"), number("deck")}[i%3]
		m.mu.Unlock()
		time.Sleep(25 * time.Millisecond)
	}
	is, _ := m.stands()
	await(t, "its last word is believed", func() bool { return heard(is) })
	time.Sleep(100 * time.Millisecond) // what was late has come
	await(t, "and stays so", func() bool { return heard(is) })

	way.clear.Store(true)
	time.Sleep(50 * time.Millisecond)
	m.mu.Lock() // it says nothing while the command goes by, so that the command is what is lost
	way.swallow.Store(1)
	went(t, tap(t, c, button(t, p, "Goal")))
	await(t, "the command is lost", func() bool { return way.swallow.Load() <= 0 })
	m.is = number("wide")
	m.mu.Unlock()
	await(t, "it is seen not to have heard it", func() bool { return slices.Contains(c.View().Drifted, p.Banks[0].Program) })
	if is, _ := m.stands(); is != number("wide") {
		t.Errorf("it stands at %d", is)
	}
	_, before := m.stands()
	web := int32(slices.IndexFunc(p.Destinations, func(d program.Destination) bool { return d.Name == "web" }))
	went(t, c.Press(surface.Press{Kind: surface.Resend, Surface: -1, Button: -1, Cue: -1, Destination: web, By: "test"}))
	await(t, "it is as it was wanted", func() bool {
		is, n := m.stands()
		return is == number("goal") && n == before+1 && len(c.View().Drifted) == 0
	})
	stop(t, c)
	replays(t, dir)
}

// A device of which every other answer is lost is there.
func TestEveryOtherPollIsLost(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	var told counter
	var n atomic.Int32
	deck := newBad(t, func(c net.Conn) {
		if n.Add(1)%2 == 0 {
			return // hangs up
		}
		answering(0, "HTTP/1.1 200 OK\r\nConnection: close\r\nContent-Length: 21\r\n\r\n{\"transport\":\"ready\"}", func(what string) { told.add(what) })(c)
	})
	q := at(r.Program(), "deck", "http", deck.l.Addr().String())
	q.Observations = slices.Clone(q.Observations)
	for i := range q.Observations {
		q.Observations[i].Every = min(q.Observations[i].Every, 60_000)
	}
	c := start(t, q, Options{})
	for told.of("GET") < 20 {
		if away(c, "deck") {
			t.Fatal("it is away")
		}
		time.Sleep(5 * time.Millisecond)
	}
	stop(t, c)
}
