package control

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
	"cuewright/targets/surface"

	"pgregory.net/rapid"
)

// cutAfter runs a show on a rack until do has been done, and gives what a power
// cut then leaves of its journal.
func cutAfter(t *testing.T, p *program.Program, do func(*Controller)) string {
	t.Helper()
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir})
	do(c)
	time.Sleep(50 * time.Millisecond) // for the journal
	left := cut(t, dir)
	stop(t, c)
	return left
}

func outputNamed(c *Controller, name string) surface.Output {
	v := c.View()
	return v.Outputs[v.OutputNamed(name)]
}

func alertsOf(c *Controller) string { return fmt.Sprint(c.View().Alerts) }

var resume = surface.Press{Kind: surface.Resume, Surface: -1, By: "test"}

// After a power cut each output gets what the plan wishes for it, once, and
// nothing else is sent: screens is restored, side gets its safe picture, stage
// is left.
func TestWishes(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	p = r.Program()
	left := cutAfter(t, p, func(c *Controller) {
		went(t, tap(t, c, button(t, p, "Goal")))
		went(t, tap(t, c, button(t, p, "Doors")))
		await(t, "all is routed", func() bool { return out.heard("route router.3 from slides") == 1 })
	})
	before := out.all.Len()

	c := start(t, p, Options{Dir: left})
	for _, want := range []string{"screens is restored, side gets slides, every other output is left as it is", "nothing is sent besides"} {
		if !strings.Contains(alertsOf(c), want) {
			t.Errorf("the alerts do not say %q: %s", want, alertsOf(c))
		}
	}
	await(t, "both wishes are met", func() bool {
		return strings.Contains(alertsOf(c), "screens was restored: cut main to goal, route aux1 from main") &&
			strings.Contains(alertsOf(c), "side was made safe: slides is routed to it")
	})
	await(t, "the devices were told", func() bool {
		return out.heard("cut main to goal") == 2 && out.heard("route aux1 from main") == 2 && out.heard("route router.4 from slides") == 2
	})
	if !c.View().Held {
		t.Error("nobody has resumed")
	}
	if a := c.Press(down(button(t, p, "Wide"))); a.Outcome != surface.Held {
		t.Errorf("a press: %+v", a)
	}
	if o := outputNamed(c, "side"); o.Wanted != "slides" || o.AfterCut != "was made safe: slides is routed to it" {
		t.Errorf("side: %+v", o)
	}
	if o := outputNamed(c, "stage"); o.AfterCut != "left as it is" {
		t.Errorf("stage: %+v", o)
	}
	time.Sleep(100 * time.Millisecond)
	out.mu.Lock()
	told := strings.Count(out.all.String()[before:], " hears cut") + strings.Count(out.all.String()[before:], " hears route")
	out.mu.Unlock()
	if told > 3 {
		t.Errorf("more was sent than the plan wishes: %s", out.all.String()[before:])
	}
	went(t, c.Press(resume))
	await(t, "what was met is told no more", func() bool { return outputNamed(c, "side").AfterCut == "" })
	stop(t, c)
	replays(t, left)
	if n := sentByPlan(t, left); n != 2 {
		t.Errorf("the journal has %d messages as the plan's", n)
	}
}

