// Package surfacetest is a small real desk for the tests of surfaces: a show
// on sim/step in real time, with no devices, no journal and no reload from
// disk. It is in no program.
package surfacetest

import (
	"errors"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// Desk is a running show. Its lock is taken under no other of ours and no
// other under it.
type Desk struct {
	mu       sync.Mutex
	machine  *step.Machine
	state    *state.State
	started  time.Time
	view     *surface.View
	alerts   []surface.Alert
	outputs  []surface.Output
	held     bool
	stalled  bool
	trial    *surface.Trial
	disarmed map[int32]bool
	due      time.Time         // of the next cue by the clock
	holders  map[string]string // by surface name
	loads    []surface.Load
	last     map[string]uint64
	pressed  []surface.Press
	watchers map[chan struct{}]bool
	stop     chan struct{}
	running  sync.WaitGroup
}

var _ surface.Desk = (*Desk)(nil)

// Show is the compiled small show of testdata.
func Show(t testing.TB) *program.Program {
	t.Helper()
	return Load(t, "small/small.show")
}

// Load compiles a show of testdata/shows.
func Load(t testing.TB, name string) *program.Program {
	t.Helper()
	_, here, _, _ := runtime.Caller(0)
	r := prepare.Show(filepath.Join(filepath.Dir(here), "../../../testdata/shows", name), prepare.Disk)
	if r.Program == nil {
		t.Fatalf("%s cannot be compiled: %v", name, r.Findings)
	}
	return r.Program
}

// New runs p until the end of the test.
func New(t testing.TB, p *program.Program) *Desk {
	d := &Desk{started: time.Now(), last: map[string]uint64{}, holders: map[string]string{}, disarmed: map[int32]bool{}, due: time.Now().Add(90 * time.Minute), watchers: map[chan struct{}]bool{}, stop: make(chan struct{})}
	d.machine = step.New(p)
	d.state = d.machine.Start()
	d.publish()
	d.running.Go(d.tick)
	t.Cleanup(func() { close(d.stop); d.running.Wait() })
	return d
}

// tick lets timers run out and publishes at least every 200 ms.
func (d *Desk) tick() {
	ticker := time.NewTicker(10 * time.Millisecond)
	defer ticker.Stop()
	for {
		select {
		case <-d.stop:
			return
		case <-ticker.C:
		}
		d.mu.Lock()
		if timer, due := d.state.Next(); !d.stalled && (timer >= 0 && due <= d.now() || time.Since(d.view.At) > 200*time.Millisecond) {
			d.advance()
			d.publish()
		}
		d.mu.Unlock()
	}
}

func (d *Desk) now() int64 { return time.Since(d.started).Microseconds() }

func (d *Desk) advance() {
	d.machine.Advance(d.state, d.now(), func(_ step.Event, effects []step.Effect) { d.hear(effects) })
}

func (d *Desk) hear(effects []step.Effect) {
	for _, e := range effects {
		if e.Kind == step.Alerted {
			d.alerts = append(d.alerts, surface.Alert{At: time.Now(), Text: e.Text})
		}
	}
}

// Press applies a press.
func (d *Desk) Press(p surface.Press) surface.Answer {
	d.mu.Lock()
	defer d.mu.Unlock()
	if p.Of != nil && p.Of != d.machine.P {
		return surface.Answer{Outcome: surface.Refused, Text: "the show has changed"}
	}
	if p.Judged != nil {
		return *p.Judged
	}
	if p.Number != 0 && d.last[p.By] == p.Number {
		return surface.Answer{Outcome: surface.Repeated}
	}
	d.last[p.By] = p.Number
	d.pressed = append(d.pressed, p)
	if d.held && p.Kind != surface.Resume {
		return surface.Answer{Outcome: surface.Held, Text: "nothing is sent before somebody resumes"}
	}
	if answer, done := d.alone(p); done {
		return answer
	}
	d.advance()
	answer := surface.Answer{}
	e := step.Event{A: p.Button, At: d.now()}
	switch p.Kind {
	case surface.Down:
		e.Kind = step.Down
	case surface.Up:
		e.Kind = step.Up
	case surface.Go:
		e.Kind, e.A = step.Go, p.Cue
	case surface.StopAll:
		e.Kind = step.StopAll
	case surface.Resume:
		d.held = false
		d.publish()
		return answer
	case surface.Resend, surface.Adopt:
		return answer
	default:
		return surface.Answer{Outcome: surface.Refused, Text: "this desk does not do that"}
	}
	effects := d.machine.Apply(d.state, e, nil)
	d.hear(effects)
	for _, x := range effects {
		if x.Kind == step.Ignored && x.Task < 0 {
			answer = surface.Answer{Outcome: surface.Refused, Reason: x.Reason, Text: "it changed nothing"}
		}
	}
	d.publish()
	return answer
}

// alone does what is about who may press and about a show on trial.
func (d *Desk) alone(p surface.Press) (surface.Answer, bool) {
	name := ""
	if p.Surface >= 0 {
		name = d.machine.P.Surfaces[p.Surface].Name
	}
	by := d.holders[name]
	switch p.Kind {
	case surface.TakeOver:
		d.holders[name] = p.By
	case surface.GiveBack:
		for name, by := range d.holders {
			if by == p.By {
				delete(d.holders, name)
			}
		}
	case surface.Keep, surface.Return:
		if d.trial == nil {
			return surface.Answer{Outcome: surface.Refused, Text: "no show is on trial"}, true
		}
		d.trial = nil
	case surface.Disarm, surface.Arm:
		d.arm(p)
	case surface.Up, surface.StopAll, surface.Resume:
		return surface.Answer{}, false
	default:
		if by == "" || by == p.By {
			return surface.Answer{}, false
		}
		return surface.Answer{Outcome: surface.Refused, Text: name + " has been taken over by " + by}, true
	}
	d.publish()
	return surface.Answer{}, true
}

// Load has the show that runs be on trial, if that is asked for; nothing else
// changes.
func (d *Desk) Load(l surface.Load) (surface.Loaded, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.loads = append(d.loads, l)
	if l.Expect != "" {
		return surface.Loaded{}, errors.New("the file is another show than was expected")
	}
	if l.Trial != 0 {
		d.trial = &surface.Trial{By: l.By, Until: time.Now().Add(l.Trial), Before: strings.Repeat("0", 64), Returns: []string{"cut main to wide"}}
		d.publish()
	}
	return surface.Loaded{Digest: d.view.Running, Taken: true}, nil
}

// Loads is every Load so far.
func (d *Desk) Loads() []surface.Load {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.loads)
}

