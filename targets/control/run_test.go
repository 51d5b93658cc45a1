package control

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/prepare"
	"cuewright/targets/standin"
	"cuewright/targets/surface"
)

// client is what this binary does when it is the client of a benchmark.
var client func() error

func TestMain(m *testing.M) {
	if dir := childOf(); dir != "" {
		child(dir)
		return
	}
	if client != nil {
		if err := client(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	goleak.VerifyTestMain(m)
}

// compiled is the small show, without the clock: a test may run at any time of
// the day.
func compiled(t failing) *program.Program {
	t.Helper()
	r := prepare.Show("../../testdata/shows/small/small.show", prepare.Disk)
	if r.Program == nil {
		t.Fatalf("the show cannot be prepared: %v", r.Findings)
	}
	for i := range r.Program.Cues {
		if q := &r.Program.Cues[i]; q.By == program.ByClock {
			q.By, q.Moment = program.NoMoment, 0
		}
	}
	return r.Program
}

func credentials(name string) string {
	if strings.Contains(name, "TOKEN") {
		return "token-of-the-test"
	}
	return "operator:of-the-test"
}

// rack is stand-ins with what they write down.
func rack(t testing.TB, p *program.Program) (*standin.Rack, *lines) {
	t.Helper()
	out := &lines{}
	r, err := standin.Start(p, standin.Options{Lines: out, AnyPort: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := r.Close(); err != nil {
			t.Error(err)
		}
	})
	return r, out
}

// lines is a writer that can be read while it is written to.
type lines struct {
	mu  sync.Mutex
	all strings.Builder
}

var _ io.Writer = (*lines)(nil)

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all.Write(b)
}

// heard is the number of lines with a text, of what the devices were told.
func (l *lines) heard(text string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for line := range strings.Lines(l.all.String()) {
		if strings.Contains(line, " hears ") && strings.Contains(line, text) {
			n++
		}
	}
	return n
}

func start(t failing, p *program.Program, o Options) *Controller {
	t.Helper()
	if o.Env == nil {
		o.Env = credentials
	}
	c, err := Start(p, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func stop(t failing, c *Controller) {
	t.Helper()
	if err := stopped(c); err != nil {
		t.Error(err)
	}
}

func stopped(c *Controller) error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	return c.Stop(ctx)
}

// await waits for something that is to come about in another goroutine.
func await(t failing, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("it never came about: %s", what)
}

func button(t failing, p *program.Program, label string) int32 {
	t.Helper()
	for i, b := range p.Buttons {
		if b.Label == label {
			return int32(i)
		}
	}
	t.Fatalf("there is no button %q", label)
	return -1
}

func down(b int32) surface.Press {
	return surface.Press{Kind: surface.Down, Surface: -1, Button: b, Cue: -1, By: "test"}
}

func up(b int32) surface.Press {
	return surface.Press{Kind: surface.Up, Surface: -1, Button: b, Cue: -1, By: "test"}
}

func went(t failing, a surface.Answer) {
	t.Helper()
	if a.Outcome != surface.Done {
		t.Errorf("outcome %d, %q", a.Outcome, a.Text)
	}
}

// replays holds a journal against itself.
func replays(t failing, dir string) Replayed {
	t.Helper()
	r, err := Replay(dir)
	if err != nil || r.Difference != "" {
		t.Errorf("replay: %v %s", err, r.Difference)
	}
	return r
}

// A press goes to its device, what it started goes on by itself, surfaces see
// it, and the journal replays to the same bytes.
func TestShowRuns(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	dir := t.TempDir()
	c := start(t, r.Program(), Options{Dir: dir})
	changed, done := c.Watch()
	defer done()
	wide, goal, replay := button(t, p, "Wide"), button(t, p, "Goal"), button(t, p, "Replay")

	went(t, c.Press(down(wide)))
	went(t, c.Press(up(wide)))
	await(t, "the mixer cuts", func() bool { return out.heard("cut main to wide") == 1 })
	await(t, "the lamp is on air", func() bool { return c.View().Lamps[wide] == step.LampAir })
	<-changed

	went(t, c.Press(down(goal)))
	went(t, c.Press(up(goal)))
	await(t, "a tap cuts", func() bool { return out.heard("cut main to goal") == 1 })
	time.Sleep(2 * time.Duration(bounceTime) * time.Microsecond)
	went(t, c.Press(down(goal)))
	await(t, "holding recalls the shot", func() bool { return out.heard("recall goal shot 2") == 1 })
	went(t, c.Press(up(goal)))
	if out.heard("cut main to goal") != 1 {
		t.Error("holding cut as well")
	}

	went(t, c.Press(down(replay)))
	await(t, "the deck is loaded, plays and is mixed to", func() bool {
		return out.heard("load deck") == 1 && out.heard("play deck") == 1 && out.heard("mix main") == 1
	})
	if a := c.Press(down(replay)); a.Outcome != surface.Done || a.Reason != step.WasQueued {
		t.Errorf("a second press: %+v", a)
	}
	went(t, c.Press(surface.Press{Kind: surface.StopAll, Surface: -1, By: "test"}))
	stop(t, c)
	if r := replays(t, dir); r.Messages < 6 || r.Events < 8 || r.Sessions != 1 {
		t.Errorf("replayed %+v", r)
	}
	if a := c.Press(down(wide)); a.Outcome == surface.Done {
		t.Errorf("a stopped show takes a press: %+v", a)
	}
}

func TestPressesThatAreNotDone(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	dir := t.TempDir()
	opts, _ := byHand(Options{Dir: dir}) // no time passes, so that a slow machine bounces too
	c := start(t, r.Program(), opts)
	wide, doors := button(t, p, "Wide"), button(t, p, "Doors")
	desk := int32(0)
	for _, x := range []struct {
		name string
		p    surface.Press
		want surface.Outcome
		why  step.Reason
	}{
		{"the page is on no surface at all", surface.Press{Kind: surface.Down, Surface: desk, Button: doors, By: "a"}, surface.Refused, step.NotShowing},
		{"it can be done", surface.Press{Kind: surface.Down, Surface: desk, Button: wide, By: "a", Number: 7}, surface.Done, 0},
		{"it bounces", surface.Press{Kind: surface.Down, Surface: desk, Button: wide, By: "a", Number: 8}, surface.Repeated, 0},
		{"the datagram comes twice", surface.Press{Kind: surface.Up, Surface: desk, Button: wide, By: "a", Number: 7}, surface.Repeated, 0},
		{"there is no such button", surface.Press{Kind: surface.Down, Surface: desk, Button: 999, By: "a"}, surface.Refused, 0},
		{"nor such a surface", surface.Press{Kind: surface.Down, Surface: 9, Button: wide, By: "a"}, surface.Refused, 0},
		{"nor such a kind", surface.Press{Kind: 99, Surface: -1, By: "a"}, surface.Refused, 0},
		{"of another show", surface.Press{Of: new(program.Program), Kind: surface.Down, Surface: desk, Button: wide, By: "a"}, surface.Refused, 0},
		{"standby cannot go back", surface.Press{Kind: surface.Back, Surface: -1, By: "a"}, surface.Refused, step.NothingToDo},
		{"standby goes on", surface.Press{Kind: surface.Skip, Surface: -1, By: "a"}, surface.Done, 0},
		{"and back", surface.Press{Kind: surface.Back, Surface: -1, By: "a"}, surface.Done, 0},
		{"nothing is held", surface.Press{Kind: surface.Resume, Surface: -1, By: "a"}, surface.Refused, step.NothingToDo},
	} {
		if a := c.Press(x.p); a.Outcome != x.want || a.Reason != x.why {
			t.Errorf("%s: %+v, want %d", x.name, a, x.want)
		}
	}
	stop(t, c)
	kept := 0
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if r.Kind == journal.Press {
			kept++
		}
		return nil
	}); err != nil || kept != 12 {
		t.Errorf("%d presses are in the journal, %v", kept, err)
	}
	replays(t, dir)
}