// sentByPlan counts the messages of a journal that the plan asked for and no
// event sent.
func sentByPlan(t *testing.T, dir string) (n int) {
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == journal.Sent && r.D == byPlan {
			n++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return n
}

// A picture that stood half way through a mix is restored as the mix was to
// bring it.
func TestRestoreAfterMix(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	p = r.Program()
	left := cutAfter(t, p, func(c *Controller) {
		went(t, tap(t, c, button(t, p, "Doors")))
		went(t, tap(t, c, button(t, p, "Replay")))
		await(t, "it mixes to the deck", func() bool { return out.heard("mix main") == 1 })
	})
	c := start(t, p, Options{Dir: left})
	await(t, "screens is restored", func() bool { return outputNamed(c, "screens").Wanted == "deck" })
	await(t, "the mixer is told", func() bool { return out.heard("cut main to deck") == 1 })
	await(t, "it is said", func() bool {
		return strings.Contains(alertsOf(c), "screens was restored: cut main to deck, route aux1 from main")
	})
	stop(t, c)
	replays(t, left)
}

// gate lets nothing through to a device while it is shut.
type gate struct {
	link
	shut *atomic.Bool
}

var errGate = errors.New("the gate is shut")

func (g *gate) send(ctx context.Context, messages []*program.Message) (int, string, error) {
	if g.shut.Load() {
		return 0, "", errGate
	}
	return g.link.send(ctx, messages)
}

func (g *gate) probe(ctx context.Context) error {
	if g.shut.Load() {
		return errGate
	}
	return g.link.probe(ctx)
}

// behind puts a device behind a gate, which is shut.
func behind(name string) (dial, *atomic.Bool) {
	shut := &atomic.Bool{}
	shut.Store(true)
	return func(d program.Device, heard osc.Handler, lost func()) (link, error) {
		l, err := dialler(credentials, false)(d, heard, lost)
		if err != nil || d.Name != name {
			return l, err
		}
		return &gate{l, shut}, nil
	}, shut
}

// A wish waits for a device that is away, says so, and is met when the device
// is back: also after somebody has resumed.
func TestWishWaits(t *testing.T) {
	for _, resumed := range []bool{false, true} {
		p := compiled(t)
		r, out := rack(t, p)
		p = r.Program()
		left := cutAfter(t, p, func(c *Controller) { went(t, tap(t, c, button(t, p, "Wide"))) })
		dial, shut := behind("router")
		c := start(t, p, Options{Dir: left, dial: dial})
		await(t, "the wish waits, and says so", func() bool { return strings.Contains(alertsOf(c), "side waits: router does not answer") })
		if o := outputNamed(c, "side"); o.AfterCut != "waits: router does not answer" || !o.NeedsLook() {
			t.Errorf("side: %+v", o)
		}
		if resumed {
			went(t, c.Press(resume))
		}
		if strings.Contains(alertsOf(c), "side was made safe") || out.heard("route router.4") > 0 {
			t.Error("it was met without the router")
		}
		shut.Store(false)
		await(t, "it is met when the router is back", func() bool {
			return out.heard("route router.4 from slides") == 1 && strings.Contains(alertsOf(c), "side was made safe")
		})
		stop(t, c)
		replays(t, left)
	}
}

// What an operator has taken in hand is not changed by a wish that comes late.
func TestWishGivenUp(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	p = r.Program()
	left := cutAfter(t, p, func(c *Controller) { went(t, tap(t, c, button(t, p, "Wide"))) })
	dial, shut := behind("router")
	c := start(t, p, Options{Dir: left, dial: dial})
	await(t, "the wish waits", func() bool { return strings.Contains(outputNamed(c, "side").AfterCut, "waits: router") })
	went(t, c.Press(resume))
	side := surface.Press{Kind: surface.Resend, Surface: -1, Destination: c.View().OutputNamed("side"), By: "test"}
	if a := c.Press(side); a.Outcome != surface.Refused {
		t.Errorf("sent again to a router that is away: %+v", a)
	}
	side.Kind = surface.Adopt
	went(t, c.Press(side))
	await(t, "it is said", func() bool { return strings.Contains(alertsOf(c), "side was left as it is, by hand") })
	shut.Store(false)
	await(t, "the router is back", func() bool { return !away(c, "router") })
	time.Sleep(50 * time.Millisecond)
	if out.heard("route router.4") > 0 {
		t.Error("a wish was met that was given up")
	}
	stop(t, c)
	replays(t, left)
}

// What a wish has sent and a device has not taken is sent again when the device
// is back.
func TestWishUndone(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	p = r.Program()
	left := cutAfter(t, p, func(c *Controller) { went(t, tap(t, c, button(t, p, "Wide"))) })
	dial, shut := behind("router")
	c := start(t, p, Options{Dir: left, dial: func(d program.Device, heard osc.Handler, lost func()) (link, error) {
		l, err := dial(d, heard, lost)
		if g, is := l.(*gate); is {
			return &slam{g}, err
		}
		return l, err
	}})
	await(t, "it was sent in vain, and waits", func() bool { return strings.Contains(outputNamed(c, "side").AfterCut, "waits: ") && away(c, "router") })
	shut.Store(false)
	await(t, "it is sent when the router is back", func() bool { return out.heard("route router.4 from slides") == 1 })
	stop(t, c)
	replays(t, left)
}

// slam can be reached, though nothing goes through while its gate is shut.
type slam struct{ *gate }

func (s *slam) probe(ctx context.Context) error { return s.link.probe(ctx) }

// After an orderly end nothing is wished.
func TestNoWishWithoutCut(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	p = r.Program()
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir})
	went(t, tap(t, c, button(t, p, "Wide")))
	stop(t, c)
	c = start(t, p, Options{Dir: dir})
	time.Sleep(300 * time.Millisecond)
	if out.heard("route router.4") != 0 || slices.ContainsFunc(c.View().Outputs, func(o surface.Output) bool { return o.AfterCut != "" }) {
		t.Errorf("something is wished: %s", alertsOf(c))
	}
	stop(t, c)
}