// publish makes the newest view.
func (d *Desk) publish() {
	p := d.machine.P
	v := &surface.View{Program: p, At: time.Now(), Show: p.Show, Running: "digest-of-" + p.Show, OnDisk: "digest-of-" + p.Show, Held: d.held, Trial: d.trial, Alerts: slices.Clone(d.alerts)}
	if d.view != nil {
		v.Serial = d.view.Serial + 1
	}
	for i := range p.Surfaces {
		s := &p.Surfaces[i]
		v.Page = append(v.Page, s.Pages[d.machine.L.Get(d.state, s.Page)])
		v.Holder = append(v.Holder, d.holders[s.Name])
	}
	for b := range p.Buttons {
		v.Lamps = append(v.Lamps, d.machine.Lamp(d.state, int32(b)))
		cover := p.Buttons[b].Cover
		v.Open = append(v.Open, cover >= 0 && d.machine.L.Get(d.state, cover) == 1)
	}
	v.Standby = int32(d.machine.L.Get(d.state, p.StandbyVar()))
	for i := range p.Devices {
		if d.machine.L.Get(d.state, p.Devices[i].Health) == program.Away {
			v.Away = append(v.Away, int32(i))
		}
	}
	d.byItself(v)
	v.Outputs = d.outputs
	d.view = v
	for w := range d.watchers {
		select {
		case w <- struct{}{}:
		default:
		}
	}
}

