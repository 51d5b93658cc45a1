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
		dial:  func(program.Device, osc.Handler) (link, error) { return s.told, nil }}
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
