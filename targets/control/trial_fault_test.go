package control

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/observe"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// cables are what devices hang on: one that was pulled takes nothing.
type cables struct {
	mu     sync.Mutex
	pulled map[string]bool
	dialed map[string]int
	closed map[string]int
}

func newCables() *cables {
	return &cables{pulled: map[string]bool{}, dialed: map[string]int{}, closed: map[string]int{}}
}

func (c *cables) pull(device string, out bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.pulled[device] = out
}

func (c *cables) open(device string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.dialed[device] - c.closed[device]
}

// corded is a paper device on such a cable.
type corded struct {
	*paper
	on     *cables
	device string
}

func (d corded) there() error {
	d.on.mu.Lock()
	defer d.on.mu.Unlock()
	if d.on.pulled[d.device] {
		return errors.New("no answer from " + d.device)
	}
	return nil
}

func (d corded) send(ctx context.Context, messages []*program.Message) (int, string, error) {
	if err := d.there(); err != nil {
		return 0, "", err
	}
	return d.paper.send(ctx, messages)
}

func (d corded) probe(context.Context) error { return d.there() }

func (d corded) close() {
	d.on.mu.Lock()
	defer d.on.mu.Unlock()
	d.on.closed[d.device]++
}

// cable has a stage's devices hang on cables.
func (s *stage) cable(on *cables) func(*Options) {
	return func(o *Options) {
		o.dial = func(d program.Device, _ osc.Handler, _ func()) (link, error) {
			on.mu.Lock()
			defer on.mu.Unlock()
			if on.pulled["the hub"] && on.dialed[d.Name] == 0 {
				return nil, errors.New("there is no way to " + d.Name)
			}
			on.dialed[d.Name]++
			return corded{s.told, on, d.Name}, nil
		}
	}
}

// onCables runs the book's show with its devices on cables.
func onCables(t *testing.T, test func(*stage, *cables)) {
	onStage(t, func(s *stage) {
		s.end()
		s.dir = t.TempDir()
		on := newCables()
		s.begin(s.cable(on))
		test(s, on)
	})
}

// A device that is away at the end is not told anything then: that is said, its
// bus is taken to be where the trial left it, and it can be sent again when the
// device is back.
func TestTrialEndsWithDeviceAway(t *testing.T) {
	onCables(t, func(s *stage, on *cables) {
		s.tap("Wide")
		s.tap("Crew")
		s.tap("Doors") // route side, stage from slides
		s.tap("Back")
		s.book.with(`"Wide"    { cut main to wide }`, `"Wide 2"  { cut main to goal; route stage from guest }`)
		s.sent()
		s.try(10 * time.Second)
		s.tap("Wide 2")
		s.wants("on trial", "/bank/1/program i:2", "/route i:3 i:3")
		on.pull("router", true)
		s.wait(time.Second)
		s.tap("Wide 2") // its line hears that it is away
		s.wait(10 * time.Second)
		s.wants("at the end", "/bank/1/program i:1", "/bank/1/program i:2")
		if text := s.alerts(); !strings.Contains(text, "sent again: cut main to wide; NOT as it was: ") || !strings.Contains(text, "router.3 (router does not answer: send it again when it does)") {
			t.Errorf("it was not said: %s", text)
		}
		if got := s.bus("router.3"); got != "guest" {
			t.Errorf("the stage is taken to show %s", got)
		}
		on.pull("router", false)
		s.wait(3 * time.Second)
		s.wants("when it is back")
		went(t, s.Press(surface.Press{Kind: surface.Resend, Surface: -1, Destination: s.View().OutputNamed("stage"), By: "test"}))
		s.wait(time.Second)
		s.wants("sent again", "/route i:3 i:2")
		s.end()
	})
}

