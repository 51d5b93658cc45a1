package control

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// stage is a book's show in a synctest bubble: its devices are paper.
type stage struct {
	*Controller
	t    *testing.T
	book *book
	told *paper
	dir  string
	base int // of what the devices were told, of which lines were read
}

// onStage runs the book's show for a test, in a bubble.
func onStage(t *testing.T, test func(*stage), changes ...func(*Options)) {
	b := newBook(t)
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		s := &stage{t: t, book: b, dir: dir, told: &paper{start: time.Now()}}
		b.t = t
		s.begin(changes...)
		defer func() {
			if s.Controller != nil {
				stop(t, s.Controller)
			}
		}()
		test(s)
	})
}

// begin starts the show that is in the file.
func (s *stage) begin(changes ...func(*Options)) {
	s.t.Helper()
	load := func() prepare.Result {
		r := s.book.load()
		if r.Program != nil {
			r.Program = deaf(r.Program)
		}
		return r
	}
	o := Options{Dir: s.dir, Load: load,
		clock: func(at int64) clock { return bubbleClock{startClock(at)} },
		dial:  func(program.Device, osc.Handler, func()) (link, error) { return s.told, nil }}
	for _, change := range changes {
		change(&o)
	}
	s.Controller = start(s.t, load().Program, o)
}

// wait lets time pass.
func (s *stage) wait(d time.Duration) { time.Sleep(d) }

// sent is what the devices were told since it was asked last, without times.
func (s *stage) sent() []string {
	s.told.mu.Lock()
	defer s.told.mu.Unlock()
	var all []string
	for _, line := range s.told.all[s.base:] {
		_, text, _ := strings.Cut(line, " ")
		all = append(all, text)
	}
	s.base = len(s.told.all)
	slices.Sort(all) // devices work side by side
	return all
}

func (s *stage) tap(label string) surface.Answer {
	s.t.Helper()
	a := tap(s.t, s.Controller, button(s.t, s.View().Program, label))
	s.wait(50 * time.Millisecond)
	return a
}

func (s *stage) give(kind surface.Kind, by string) surface.Answer {
	s.t.Helper()
	a := s.Press(surface.Press{Kind: kind, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: by})
	s.wait(50 * time.Millisecond)
	return a
}

func (s *stage) try(d time.Duration) {
	s.t.Helper()
	if r, err := s.Load(surface.Load{By: "test", Trial: d}); err != nil || !r.Taken {
		s.t.Fatalf("%+v %v", r, err)
	}
	s.wait(50 * time.Millisecond)
}

func (s *stage) wants(what string, want ...string) {
	s.t.Helper()
	if got := s.sent(); fmt.Sprint(got) != fmt.Sprint(want) {
		s.t.Errorf("%s: sent %q, want %q", what, got, want)
	}
}

func (s *stage) alerts() string {
	var texts []string
	for _, a := range s.View().Alerts {
		texts = append(texts, a.Text)
	}
	return strings.Join(texts, "\n")
}

func (s *stage) page() string { return s.View().PageName(0) }

// end stops the show and holds its journal against itself.
func (s *stage) end() {
	s.t.Helper()
	stop(s.t, s.Controller)
	s.Controller = nil
	replays(s.t, s.dir)
}

// bus is what a bus selects, by its variable's name.
func (s *stage) bus(name string) string {
	got := "?"
	look(s.Controller, func(x *show) {
		v := slices.IndexFunc(x.p.Vars, func(v program.Var) bool { return v.Name == name })
		got = x.tell.Value(int32(v), x.m.L.Get(x.state, int32(v)))
	})
	return got
}