// Cut off after random presses, a show meets each wish, whatever it was in the
// middle of, and its journal replays: what is left stands as the stepper has
// it, what is restored as it stood, what is made safe shows its safe picture.
func TestWishesAfterAnything(t *testing.T) {
	p := deaf(compiled(t))
	rapid.Check(t, func(t *rapid.T) {
		var box testBox
		defer box.close()
		stands, _ := rackFor(t, &box, p)
		q := *stands.Program()
		wishesAnything(t, &q)
		dir, left := box.dir(t), box.dir(t)
		o, hand := byHand(Options{Dir: dir, Env: credentials})
		c := start(t, &q, o)
		for range rapid.IntRange(1, 20).Draw(t, "presses") {
			hand.move(int64(rapid.IntRange(0, 3000).Draw(t, "milliseconds")) * 1000)
			c.Press(draw(t, &q))
		}
		var stood *show
		look(c, func(s *show) {
			c.flush()
			stood = newShow(s.p, s.digest)
			stood.state.CopyFrom(s.state)
			copy(stood.facts, s.facts)
		})
		stop(t, c)
		cutOff(t, dir, left)

		c = start(t, &q, Options{Dir: left, Env: credentials})
		await(t, "all wishes are met or refused", func() bool {
			return !slices.ContainsFunc(c.View().Outputs, func(o surface.Output) bool { return strings.HasPrefix(o.AfterCut, "waits") })
		})
		look(c, func(s *show) { asWished(t, stood, s) })
		stop(t, c)
		replays(t, left)
	})
}

// wishesAnything has destinations wish what they can.
func wishesAnything(t *rapid.T, q *program.Program) {
	s := newShow(q, Digest(q))
	q.Destinations = slices.Clone(q.Destinations)
	for i := range q.Destinations {
		d := &q.Destinations[i]
		way := s.way(d.Node, s.value)
		d.AfterCut, d.Safe = program.Leave, -1
		if len(way) == 0 {
			continue
		}
		switch safe := q.Sources[rapid.IntRange(1, len(q.Sources)-1).Draw(t, "safe")].Node; rapid.IntRange(0, 2).Draw(t, d.Name) {
		case 1:
			d.AfterCut = program.Restore
		case 2:
			if q.Vars[d.Protect].Start == 0 && !s.m.Routes.NoPath(d.Node, safe) {
				d.AfterCut, d.Safe = program.SafePicture, safe
			}
		}
	}
}

// cutOff copies a journal without its orderly end.
func cutOff(t failing, dir, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	files, err := journal.Files(to)
	if err != nil {
		t.Fatal(err)
	}
	last := files[len(files)-1]
	data, err := os.ReadFile(last)
	if err != nil {
		t.Fatal(err)
	}
	end := journal.Record{}
	if _, err := journal.ReadFile(last, func(r journal.Record) error { end = r; return nil }); err != nil || end.Kind != journal.Stopped {
		t.Fatalf("%+v %v", end, err)
	}
	if err := os.WriteFile(last, data[:len(data)-len(end.Append(nil))], 0o600); err != nil {
		t.Fatal(err)
	}
}

// asWished holds a show against how it stood, and what its plan wishes.
func asWished(t failing, stood, s *show) {
	t.Helper()
	moved := map[int32]bool{} // by a safe picture, on whose way others may hang
	for i := range s.p.Destinations {
		if d := &s.p.Destinations[i]; d.AfterCut == program.SafePicture {
			for _, p := range append(s.way(d.Node, s.value), stood.way(d.Node, stood.value)...) {
				moved[p.v] = true
			}
		}
	}
	was := stood.stood()
	for i := range s.p.Destinations {
		d := &s.p.Destinations[i]
		w := s.wishOf(int32(i))
		switch {
		case d.AfterCut == program.SafePicture && strings.HasPrefix(w.words, "was made safe"):
			if got := s.tell.Picture(s.state, d.Node); got != s.pictureName(d.Safe) {
				t.Errorf("%s was made safe with %s and shows %s", d.Name, s.pictureName(d.Safe), got)
			}
		case d.AfterCut != program.SafePicture:
			for _, p := range s.way(d.Node, func(v int32) uint32 { return s.m.L.Get(was, v) }) {
				if is := s.value(p.v); is != p.value && !moved[p.v] && !s.between(p.v) {
					t.Errorf("%s (%s): %s is %s and stood at %s", d.Name, w.words, s.p.Vars[p.v].Name, s.tell.Value(p.v, is), s.tell.Value(p.v, p.value))
				}
			}
		}
	}
}