// What somebody changed by hand while the show was on trial, and the show did
// not, is left as it is.
func TestTrialLeavesHandsAlone(t *testing.T) {
	hear := func(c *Controller, name string, value uint32) {
		look(c, func(s *show) {
			for v := range s.p.Vars {
				if s.p.Vars[v].Name == name {
					c.hear(s.lines[s.p.Banks[0].Device], letter{Observed: observe.Observed{Var: int32(v), Value: value}}, s.state.Now)
				}
			}
		})
	}
	onStage(t, func(s *stage) {
		s.tap("Wide")
		s.wait(time.Second)
		s.book.with(`"Goal"    { cut main to goal }`, `"Goal"    { cut effects to goal }`)
		s.sent()
		s.try(5 * time.Second)
		hear(s.Controller, "main.program", 2)
		if got := s.bus("main.program"); got == "wide" {
			t.Fatal("the hand's change was not heard")
		}
		if r := s.View().Trial.Returns; len(r) != 0 {
			t.Errorf("to be sent back: %q", r)
		}
		s.wait(6 * time.Second)
		s.wants("at the end")
		if got := s.bus("main.program"); got == "wide" {
			t.Error("the hand's change is forgotten")
		}
		s.end()
	})
}

// A device that only the new show has is let go when the old one is back; one
// that only the old one has stays connected, and is known to be away if it is.
func TestTrialAndLines(t *testing.T) {
	onCables(t, func(s *stage, on *cables) {
		plan := filepath.Join(filepath.Dir(s.book.path), "rack.yaml")
		old, err := os.ReadFile(plan)
		if err != nil {
			t.Fatal(err)
		}
		text := string(old)
		for _, swap := range [][2]string{{"to: osc.udp://127.0.0.1:9208", "to: osc.udp://127.0.0.1:9218"}} {
			text = strings.Replace(text, swap[0], swap[1], 1)
		}
		if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		s.try(10 * time.Second)
		if n := on.open("strip"); n != 2 {
			t.Errorf("%d lines lead to the power strip, not 2", n)
		}
		if n := on.open("mixer"); n != 1 {
			t.Errorf("%d lines lead to the mixer", n)
		}
		look(s.Controller, func(*show) { // the old address is gone, which nobody hears while the new show runs
			for i, d := range s.trial.old.p.Devices {
				if d.Name == "strip" {
					s.trial.old.lines[i].fail(errors.New("unplugged"))
				}
			}
		})
		if away := s.View().Away; len(away) != 0 {
			t.Errorf("away on trial: %v", away)
		}
		s.wait(20 * time.Second)
		if n := on.open("strip"); n != 1 {
			t.Errorf("afterwards %d lines lead to the power strip", n)
		}
		s.end()
		for device, n := range on.dialed {
			if on.open(device) != 0 {
				t.Errorf("of %d lines to %s %d are left", n, device, on.open(device))
			}
		}
	})
}