// Nobody keeps it: at the end of the count-down the old show is back as it was,
// with its page and standby, and the bus that was changed, and only that one, is
// sent again. What was recorded goes on.
func TestTrialReturns(t *testing.T) {
	onStage(t, func(s *stage) {
		s.tap("Wide")
		s.tap("Crew")
		s.wants("before", "/bank/1/program i:1")
		old := s.View()
		s.book.with(`button 1.1 "Wide"    { cut main to wide }`, `button 1.1 "Wide 2"  { cut main to goal; record iso }`, `cue 3.5 "Extra"`, `cue 3.6 "Extra"`)
		s.try(time.Minute)
		s.wants("loading it")
		v := s.View()
		if v.Running == old.Running || v.Running != v.OnDisk || v.Trial == nil || v.Trial.Before != old.Running || v.Trial.By != "test" {
			t.Errorf("running %s, on the disk %s, %+v", v.Running, v.OnDisk, v.Trial)
		}
		if left := v.Trial.Left(time.Now()); left != 60 {
			t.Errorf("%d s are left", left)
		}
		if text := s.alerts(); !strings.Contains(text, "ON TRIAL for 1m0s") || !strings.Contains(text, "is SENT again") {
			t.Errorf("nothing was said before: %s", text)
		}
		s.tap("Back")
		s.tap("Wide 2")
		s.give(surface.Skip, "test")
		s.wants("on trial", "/bank/1/program i:2", `/record s:"iso" T:true`)
		if r := s.View().Trial.Returns; fmt.Sprint(r) != "[cut main to wide]" {
			t.Errorf("to be sent back: %q", r)
		}
		s.wait(59 * time.Second)
		if s.View().Running == old.Running {
			t.Fatal("it is back too early")
		}
		s.wants("before the end")
		s.wait(time.Second)
		v = s.View()
		if v.Running != old.Running || v.Trial != nil || s.page() != "crew" || v.Standby != old.Standby {
			t.Errorf("afterwards %+v", v)
		}
		s.wants("at the end", "/bank/1/program i:1")
		if got := s.bus("main.program") + " " + s.bus("iso.state"); got != "wide rolling" {
			t.Errorf("afterwards %s", got)
		}
		if text := s.alerts(); !strings.Contains(text, "nobody has kept the new show: the show before is back; sent again: cut main to wide") {
			t.Errorf("it was not said: %s", text)
		}
		if a := s.give(surface.Keep, "late"); a.Outcome != surface.Refused {
			t.Errorf("kept when it is over: %+v", a)
		}
		s.end()
	})
}

// One press keeps it: nothing is sent, and the end of the time changes nothing.
func TestTrialKept(t *testing.T) {
	onStage(t, func(s *stage) {
		s.tap("Wide")
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide 2"  { cut main to goal }`)
		s.try(5 * time.Second)
		s.tap("Wide 2")
		s.sent()
		went(t, s.give(surface.Keep, "tablet"))
		running := s.View().Running
		s.wait(time.Minute)
		s.wants("kept")
		if v := s.View(); v.Trial != nil || v.Running != running || s.bus("main.program") != "goal" {
			t.Errorf("%+v", v)
		}
		if text := s.alerts(); !strings.Contains(text, "kept by tablet") {
			t.Errorf("it was not said: %s", text)
		}
		if a := s.give(surface.Return, "late"); a.Outcome != surface.Refused || a.Reason != step.NothingToDo {
			t.Errorf("ended when it was kept: %+v", a)
		}
		s.end()
	})
}

// At the end every script of the new show is ended, what is half on air is
// brought to an end, and what has no message or was never known stays and is
// named, before and after.
func TestTrialEndsWhatRuns(t *testing.T) {
	onStage(t, func(s *stage) {
		s.tap("Wide")
		s.book.with(`"Wide"    { cut main to wide }`,
			`"Wide 2"  { cut effects to goal; key logo on; preset main to goal; mix main over 5s; note "half"; wait 10s; route stage from slides }`)
		s.sent()
		s.try(10 * time.Second)
		const left = "effects.program (that show has no message for black)"
		if text := s.alerts(); !strings.Contains(text, "these cannot be sent back: ") || !strings.Contains(text, left) || strings.Contains(text, "main.program (") {
			t.Errorf("what cannot be sent back was not said before: %s", text)
		}
		s.wait(7 * time.Second)
		s.tap("Wide 2") // ends in mid-mix and mid-script
		s.wants("on trial", "/bank/1/mix i:250", "/bank/1/preset i:2", "/bank/2/program i:2", "/keyer/1 T:true")
		s.wait(3 * time.Second)
		s.wants("at the end", "/bank/1/program i:1", "/keyer/1 F:false")
		if got := s.bus("main.program") + " " + s.bus("effects.program") + " " + s.bus("logo.on"); got != "wide goal off" {
			t.Errorf("afterwards %s", got)
		}
		look(s.Controller, func(x *show) {
			if running := x.tell.Scene(x.state).Running; len(running) > 0 || x.between(x.p.Banks[0].Program) {
				t.Errorf("still running: %v", running)
			}
		})
		if text := s.alerts(); !strings.Contains(text, "NOT as it was: ") || !strings.Contains(text, left) ||
			!strings.Contains(text, "key logo off (taken to be so: it was never set)") {
			t.Errorf("it was not said: %s", text)
		}
		s.wait(20 * time.Second)
		s.wants("long afterwards")
		s.end()
		ended := 0
		if _, err := journal.Read(s.dir, func(r journal.Record) error {
			if r.Kind == journal.Event && r.A == int32(step.StopAll) {
				ended++
			}
			return nil
		}); err != nil || ended != 1 {
			t.Errorf("the log says %d times that scripts were ended: %v", ended, err)
		}
	})
}

