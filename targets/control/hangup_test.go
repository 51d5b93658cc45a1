package control

import (
	"fmt"
	"io"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// A device that ends its connection is looked for at once, though nobody
// presses anything: one that is gone is away, and well when it is there again;
// one that only hangs up when nothing is said for a while is not; and one that
// hangs up again and again is away until it stops doing so.
func TestHangsUp(t *testing.T) {
	var accepted atomic.Int32
	hold := func(c net.Conn) { accepted.Add(1); _, _ = io.Copy(io.Discard, c) }
	begin := func(t *testing.T, do func(net.Conn)) (*bad, *Controller, string) {
		accepted.Store(0)
		b := newBad(t, do)
		p := at(deaf(compiled(t)), "router", "osc.tcp", b.l.Addr().String())
		for i := range p.Devices {
			if p.Devices[i].Name != "router" {
				p.Devices[i].Wire = ""
			}
		}
		dir := t.TempDir()
		return b, start(t, p, Options{Dir: dir}), dir
	}
	faults := func(t *testing.T, dir string) (n int) {
		if _, err := journal.Read(dir, func(r journal.Record) error {
			if r.Kind == journal.Fault && uint32(r.B) == program.Away {
				n++
			}
			return nil
		}); err != nil {
			t.Error(err)
		}
		return n
	}
	t.Run("and is gone", func(t *testing.T) {
		b, c, dir := begin(t, hold)
		await(t, "it is connected", func() bool { return accepted.Load() == 1 })
		address := b.l.Addr().String()
		b.l.Close()
		b.hangUp()
		await(t, "it is away", func() bool { return away(c, "router") })
		again, err := net.Listen("tcp", address)
		if err != nil {
			t.Skip("somebody else has taken the port:", err)
		}
		defer again.Close()
		await(t, "it is back", func() bool { return !away(c, "router") })
		stop(t, c)
		if n := faults(t, dir); n != 1 {
			t.Errorf("away %d times", n)
		}
	})
	t.Run("when nothing is said for a while", func(t *testing.T) {
		b, c, dir := begin(t, hold)
		await(t, "it is connected", func() bool { return accepted.Load() == 1 })
		b.hangUp()
		await(t, "it is connected again", func() bool { return accepted.Load() == 2 })
		stop(t, c)
		if n := faults(t, dir); n != 0 {
			t.Errorf("away %d times", n)
		}
	})
	t.Run("again and again", func(t *testing.T) {
		b, c, dir := begin(t, func(net.Conn) { accepted.Add(1) })
		await(t, "it is away", func() bool { return away(c, "router") })
		await(t, "it is looked for", func() bool { return accepted.Load() > 4 })
		if !away(c, "router") {
			t.Error("it is well, and hangs up each time")
		}
		b.better(hold)
		await(t, "it is back", func() bool { return !away(c, "router") })
		stop(t, c)
		if n := faults(t, dir); n != 1 {
			t.Errorf("away %d times", n)
		}
	})
}

// A device that answers again is asked all that it can be asked before it is
// told anything, also what is asked once a minute only.
func TestAllIsReadAgain(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	var told counter
	deck := newBad(t, answering(0, ok, told.add))
	q := *at(r.Program(), "deck", "http", deck.l.Addr().String())
	for _, o := range p.Observations {
		if o.Method == "GET" && p.Devices[o.Device].Name == "deck" {
			seldom := o
			seldom.Target, seldom.Every = "/api/seldom", 60_000_000
			q.Observations = append(q.Observations[:len(q.Observations):len(q.Observations)], seldom)
			break
		}
	}
	c := start(t, &q, Options{})
	replay := button(t, p, "Replay")
	await(t, "both are asked", func() bool { return told.of("GET /api/state") > 0 && told.of("GET /api/seldom") == 1 })
	deck.better(silent)
	await(t, "it is away", func() bool { return away(c, "deck") })
	went(t, c.Press(surface.Press{Kind: surface.StopAll, Surface: -1, By: "test"}))

	var after counter
	deck.better(func(conn net.Conn) {
		answering(0, ok, func(what string) {
			after.add(what)
			if strings.Contains(what, "seldom") {
				time.Sleep(300 * time.Millisecond)
			}
		})(conn)
	})
	await(t, "it is asked", func() bool { return after.of("GET /api/state") > 0 })
	for n := 0; away(c, "deck"); n++ { // whoever presses meanwhile is refused, and nothing is sent
		tap(t, c, replay)
	}
	c.Press(surface.Press{Kind: surface.StopAll, Surface: -1, By: "test"})
	time.Sleep(time.Duration(bounceTime) * time.Microsecond)
	went(t, tap(t, c, replay))
	await(t, "it is told to load", func() bool { return after.of("PUT") == 1 })
	after.mu.Lock()
	all := fmt.Sprint(after.all)
	after.mu.Unlock()
	if first := strings.Index(all, "PUT"); !strings.Contains(all, "seldom") || strings.Index(all, "seldom") > first || strings.Index(all, "state") > first {
		t.Errorf("it was asked and told %s", all)
	}
	stop(t, c)
}