// A load that cannot start changes nothing: the old show runs on, with its
// lines, and takes presses.
func TestLoadThatCannotStart(t *testing.T) {
	newDevice := func(t *testing.T, s *stage) {
		plan := filepath.Join(filepath.Dir(s.book.path), "rack.yaml")
		data, err := os.ReadFile(plan)
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Replace(string(data), "  hall: { kind: machine,", "  fog: { kind: machine, about: beside the hall's own }\n  hall: { kind: machine,", 1)
		text = strings.Replace(text, "  hall:\n    to: osc.udp://127.0.0.1:9209\n", "  hall:\n    to: osc.udp://127.0.0.1:9209\n  fog:\n    to: osc.tcp://127.0.0.1:9210\n", 1)
		text = strings.Replace(text, "messages:   ", "messages:\n  smoke: { device: fog, osc: /fog, args: [1] }   ", 1)
		if err := os.WriteFile(plan, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		s.book.with("send horn", "send horn; send smoke")
	}
	for _, trial := range []time.Duration{0, time.Minute} {
		for name, c := range map[string]struct {
			hinder func(*testing.T, *stage, *cables)
			want   string
		}{
			"no line to a new device": {func(t *testing.T, s *stage, on *cables) { newDevice(t, s); on.pull("the hub", true) }, "the new show cannot start: there is no way to fog"},
			"it cannot be kept": {func(t *testing.T, s *stage, _ *cables) {
				s.book.with(`"Wide"    { cut main to wide }`, `"Wide 2"  { cut main to goal }`)
				if err := os.Mkdir(programName(s.dir, Digest(deaf(s.book.load().Program))), 0o700); err != nil {
					t.Fatal(err)
				}
			}, "the new show cannot be kept"},
			"it has errors": {func(_ *testing.T, s *stage, _ *cables) { s.book.with("cut main to wide", "cut main to wdie") }, "wdie"},
			"it is not there": {func(t *testing.T, s *stage, _ *cables) {
				if err := os.Remove(s.book.path); err != nil {
					t.Fatal(err)
				}
			}, "there is no file"},
		} {
			t.Run(name, func(t *testing.T) {
				onCables(t, func(s *stage, on *cables) {
					before := s.View()
					c.hinder(t, s, on)
					if r, err := s.Load(surface.Load{By: "test", Trial: trial, Force: trial == 0}); err == nil || !strings.Contains(err.Error(), c.want) {
						t.Errorf("%+v, %v", r, err)
					}
					s.wait(time.Second)
					if v := s.View(); v.Running != before.Running || v.Program != before.Program || v.Trial != nil || v.OnDisk == before.OnDisk {
						t.Errorf("afterwards %+v", v)
					}
					went(t, s.tap("Wide"))
					s.wants("afterwards", "/bank/1/program i:1")
					s.end()
					for device := range on.dialed {
						if on.open(device) != 0 {
							t.Errorf("a line to %s is left", device)
						}
					}
				})
			})
		}
	}
}

// Wherever the power goes around the begin and the end of a trial, the show
// that runs then is the one before it, or, from the press on that kept it, the
// new one; and the journal replays.
func TestTrialCutAnywhere(t *testing.T) {
	for name, kind := range map[string]surface.Kind{"kept": surface.Keep, "back": surface.Return} {
		t.Run(name, func(t *testing.T) {
			onStage(t, func(s *stage) {
				s.tap("Wide")
				old := s.View().Running
				s.book.with(`"Wide"    { cut main to wide }`, `"Wide 2"  { cut main to goal }`)
				s.try(time.Minute)
				tried := s.View().Running
				s.tap("Wide 2")
				went(t, s.give(kind, "test"))
				left := s.cut()
				at := filepath.Join(left, "000001.journal")
				whole, err := os.ReadFile(at)
				if err != nil {
					t.Fatal(err)
				}
				given, runs := deaf(s.book.load().Program), map[string]int{}
				begun := recordsUntil(t, whole, "ON TRIAL")
				for n := len(whole); n >= begun; n -= 1 + n%53 {
					if err := os.WriteFile(at, whole[:n], 0o600); err != nil {
						t.Fatal(err)
					}
					is, past, err := (&Controller{opts: Options{Dir: left}}).recover(newShow(given, tried))
					if err != nil || past == nil {
						t.Fatalf("cut at %d of %d: %v", n, len(whole), err)
					}
					if kind == surface.Return && is.digest != old {
						t.Fatalf("cut at %d of %d: what nobody kept runs", n, len(whole))
					}
					runs[is.digest]++
					replays(t, left)
				}
				if runs[old] == 0 || (runs[tried] > 0) != (kind == surface.Keep) || len(runs) > 2 {
					t.Errorf("ran %v: the old one is %s", runs, old)
				}
			})
		})
	}
}

// recordsUntil is how many bytes of a journal there are up to the alert with a
// text.
func recordsUntil(t *testing.T, whole []byte, text string) int {
	t.Helper()
	used, _, _, err := journal.Stream(strings.NewReader(string(whole)), func(r journal.Record) error {
		if r.Kind == journal.Alert && strings.Contains(r.Text, text) {
			return errFound
		}
		return nil
	})
	if !errors.Is(err, errFound) {
		t.Fatalf("%q is not in the journal: %v", text, err)
	}
	return int(used)
}