// What a trial may not be begun over, and what may not come while it lasts. The
// running show stays and nothing is sent.
func TestTrialRefused(t *testing.T) {
	onStage(t, func(s *stage) {
		refused := func(what string, how surface.Load, want string) {
			t.Helper()
			running := s.View().Running
			if r, err := s.Load(how); err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %+v, %v; want %q", what, r, err, want)
			}
			s.wait(20 * time.Millisecond)
			if s.View().Running != running || !strings.Contains(s.alerts(), want) {
				t.Errorf("%s: another show runs, or it was not said: %s", what, s.alerts())
			}
		}
		minute := surface.Load{By: "test", Trial: time.Minute}
		refused("the show that runs", minute, "there is nothing to try")
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`, "wait 00:00:00:10", "wait 00:00:00:12")
		refused("for too short", surface.Load{By: "test", Trial: time.Millisecond}, "from 1s to 30m0s, not 1ms")
		refused("for too long", surface.Load{By: "test", Trial: time.Hour}, "from 1s to 30m0s")
		s.tap("Quiet")
		refused("while it changes what runs", minute, "it changes quiet")
		s.wait(time.Second)
		s.give(surface.StopAll, "test")
		s.wait(3 * time.Second)
		s.tap("Replay")
		s.wait(450 * time.Millisecond)
		refused("between two pictures", minute, "main is between two pictures")
		s.wait(10 * time.Second)
		s.sent()
		s.try(time.Minute)
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide"    { cut main to title_card }`)
		refused("another trial", minute, "a show is on trial")
		refused("a reload", surface.Load{By: "test"}, "a show is on trial")
		refused("a forced reload", surface.Load{By: "test", Force: true}, "a show is on trial")
		s.wants("meanwhile")
		went(t, s.give(surface.Return, "test"))
		if v := s.View(); v.Trial != nil || !strings.Contains(s.alerts(), "test has ended the trial: the show before is back") {
			t.Errorf("%+v", v)
		}
		if r, err := s.Load(surface.Load{By: "test"}); err != nil || !r.Taken {
			t.Errorf("a reload after it: %+v, %v", r, err)
		}
		s.end()
	})
}

// A show that waits for scripts to end gives way to one that is tried.
func TestTrialInsteadOfWaiting(t *testing.T) {
	onStage(t, func(s *stage) {
		s.tap("Quiet")
		s.book.with("wait 00:00:00:10", "wait 00:00:00:12")
		if r, err := s.Load(surface.Load{By: "test"}); err != nil || r.Taken {
			t.Fatalf("%+v, %v", r, err)
		}
		s.wait(400 * time.Millisecond)
		s.give(surface.StopAll, "test")
		s.wait(3 * time.Second) // the fade has ended, and with it what the other waited for
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`)
		s.try(2 * time.Second)
		running := s.View().Trial.Before
		s.wait(3 * time.Second)
		if v := s.View(); v.Running != running {
			t.Errorf("%s runs, not %s", v.Running, running)
		}
		s.end()
	})
}

// While it is held after a cut nothing is tried: it could not be sent back.
func TestTrialWhileHeld(t *testing.T) {
	onStage(t, func(s *stage) {
		s.tap("Wide")
		s.dir = s.cut()
		s.begin()
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`)
		if _, err := s.Load(surface.Load{By: "test", Trial: time.Minute}); err == nil || !strings.Contains(err.Error(), "before somebody resumes") {
			t.Errorf("%v", err)
		}
		s.end()
	})
}

