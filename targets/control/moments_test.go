package control

import (
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// setClock is a bubble's clock whose wall clock a test sets. A bubble begins at
// midnight, UTC.
type setClock struct {
	bubbleClock
	by *atomic.Int64
}

func (c setClock) wall() time.Time { return c.bubbleClock.wall().Add(time.Duration(c.by.Load())) }

// evening is the small show with a cue at ten past midnight.
type evening struct {
	*stage
	by atomic.Int64
}

func onEvening(t *testing.T, test func(*evening)) {
	e := &evening{}
	onStage(t, func(s *stage) {
		e.stage = s
		test(e)
	}, e.clock)
}

func (e *evening) clock(o *Options) {
	o.clock = func(at int64) clock { return setClock{bubbleClock{startClock(at)}, &e.by} }
}

// set sets the wall clock.
func (e *evening) set(by time.Duration) { e.by.Add(int64(by)) }

func (e *evening) at(clock string) {
	e.t.Helper()
	e.swap("at 21:15:00", "at "+clock, "clock 21:15:00", "clock "+clock, "Europe/Vienna", "UTC")
}

// swap has another show run.
func (e *evening) swap(pairs ...string) {
	e.t.Helper()
	e.book.with(pairs...)
	if r, err := e.Load(surface.Load{By: "test"}); err != nil || !r.Taken {
		e.t.Fatalf("%+v %v", r, err)
	}
	e.wait(50 * time.Millisecond)
}

// fired is how often the cue at ten past midnight was fired.
func (e *evening) fired() int { return strings.Count(e.alerts(), "start again") }

func (e *evening) says(want string, is bool) {
	e.t.Helper()
	if got := e.alerts(); strings.Contains(got, want) != is {
		e.t.Errorf("that it says %q should be %v:\n%s", want, is, got)
	}
}

// A cue comes by the clock at its moment, as if it had been called by number:
// those before it are left out, and that is told. The log says what fired it.
func TestByTheClock(t *testing.T) {
	onEvening(t, func(e *evening) {
		e.at("00:10:00")
		if v := e.View(); v.Clock == nil || v.Clock.At != "00:10:00" || v.Clock.Due.UTC().Format(time.TimeOnly) != "00:10:00" {
			t.Errorf("next by the clock: %+v", v.Clock)
		}
		e.wait(9*time.Minute + 59*time.Second)
		if n := e.fired(); n != 0 {
			t.Fatalf("fired %d times before it was due", n)
		}
		e.wait(time.Second)
		if n := e.fired(); n != 1 {
			t.Fatalf("fired %d times", n)
		}
		e.says(`cue 3.5 "Extra" at 00:10:00 was fired before what was on standby: 3 cues from cue 1 "Doors" on are left out`, true)
		if v := e.View(); v.Clock != nil {
			t.Errorf("what it has fired still comes: %+v", v.Clock)
		}
		e.wait(25 * time.Hour)
		if n := e.fired(); n != 1 {
			t.Errorf("fired %d times after a day", n)
		}
		dir := e.dir
		e.end()
		told := map[string]bool{}
		if _, err := Read(dir, func(x Entry) error { told[x.Kind+": "+x.Who+": "+x.What] = true; return nil }); err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{`cue: by the clock, 00:10:00: cue 3.5 "Extra"`, `event: : by the clock, 00:10:00: cue 3.5 "Extra"`} {
			if !told[want] {
				t.Errorf("the log does not have %s:\n%v", want, told)
			}
		}
	})
}

// Its moment is exact, however long nothing else happens.
func TestTheClockIsExact(t *testing.T) {
	onEvening(t, func(e *evening) {
		e.swap("alert \"start again\"; go", "cut main to goal", "at 21:15:00", "at 05:00:00", "Europe/Vienna", "UTC", "  clock 21:15:00; expect alert \"start again\"\n", "")
		e.wait(6 * time.Hour)
		e.told.mu.Lock()
		defer e.told.mu.Unlock()
		if len(e.told.all) != 1 || e.told.all[0] != "5h0m0s /bank/1/program i:2" {
			t.Errorf("told %q", e.told.all)
		}
	})
}

// A clock that is set fires nothing that it skips, and nothing twice.
func TestTheClockIsSet(t *testing.T) {
	const min, sec = time.Minute, time.Second
	type thing func(*evening)
	wait := func(d time.Duration) thing { return func(e *evening) { e.wait(d) } }
	set := func(d time.Duration) thing { return func(e *evening) { e.set(d); e.wait(sec) } }
	back := func(e *evening) { // the operator has it on standby again
		for range 2 {
			e.give(surface.Back, "ann")
		}
	}
	for _, c := range []struct {
		name   string
		things []thing
		fired  int
		says   string
		not    string
	}{
		{"not at all", []thing{wait(11 * min)}, 1, "start again", "was set"},
		{"back over it", []thing{wait(10*min + 5*sec), back, set(-10 * sec), wait(30 * sec)}, 1, "was set back by 10 s", "missed"},
		{"back over it, and the next day", []thing{wait(10*min + 5*sec), back, set(-10 * sec), wait(25 * time.Hour)}, 2, "was set back by 10 s", "missed"},
		{"back before it comes", []thing{wait(9 * min), set(-5 * min), wait(3 * min)}, 0, "was set back by 5 min 0 s", "missed"},
		{"back before it comes, and then it does", []thing{wait(9 * min), set(-5 * min), wait(6 * min)}, 1, "was set back by 5 min 0 s", "missed"},
		{"forward to just before it", []thing{wait(min), set(8*min + 50*sec), wait(10 * sec)}, 1, "was set forward by 8 min 50 s", "missed"},
		{"forward over it", []thing{wait(6 * min), set(8*min + 9500*time.Millisecond), wait(min)}, 0, `cue 3.5 "Extra" at 00:10:00 was missed by 4 min 10 s: it is not fired`, "start again"},
		{"forward by a hair's breadth", []thing{wait(10*min - 300*time.Millisecond), set(600 * time.Millisecond), wait(min)}, 1, "start again", "was set"},
		{"forward over it, and the next day", []thing{wait(6 * min), set(9 * min), wait(24 * time.Hour)}, 1, "was missed by", "nobody"},
		{"forward and back over it", []thing{wait(6 * min), set(9 * min), set(-9 * min), wait(5 * min)}, 0, "was missed by", "start again"},
		{"it was years out", []thing{wait(min), set(56 * 365 * 24 * time.Hour), wait(min)}, 0, "was set forward by 20440 days", "missed"},
		{"it was years out, and then it comes", []thing{wait(min), set(56 * 365 * 24 * time.Hour), wait(10 * min)}, 1, "start again", "missed"},
		{"years back", []thing{wait(min), set(-3 * 365 * 24 * time.Hour), wait(10 * min)}, 1, "was set back by 1095 days", "missed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			onEvening(t, func(e *evening) {
				e.t = t
				e.at("00:10:00")
				for _, do := range c.things {
					do(e)
				}
				if n := e.fired(); n != c.fired {
					t.Errorf("fired %d times, want %d", n, c.fired)
				}
				e.says(c.says, true)
				e.says(c.not, false)
				e.end()
			})
		})
	}
}

