package control

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/httpout"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
)

// bubbleClock is the real clock with the runtime's timers, which synctest knows.
type bubbleClock struct{ *monotonic }

func (c bubbleClock) alarm() (alarm, error) { return newTimerAlarm(c.monotonic), nil }

// paper is a device that writes down what it is told, and when.
type paper struct {
	mu    sync.Mutex
	start time.Time
	all   []string
}

func (d *paper) send(_ context.Context, messages []*program.Message) (int, string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, m := range messages {
		d.all = append(d.all, fmt.Sprint(time.Since(d.start), " ", m.Text))
	}
	return len(messages), "", nil
}

func (d *paper) probe(context.Context) error { return nil }
func (d *paper) close()                      {}
func (d *paper) ask(context.Context, string, string) (httpout.Answer, error) {
	return httpout.Answer{Status: 200}, nil
}

// Every wait ends at its moment: deadlines are absolute, so nothing adds up.
func TestWaitsAreExact(t *testing.T) {
	p := deaf(compiled(t))
	synctest.Test(t, func(t *testing.T) {
		told := &paper{start: time.Now()}
		c := start(t, p, Options{
			clock: func(at int64) clock { return bubbleClock{startClock(at)} },
			dial:  func(program.Device, osc.Handler, func()) (link, error) { return told, nil },
		})
		time.Sleep(time.Second)
		went(t, c.Press(down(button(t, p, "Replay"))))
		time.Sleep(20 * time.Second)
		went(t, c.Press(down(button(t, p, "Quiet"))))
		time.Sleep(20 * time.Second)
		stop(t, c)
		// A clip of 8 s, cued 400 ms after it was asked for; a mix of 12 frames at
		// 50 in a second; a wait of 10 frames beside a fade of one second.
		slices.Sort(told.all) // devices work side by side: there is no order between them
		for _, want := range []string{
			"1s PUT /api/clip {\"name\":\"goal_1.mov\",\"slot\":2}",
			"1.4s /bank/1/preset i:3", "1.4s POST /api/play", "1.4s /bank/1/mix i:12",
			"9.4s /bank/1/preset i:1", "9.4s /bank/1/mix i:12",
			"21s /bank/1/black i:1 i:50", "21.2s /outlet/2 T:true", "21.2s /bank/1/wipe f:0.5",
		} {
			if !slices.Contains(told.all, want) {
				t.Errorf("%s is not among %q", want, told.all)
			}
		}
	})
}

// The loop sees to what a press did within gatherTime: the view and the journal.
func TestViewAndJournalFollowAPress(t *testing.T) {
	p, dir := deaf(compiled(t)), t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		c := start(t, p, Options{Dir: dir,
			clock: func(at int64) clock { return bubbleClock{startClock(at)} },
			dial:  func(program.Device, osc.Handler, func()) (link, error) { return &paper{}, nil },
		})
		time.Sleep(100 * time.Millisecond)
		before := c.View().Serial
		went(t, c.Press(down(button(t, p, "Goal"))))
		time.Sleep(time.Duration(gatherTime) * time.Microsecond)
		synctest.Wait()
		if v := c.View(); v.Serial == before {
			t.Error("surfaces are shown nothing new")
		}
		presses := 0
		if _, err := journal.Read(dir, func(r journal.Record) error {
			if r.Kind == journal.Press {
				presses++
			}
			return nil
		}); err != nil || presses != 1 {
			t.Errorf("the journal has %d presses (%v)", presses, err)
		}
		stop(t, c)
	})
}

// An alarm rings once it is due and not before; the last deadline counts, one
// that has passed rings at once, and none rings after it was taken back.
func TestAlarms(t *testing.T) {
	for _, kind := range []string{"of the system", "of the runtime"} {
		t.Run(kind, func(t *testing.T) {
			c := startClock(5_000_000)
			a := alarm(newTimerAlarm(c))
			if kind == "of the system" {
				var err error
				if a, err = c.alarm(); err != nil {
					t.Fatal(err)
				}
			}
			defer a.close()
			a.set(c.now()+3_600_000_000, true)
			due := c.now() + 20_000
			a.set(due, true)
			<-a.rings()
			if now := c.now(); now < due {
				t.Errorf("it rang %d µs before it was due", due-now)
			}
			a.set(1, true)
			<-a.rings()
			a.set(c.now()+20_000, true)
			a.set(-1, true)
			select {
			case <-a.rings():
				t.Error("it rang though it was taken back")
			case <-time.After(60 * time.Millisecond):
			}
		})
	}
}