// arm has a cue fire by itself, or not, or all that can.
func (d *Desk) arm(p surface.Press) {
	for i := range d.machine.P.Cues {
		if d.machine.P.Cues[i].By != program.NoMoment && (p.Cue < 0 || p.Cue == int32(i)) {
			d.disarmed[int32(i)] = p.Kind == surface.Disarm
		}
	}
}

// byItself fills in what fires by itself: the next cue by the clock always comes
// in an hour and a half, and the timecode runs and stands.
func (d *Desk) byItself(v *surface.View) {
	v.Code = surface.Code{State: "locked", Label: "01:00:00:05", Next: -1}
	for i := range v.Program.Cues {
		cue, by := int32(i), v.Program.Cues[i].By
		switch {
		case by == program.NoMoment || cue < v.Standby:
		case d.disarmed[cue]:
			v.Disarmed = append(v.Disarmed, cue)
		case by == program.ByClock && v.Clock == nil:
			v.Clock = &surface.ClockCue{Cue: cue, At: v.MomentOf(cue), Due: d.due}
		case by == program.ByTimecode && v.Code.Next < 0:
			v.Code.Next = cue
		}
	}
}

// View is the newest view.
func (d *Desk) View() *surface.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.view
}

// Watch says when there is a newer view.
func (d *Desk) Watch() (changed <-chan struct{}, stop func()) {
	w := make(chan struct{}, 1)
	d.mu.Lock()
	defer d.mu.Unlock()
	d.watchers[w] = true
	return w, func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.watchers, w)
	}
}

// Watchers is how many watch.
func (d *Desk) Watchers() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.watchers)
}

// Pressed is every press so far but the repeats, in order.
func (d *Desk) Pressed() []surface.Press {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.pressed)
}

// Event has something happen to the show: a fault, an observation.
func (d *Desk) Event(kind step.EventKind, a, b int32) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.advance()
	d.hear(d.machine.Apply(d.state, step.Event{Kind: kind, A: a, B: b, At: d.now()}, nil))
	d.publish()
}

// Outputs sets the table of outputs, which is empty before.
func (d *Desk) Outputs(all ...surface.Output) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.outputs = all
	d.publish()
}

// Hold makes the desk wait for Resume.
func (d *Desk) Hold() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.held = true
	d.publish()
}

// Stall stops the desk's turns, as a controller that hangs, or lets it go on.
func (d *Desk) Stall(on bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.stalled = on
}

// Swap runs another program from power-on.
func (d *Desk) Swap(p *program.Program) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.machine = step.New(p)
	d.started = time.Now()
	d.state = d.machine.Start()
	d.publish()
}

// Await waits until the desk's view is as wanted, or fails the test.
func (d *Desk) Await(t testing.TB, what string, wanted func(*surface.View) bool) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if wanted(d.View()) {
			return
		}
	}
	t.Fatalf("the desk never came to this: %s", what)
}

// Button is the index of the button at a page's row and column.
func (d *Desk) Button(t testing.TB, page string, row, column int32) int32 {
	t.Helper()
	p := d.View().Program
	for i := range p.Pages {
		if p.Pages[i].Name != page {
			continue
		}
		for _, b := range p.Pages[i].Buttons {
			if p.Buttons[b].Row == row && p.Buttons[b].Column == column {
				return b
			}
		}
	}
	t.Fatalf("there is no button %d.%d on %s", row, column, page)
	return -1
}

// Device is the index of a device.
func Device(t testing.TB, p *program.Program, name string) int32 {
	t.Helper()
	for i := range p.Devices {
		if p.Devices[i].Name == name {
			return int32(i)
		}
	}
	t.Fatalf("there is no device %s", name)
	return -1
}

// Guarded is the first button under a cover.
func Guarded(t testing.TB, p *program.Program) int32 {
	t.Helper()
	for i := range p.Buttons {
		if p.Buttons[i].Guarded {
			return int32(i)
		}
	}
	t.Fatal("no button is under a cover")
	return -1
}
