package control

import (
	"encoding/json"
	"log/slog"
	"net"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// A loop that turns says so at least every half a second, whatever happens; one
// that hangs does not, though everything around it lives.
func TestHungLoopIsSilent(t *testing.T) {
	p := deaf(compiled(t))
	synctest.Test(t, func(t *testing.T) {
		var turns atomic.Int64
		c := start(t, p, Options{
			Turned: func() { turns.Add(1) },
			clock:  func(at int64) clock { return bubbleClock{startClock(at)} },
			dial:   func(program.Device, osc.Handler, func()) (link, error) { return &paper{start: time.Now()}, nil },
		})
		time.Sleep(10 * time.Second)
		if n := turns.Load(); n < 19 {
			t.Errorf("%d turns in 10 s, want two in each", n)
		}
		hang := make(chan bool)
		c.post(func() { <-hang })
		synctest.Wait()
		before := turns.Load()
		if a := c.Press(down(button(t, p, "Wide"))); a.Outcome != surface.Busy {
			t.Errorf("a press while the loop hangs: %+v", a)
		}
		time.Sleep(time.Minute)
		if n := turns.Load() - before; n != 0 {
			t.Errorf("a loop that hangs said %d times that it turned", n)
		}
		if f := c.Figures(); time.Since(f.Turned) < time.Minute || f.Presses[surface.Busy] != 1 {
			t.Errorf("the figures do not tell: %+v", f)
		}
		close(hang)
		time.Sleep(time.Second)
		if turns.Load() == before {
			t.Error("a loop that goes on does not say so")
		}
		stop(t, c)
	})
}

// What becomes of presses and messages is counted, and logged where that is
// wanted.
func TestFigures(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	var log lines
	c := start(t, r.Program(), Options{Dir: t.TempDir(), Log: slog.New(slog.NewJSONHandler(&log, &slog.HandlerOptions{Level: Routine}))})
	wide := button(t, p, "Wide")
	went(t, c.Press(down(wide)))
	went(t, c.Press(up(wide)))
	c.Press(surface.Press{Kind: surface.Down, Surface: 0, Button: 999, By: "a"})
	went(t, c.Press(down(button(t, p, "Replay")))) // over HTTP
	await(t, "the deck plays", func() bool { return out.heard("play deck") == 1 })
	await(t, "the answer is counted", func() bool { return device(c, "deck").Messages[Answered] == 2 })
	await(t, "all is on the disk", func() bool { return c.Figures().Journal.Behind == 0 })

	f := c.Figures()
	if f.Presses[surface.Done] != 3 || f.Presses[surface.Refused] != 1 {
		t.Errorf("presses %v", f.Presses)
	}
	if m := device(c, "mixer"); m.Messages[OnItsWay] == 0 || m.Messages[Dropped]+m.Messages[Broken] != 0 || m.Wire != "osc.udp" || m.Room != queued {
		t.Errorf("the mixer: %+v", m)
	}
	if d := device(c, "deck"); d.Seen.IsZero() || d.Away {
		t.Errorf("the deck: %+v", d)
	}
	var wires []string
	for _, w := range f.Reach {
		wires = append(wires, w.Wire)
	}
	if !slices.Equal(wires, []string{"http", "osc.udp"}) {
		t.Errorf("messages went by %v", wires)
	}
	if f.Turn.Count() == 0 || f.Journal.Records < 8 || f.Journal.Seq != f.Journal.Records || f.Journal.Bytes == 0 || f.Journal.Sync.Count() == 0 {
		t.Errorf("%+v %+v", f, *f.Journal)
	}
	stop(t, c)

	said := records(t, log.all.String())
	for _, want := range []map[string]any{
		{"kind": "press", "by": "test", "press": "cameras 1.1 \"Wide\"", "outcome": "done"},
		{"kind": "press", "by": "a", "outcome": "refused", "answer": "there is no such thing in this show"},
		{"kind": "message", "device": "deck", "outcome": "answered"},
		{"kind": "message", "device": "mixer", "outcome": "sent"},
	} {
		if !slices.ContainsFunc(said, func(r map[string]any) bool { return has(r, want) }) {
			t.Errorf("no record has %v; there are %v", want, said)
		}
	}
}

// has says whether a record has what is wanted.
func has(r, want map[string]any) bool {
	for k, v := range want {
		if r[k] != v {
			return false
		}
	}
	return true
}

// records are lines of JSON.
func records(t *testing.T, text string) []map[string]any {
	t.Helper()
	var all []map[string]any
	for line := range strings.Lines(text) {
		var r map[string]any
		if err := json.Unmarshal([]byte(line), &r); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

func device(c *Controller, name string) DeviceFigures {
	for _, d := range c.Figures().Devices {
		if d.Name == name {
			return d
		}
	}
	return DeviceFigures{}
}

// A no, a device that is away, and alerts: each is counted and logged as what
// it is.
func TestFiguresOfFaults(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	deck := newBad(t, answering(0, "HTTP/1.1 500 No\r\nContent-Length: 0\r\n\r\n", func(string) {}))
	var log lines
	c := start(t, at(r.Program(), "deck", "http", deck.l.Addr().String()), Options{Log: slog.New(slog.NewJSONHandler(&log, nil))})
	went(t, c.Press(down(button(t, p, "Replay"))))
	await(t, "the no is counted", func() bool { return device(c, "deck").Messages[Declined] == 1 })
	deck.better(func(conn net.Conn) { conn.Close() })
	deck.hangUp()
	await(t, "the deck is away", func() bool { return device(c, "deck").Away })
	stop(t, c)
	said := records(t, log.all.String())
	if !slices.ContainsFunc(said, func(r map[string]any) bool {
		return has(r, map[string]any{"kind": "alert", "from": "device", "level": "WARN"})
	}) {
		t.Errorf("no alert of a device in %v", said)
	}
	if strings.Contains(log.all.String(), `"kind":"message"`) {
		t.Error("what is routine was logged, though it was not wanted")
	}
}
