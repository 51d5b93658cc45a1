package control

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
)

const oneDay = 24 * time.Hour

// jumpy runs a script with a clip, mixes and waits, while the clock on the wall
// is set at each of some moments, and gives what the devices were told and when.
func jumpy(t *testing.T, p *program.Program, dir string, jumps map[time.Duration]time.Duration) (all []string) {
	synctest.Test(t, func(t *testing.T) {
		told, off := &paper{start: time.Now()}, &atomic.Int64{}
		c := start(t, p, Options{Dir: dir,
			clock: func(at int64) clock { return setClock{bubbleClock{startClock(at)}, off} },
			dial:  func(program.Device, osc.Handler, func()) (link, error) { return told, nil }})
		began := time.Now()
		for at, by := range jumps {
			time.AfterFunc(at, func() { off.Add(int64(by)) })
		}
		time.Sleep(time.Second)
		went(t, c.Press(down(button(t, p, "Replay"))))
		time.Sleep(20 * time.Second)
		went(t, c.Press(down(button(t, p, "Quiet"))))
		time.Sleep(20 * time.Second)
		if age := time.Since(c.View().At); age < 0 || age > time.Second {
			t.Errorf("the view is %v old", age)
		}
		if now := time.Since(began); now != 41*time.Second {
			t.Errorf("it took %v", now)
		}
		if dir != "" { // what a power cut now would leave
			if err := os.CopyFS(dir+"-cut", os.DirFS(dir)); err != nil {
				t.Error(err)
			}
		}
		stop(t, c)
		all = told.told()
		slices.Sort(all)
	})
	return all
}

// Set to and fro by days in the middle of waits, the clock on the wall changes
// nothing of when things are done. The journal has what it showed, in the order
// in which things happened; it replays, is read, and is taken up after a cut.
func TestClockIsSet(t *testing.T) {
	p := deaf(compiled(t))
	p.Cues = slices.Clone(p.Cues)
	for i := range p.Cues { // what is to happen by the clock is another test's
		p.Cues[i].By, p.Cues[i].Moment = program.NoMoment, 0
	}
	want := jumpy(t, p, "", nil)
	for name, jumps := range map[string]map[time.Duration]time.Duration{
		"on by a day":        {5 * time.Second: oneDay},
		"back by two":        {5 * time.Second: -2 * oneDay},
		"from 1970":          {0: -56 * 365 * oneDay, 5 * time.Second: 56 * 365 * oneDay},
		"to and fro":         {3 * time.Second: oneDay, 5 * time.Second: -3 * oneDay, 21100 * time.Millisecond: 2 * oneDay, 30 * time.Second: -time.Hour},
		"back by a little":   {9 * time.Second: -700 * time.Millisecond},
		"back before it all": {0: time.Hour, 40 * time.Second: -2 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "state")
			if got := jumpy(t, p, dir, jumps); len(want) < 9 || !slices.Equal(got, want) {
				t.Errorf("told %q\nwithout that %q", got, want)
			}
			var last journal.Record
			low, high := int64(1<<62), int64(-1<<62)
			if _, err := journal.Read(dir, func(r journal.Record) error {
				if r.Seq != last.Seq+1 || r.Kind != journal.Outcome && r.Kind != journal.Session && r.At < last.At && last.Kind != journal.Outcome {
					t.Errorf("%+v comes after %+v", r, last)
				}
				off := r.Time - r.At
				low, high = min(low, off), max(high, off)
				last = r
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			if moved := time.Duration(high-low) * time.Microsecond; moved < 600*time.Millisecond {
				t.Errorf("the journal does not have what the clock showed: %v", moved)
			}
			if r := replays(t, dir); r.Events != 8 {
				t.Errorf("%d events were replayed, want 8", r.Events)
			}
			entries := 0
			if _, err := Read(dir, func(e Entry) error {
				if entries++; e.Beat != nil && e.Time.IsZero() {
					t.Errorf("%+v has no time", e)
				}
				return nil
			}); err != nil || entries < 30 {
				t.Errorf("%d entries, %v", entries, err)
			}
			takesUp(t, p, dir+"-cut")
		})
	}
}

// takesUp takes a journal up, whose times are what they are.
func takesUp(t *testing.T, p *program.Program, dir string) {
	t.Helper()
	var last journal.Record
	if _, err := journal.Read(dir, func(r journal.Record) error { last = r; return nil }); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		want, cutOff := wanted(t, p, dir)
		o, _ := onPaper(Options{Dir: dir})
		c := start(t, p, o)
		v := c.View()
		if !cutOff || !v.Held {
			t.Errorf("held %v", v.Held)
		}
		if text := fmt.Sprint(v.Alerts); !strings.Contains(text, "cut off at "+time.UnixMicro(last.Time).Format(time.DateTime)) {
			t.Errorf("told %s", text)
		}
		look(c, func(s *show) {
			if s.state.Now < want.state.Now || s.state.Now > want.state.Now+41_000_000 {
				t.Errorf("%d into the show, and it was cut off at %d", s.state.Now, want.state.Now)
			}
			for v := range p.Vars {
				if v := int32(v); p.Vars[v].Kind == program.BankProgram && s.m.L.Get(s.state, v) != want.m.L.Get(want.state, v) {
					t.Errorf("%s is not as it was", p.Vars[v].Name)
				}
			}
		})
		stop(t, c)
	})
}

// An allowance until a date is by what the clock on the wall shows then.
func TestAllowanceAndTheClock(t *testing.T) {
	p := *deaf(compiled(t))
	const code = "picture-refused"
	p.Allows = slices.DeleteFunc(slices.Clone(p.Allows), func(a program.Allow) bool { return a.Code != code })
	if len(p.Allows) != 1 {
		t.Fatalf("%d allowances", len(p.Allows))
	}
	synctest.Test(t, func(t *testing.T) {
		off := &atomic.Int64{}
		p.Allows[0].Until = time.Now().Add(3 * oneDay).Format(time.DateOnly)
		c := start(t, &p, Options{
			clock: func(at int64) clock { return setClock{bubbleClock{startClock(at)}, off} },
			dial:  func(program.Device, osc.Handler, func()) (link, error) { return &paper{start: time.Now()}, nil }})
		told := func(label string) int {
			before := alerts(c, code)
			went(t, tap(t, c, button(t, &p, label)))
			time.Sleep(time.Second)
			return alerts(c, code) - before
		}
		told("Doors") // the screens show what main does
		for _, x := range []struct {
			by   time.Duration
			want bool
		}{{0, false}, {10 * oneDay, true}, {-10 * oneDay, false}, {5 * oneDay, true}} {
			off.Add(int64(x.by))
			told("Goal")
			if got := told("Wide"); got > 0 != x.want {
				t.Errorf("on %s, allowed until %s: said %d times", c.clock.wall().Format(time.DateOnly), p.Allows[0].Until, got)
			}
		}
		stop(t, c)
	})
}