// arms are presses that disarm and arm.
func (e *evening) arm(kind surface.Kind, cue int32) surface.Answer {
	e.t.Helper()
	return e.Press(surface.Press{Kind: kind, Surface: -1, Button: -1, Cue: cue, Destination: -1, By: "ann"})
}

// What is disarmed does not fire and is not missed; a cue that the rundown is
// past comes no more; a new show keeps what was disarmed, by its number.
func TestArmed(t *testing.T) {
	const extra, anthem = 3, 4
	onEvening(t, func(e *evening) {
		e.at("00:10:00")
		went(t, e.arm(surface.Disarm, extra))
		if a := e.arm(surface.Disarm, extra); a.Outcome != surface.Refused {
			t.Errorf("twice: %+v", a)
		}
		if a := e.arm(surface.Disarm, 0); a.Outcome != surface.Refused || a.Text != "cue 1 does not fire by itself" {
			t.Errorf("of a cue without a moment: %+v", a)
		}
		e.wait(50 * time.Millisecond)
		if v := e.View(); v.Clock != nil || fmt.Sprint(v.Disarmed) != "[3]" {
			t.Errorf("next %+v, disarmed %v", v.Clock, v.Disarmed)
		}
		e.at("00:20:00")
		e.wait(21 * time.Minute)
		e.says("start again", false)
		e.says("missed", false)
		e.at("00:30:00")
		went(t, e.arm(surface.Disarm, -1))
		e.wait(50 * time.Millisecond)
		if v := e.View(); fmt.Sprint(v.Disarmed) != "[3 4]" {
			t.Errorf("all disarmed: %v", v.Disarmed)
		}
		went(t, e.arm(surface.Arm, -1))
		e.wait(10 * time.Minute)
		if n := e.fired(); n != 1 {
			t.Errorf("armed again, it fired %d times", n)
		}
		e.end()
	})
	onEvening(t, func(e *evening) {
		e.at("00:10:00")
		for range anthem {
			e.give(surface.Skip, "ann")
		}
		e.wait(11 * time.Minute)
		e.says("start again", false)
		e.says("missed", false)
		e.end()
	})
}