func TestCutAndResume(t *testing.T) {
	p := compiled(t)
	r, out := rack(t, p)
	dir := t.TempDir()
	c := start(t, r.Program(), Options{Dir: dir})
	wide, replay := button(t, p, "Wide"), button(t, p, "Replay")
	went(t, c.Press(surface.Press{Kind: surface.Go, Cue: -1, Surface: -1, By: "test"}))
	went(t, c.Press(down(replay)))
	await(t, "the deck is loaded", func() bool { return out.heard("load deck") == 1 })
	time.Sleep(50 * time.Millisecond) // for the journal
	left := cut(t, dir)
	stop(t, c)

	dir = left
	c = start(t, r.Program(), Options{Dir: dir})
	v := c.View()
	if !v.Held || v.Standby != 1 {
		t.Errorf("held %v, standby %d", v.Held, v.Standby)
	}
	text := fmt.Sprint(v.Alerts)
	for _, want := range []string{"cut off at", "replay was running and has been ended", "nothing is sent"} {
		if !strings.Contains(text, want) {
			t.Errorf("the alerts do not say %q: %s", want, text)
		}
	}
	if a := c.Press(down(wide)); a.Outcome != surface.Held {
		t.Errorf("a press: %+v", a)
	}
	time.Sleep(100 * time.Millisecond)
	if out.heard("cut main to wide") != 0 {
		t.Error("a held show has sent something")
	}
	went(t, c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"}))
	time.Sleep(time.Duration(bounceTime) * time.Microsecond)
	went(t, c.Press(down(wide)))
	await(t, "it is sent", func() bool { return out.heard("cut main to wide") == 1 })
	stop(t, c)
	replays(t, dir)

	c = start(t, r.Program(), Options{Dir: dir})
	if v := c.View(); v.Held || v.Standby != 0 {
		t.Errorf("after an orderly end: held %v, standby %d", v.Held, v.Standby)
	}
	stop(t, c)
}

// cut gives what a power cut now would leave: the journal's files as they are.
func cut(t testing.TB, dir string) string {
	t.Helper()
	left := t.TempDir()
	if err := os.CopyFS(left, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return left
}