// cut is what a power cut now would leave. The show is stopped.
func (s *stage) cut() string {
	s.t.Helper()
	s.wait(100 * time.Millisecond) // for the journal
	left := cut(s.t, s.dir)
	stop(s.t, s.Controller)
	s.Controller = nil
	return left
}

// After a power cut in mid-trial, and after the old show has come back, the old
// one runs, held, however often the power goes; the file has the other one, and a
// load takes it. After an orderly stop the file is run, and so is a third show.
func TestTrialAndRestart(t *testing.T) {
	try := func(s *stage) (old, tried string) {
		s.tap("Wide")
		s.tap("Crew")
		old = s.View().Running
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide 2"  { cut main to goal }`)
		s.try(time.Minute)
		s.tap("Back")
		s.tap("Wide 2")
		tried = s.View().Running
		return old, tried
	}
	t.Run("cut", func(t *testing.T) {
		onStage(t, func(s *stage) {
			old, tried := try(s)
			s.sent()
			for i, moved := range []bool{true, false} { // by the second start it is long known
				s.dir = s.cut()
				s.begin()
				v := s.View()
				if v.Running != old || v.OnDisk != tried || !v.Held || v.Trial != nil || s.page() != "crew" {
					t.Errorf("after cut %d: %+v", i, v)
				}
				if got := s.bus("main.program"); got != "goal" {
					t.Errorf("main is taken to show %s", got)
				}
				if !strings.Contains(s.alerts(), "was on trial, and nobody has kept it") ||
					strings.Contains(s.alerts(), "changed by the show on trial, and not sent back: main.program") != moved {
					t.Errorf("after cut %d: %s", i, s.alerts())
				}
				s.wait(2 * time.Minute)
				s.wants("held, but for what the plan wishes", "/route i:4 i:2")
			}
			went(t, s.give(surface.Resume, "test"))
			s.wants("resumed")
			if r, err := s.Load(surface.Load{By: "test"}); err != nil || r.Digest != tried || !r.Taken {
				t.Errorf("it cannot be loaded: %+v %v", r, err)
			}
			s.dir = s.cut()
			s.begin()
			if v := s.View(); v.Running != tried {
				t.Errorf("what was loaded does not run after a cut: %+v", v)
			}
			s.end()
		})
	})
	t.Run("cut when it is over", func(t *testing.T) {
		onStage(t, func(s *stage) {
			old, _ := try(s)
			s.give(surface.Return, "test")
			s.dir = s.cut()
			s.begin()
			if v := s.View(); v.Running != old || !v.Held || s.bus("main.program") != "wide" {
				t.Errorf("%+v", v)
			}
			s.end()
		})
	})
	t.Run("stopped", func(t *testing.T) {
		onStage(t, func(s *stage) {
			_, tried := try(s)
			s.sent()
			s.end()
			s.wants("at the stop")
			s.begin()
			if v := s.View(); v.Running != tried || v.Held {
				t.Errorf("after the stop %+v", v)
			}
			s.wants("at the start")
			s.end()
		})
	})
	t.Run("another show", func(t *testing.T) {
		onStage(t, func(s *stage) {
			old, tried := try(s)
			s.dir = s.cut()
			s.book.with(`"Wide"    { cut main to wide }`, `"Wide 3"  { cut main to wide }`)
			s.begin()
			if v := s.View(); v.Running == old || v.Running == tried || !v.Held || s.page() != "crew" {
				t.Errorf("%+v", v)
			}
			s.end()
		})
	})
	t.Run("kept", func(t *testing.T) {
		onStage(t, func(s *stage) {
			_, tried := try(s)
			went(t, s.give(surface.Keep, "test"))
			s.dir = s.cut()
			s.begin()
			if v := s.View(); v.Running != tried || !v.Held || s.page() != "cameras" {
				t.Errorf("%+v", v)
			}
			s.end()
		})
	})
}
