package control

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// handClock is a clock that a test moves.
type handClock struct {
	mu    sync.Mutex
	time  int64
	began time.Time // what the wall shows at time 0; a test sets it
	ring  chan struct{}
}

func (h *handClock) wall() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.began.Add(time.Duration(h.time) * time.Microsecond)
}

func (h *handClock) now() int64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.time
}

func (h *handClock) alarm() (alarm, error)  { return h, nil }
func (h *handClock) set(int64, bool)        {}
func (h *handClock) rings() <-chan struct{} { return h.ring }
func (h *handClock) close()                 {}

func (h *handClock) shift(by int64) { h.move(by) }

func (h *handClock) move(by int64) {
	h.mu.Lock()
	h.time += by
	h.mu.Unlock()
	ring(h.ring)
}

func byHand(o Options) (Options, *handClock) {
	h := &handClock{ring: make(chan struct{}, 1)}
	o.clock = func(at int64) clock { h.time = at; return h }
	return o, h
}

// look gives the loop something to look at the show with, and waits for it.
func look(c *Controller, at func(*show)) {
	done := make(chan struct{})
	c.post(func() { at(c.show); close(done) })
	<-done
}

// deaf is a program of which nothing is heard, so that only presses and time
// count: stand-ins answer in their own time.
func deaf(p *program.Program) *program.Program {
	q := *p
	q.Observations = nil
	return &q
}

// draw is a random press.
func draw(t *rapid.T, p *program.Program) surface.Press {
	x := surface.Press{Surface: -1, Button: -1, Cue: -1, Destination: -1, By: rapid.SampledFrom([]string{"ann", "bob"}).Draw(t, "by")}
	x.Kind = rapid.SampledFrom([]surface.Kind{surface.Down, surface.Down, surface.Down, surface.Down, surface.Up, surface.Up, surface.Go, surface.Go,
		surface.Back, surface.Skip, surface.StopAll}).Draw(t, "kind")
	switch x.Kind {
	case surface.Down, surface.Up:
		x.Button = int32(rapid.IntRange(0, len(p.Buttons)-1).Draw(t, "button"))
	case surface.Go:
		x.Cue = int32(rapid.IntRange(-1, len(p.Cues)-1).Draw(t, "cue"))
	}
	return x
}

// stepped applies a press by the stepper alone.
func stepped(m *step.Machine, s *showState, x surface.Press, now int64) {
	m.Advance(s.State, now, func(step.Event, []step.Effect) {})
	e := step.Event{At: now}
	switch x.Kind {
	case surface.Down:
		e.Kind, e.A = step.Down, x.Button
	case surface.Up:
		e.Kind, e.A = step.Up, x.Button
	case surface.Go:
		e.Kind, e.A = step.Go, x.Cue
	case surface.StopAll:
		e.Kind = step.StopAll
	case surface.Back, surface.Skip:
		to := int32(m.L.Get(s.State, m.P.StandbyVar())) + 1
		if x.Kind == surface.Back {
			to -= 2
		}
		if to < 0 || int(to) > len(m.P.Cues) {
			return
		}
		e.Kind, e.A = step.Stand, to
	}
	m.Apply(s.State, e, nil)
}

// The live show stands where the stepper does after the same presses, and so
// do the devices; the journal replays.
func TestLiveIsAsStepped(t *testing.T) {
	for _, path := range []string{"small/small.show", "league/league.show"} {
		t.Run(path, func(t *testing.T) {
			r := prepare.Show("../../testdata/shows/"+path, prepare.Disk)
			if r.Program == nil {
				t.Fatal(r.Findings)
			}
			rapid.Check(t, func(t *rapid.T) { asStepped(t, deaf(r.Program)) })
		})
	}
}

func asStepped(t *rapid.T, p *program.Program) {
	var box testBox
	defer box.close()
	stands, _ := rackFor(t, &box, p)
	p = stands.Program()
	dir := box.dir(t)
	o, hand := byHand(Options{Dir: dir, Env: credentials})
	c, err := Start(p, o)
	if err != nil {
		t.Fatal(err)
	}
	m := step.New(p)
	s := &showState{m.Start()}
	for range rapid.IntRange(1, 30).Draw(t, "presses") {
		hand.move(int64(rapid.IntRange(0, 3000).Draw(t, "milliseconds")) * 1000)
		x := draw(t, p)
		if a := c.Press(x); a.Outcome == surface.Repeated {
			continue
		} else if a.Outcome != surface.Done && a.Outcome != surface.Refused {
			t.Fatalf("%+v: %+v", x, a)
		}
		stepped(m, s, x, hand.now())
	}
	look(c, func(live *show) {
		m.Advance(s.State, live.state.Now, func(step.Event, []step.Effect) {})
		if !live.state.Equal(s.State) {
			t.Errorf("the live show stands otherwise than the stepper's")
		}
	})
	stop(t, c)
	awaitDevices(t, stands, m, s)
	r := replays(t, dir)
	if r.Sessions != 1 {
		t.Errorf("%+v", r)
	}
	foundAsThen(t, dir, r)
	isRehearsed(t, dir)
}

// foundAsThen: a replay finds what was alerted then, in the same order.
func foundAsThen(t failing, dir string, r Replayed) {
	t.Helper()
	var then, now []string
	if _, err := journal.Read(dir, func(x journal.Record) error {
		if x.Kind == journal.Alert && x.By == "check" {
			then = append(then, x.Text)
		}
		return nil
	}); err != nil {
		t.Fatalf("%v", err)
	}
	for _, f := range r.Found {
		if !f.Allowed && f.Code != "rule-broken" {
			now = append(now, f.What+" ["+f.Code+"]")
		}
	}
	if !slices.Equal(then, now) {
		t.Errorf("found then %q\nand now %q", then, now)
	}
}

// isRehearsed: the night as a rehearsal ends where the show did, unless it
// says that there is something which it cannot say.
func isRehearsed(t failing, dir string) {
	t.Helper()
	nights, _, err := Nights(dir)
	if err != nil || len(nights) != 1 || nights[0].Skipped != "" || nights[0].Broken != "" {
		t.Fatalf("%v %+v", err, nights)
	}
	if n := &nights[0]; n.Unsaid == 0 && len(n.Differs) > 0 {
		t.Errorf("it ends otherwise: %q\n%s", n.Differs, strings.Join(n.Lines, "\n"))
	}
}

// awaitDevices waits for the devices to stand as the stepper has it, where they
// change at once.
func awaitDevices(t failing, r interface{ Values() []uint32 }, m *step.Machine, s *showState) {
	differs := ""
	for end := time.Now().Add(3 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		differs = ""
		values := r.Values()
		for v, x := range m.P.Vars {
			switch x.Kind {
			case program.SwitchPick, program.KeyerOn, program.OutletOn, program.CameraShot, program.DeckClip:
				if want := m.L.Get(s.State, int32(v)); values[v] != want && reachable(m.P, int32(v)) {
					differs = x.Name
				}
			}
		}
		if differs == "" {
			return
		}
	}
	t.Errorf("the device of %s stands otherwise than the show", differs)
}

// reachable says whether the show can say anything about a variable to its
// device: what has no message changes in the show only.
func reachable(p *program.Program, v int32) bool {
	for _, m := range p.Messages {
		for _, x := range setBy(p, m.Command) {
			if x == v {
				return true
			}
		}
	}
	return false
}