// What comes while the controller is down is told when it is up and never fired
// late; while nobody has resumed nothing fires; what was disarmed stays so.
func TestMomentsAfterACut(t *testing.T) {
	onEvening(t, func(e *evening) {
		e.book.with("at 21:15:00", "at 00:10:00", "clock 21:15:00", "clock 00:10:00", "Europe/Vienna", "UTC",
			`at timecode 01:02:03:04 { key logo off }`, "at 00:30:00 { key logo off }", "; expect alert \"start again\"\n  timecode 01:02:03:04", "\n  clock 00:30:00",
			"  cue 4 ", "  cue 3.7 \"Late\" at 00:20:00 { alert \"late\" }\n  cue 4 ")
		if r, err := e.Load(surface.Load{By: "test"}); err != nil || !r.Taken {
			t.Fatalf("%+v %v", r, err)
		}
		e.wait(time.Minute)
		went(t, e.arm(surface.Disarm, 4))
		e.wait(time.Second)
		left := cut(t, e.dir)
		stop(t, e.Controller)
		e.wait(13*time.Minute + 9*time.Second)
		e.dir = left
		e.begin(e.clock)
		e.says(`cue 3.5 "Extra" at 00:10:00 was missed by 4 min 10 s: it is not fired`, true)
		if v := e.View(); !v.Held || fmt.Sprint(v.Disarmed) != "[4]" {
			t.Errorf("held %v, disarmed %v", v.Held, v.Disarmed)
		}
		e.wait(6 * time.Minute)
		e.says("late", false)
		e.wait(10 * time.Minute)
		e.says(`cue 4 "Anthem" at 00:30:00 has come, and nobody has resumed the show: it is not fired`, true)
		went(t, e.give(surface.Resume, "ann"))
		e.wait(24 * time.Hour)
		if n := e.fired(); n != 1 {
			t.Errorf("the next day it fired %d times", n)
		}
		e.end()
	})
}

// A press at the very moment is after it, and a wait that ends before it comes
// before it: all of one turn.
func TestMomentsAreInOrder(t *testing.T) {
	p := deaf(compiled(t))
	q := *p
	q.Cues = append(q.Cues[:0:0], p.Cues...)
	q.Cues[3].By, q.Cues[3].Moment, q.Zone = program.ByClock, 8, "UTC"
	synctest.Test(t, func(t *testing.T) {
		o, clock := byHand(Options{Dir: t.TempDir()})
		o.dial = func(program.Device, osc.Handler, func()) (link, error) { return &paper{start: time.Now()}, nil } // none goes away
		clock.began = time.Date(2026, 7, 4, 0, 0, 0, 0, time.UTC)
		c := start(t, &q, o)
		clock.move(7_700_000)
		went(t, c.Press(down(button(t, &q, "Quiet")))) // a wait of 200 ms beside a fade, and another fade
		clock.move(800_000)                            // in one go over all
		went(t, c.Press(down(button(t, &q, "Wide"))))
		stop(t, c)
		var order []string
		if _, err := Read(o.Dir, func(x Entry) error {
			if x.Kind == "event" {
				order = append(order, fmt.Sprint(x.Micros/1000, " ", x.What))
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		want := []string{`7700 desk: cameras 2.2 "Quiet"`, "7900 quiet branch 2: a wait", "8000 by the clock", "8400 main: the fade", `8500 desk: cameras 1.1 "Wide"`}
		for i, w := range want {
			if i >= len(order) || !strings.HasPrefix(order[i], w) {
				t.Fatalf("the events are\n%s\nwant %q", strings.Join(order, "\n"), want)
			}
		}
	})
}

// A zone that this machine does not know is told before anything runs, and a
// show that names one is not taken.
func TestZoneNotKnownHere(t *testing.T) {
	p := *deaf(compiled(t))
	p.Zone = "Nowhere/Town"
	if _, err := Start(&p, Options{}); err == nil || !strings.Contains(err.Error(), "the time zone of the show is not known here") {
		t.Errorf("started: %v", err)
	}
}

// What the clock costs a turn, in readings of the clock.
func BenchmarkClockOfATurn(b *testing.B) {
	p := *deaf(compiled(b))
	p.Cues = append(p.Cues[:0:0], p.Cues...)
	p.Cues[3].By, p.Cues[3].Moment = program.ByClock, 76_500
	c := start(b, &p, Options{})
	defer stop(b, c)
	look(c, func(*show) {
		for b.Loop() {
			c.lookAtClock(c.clock.now())
			c.come()
			c.show.moments.rings()
		}
		spent := b.Elapsed()
		began := time.Now()
		for range b.N {
			_ = c.clock.wall()
		}
		b.ReportMetric(float64(spent)/float64(time.Since(began)), "readings")
	})
}
