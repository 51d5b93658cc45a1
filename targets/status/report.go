// Package status tells how a running controller is: a report for people and
// programs that ask, and metrics for a monitoring system. Both are made when
// they are asked for, from a view and counters, and never wait for the
// controller's loop: a controller that hangs can still be asked what is wrong.
//
// They are served by HTTP, on a socket in the state folder that only its owner
// can reach, and beside the page for tablets, behind the same door. Ask asks.
package status

import (
	"fmt"
	"sync"
	"time"

	"cuewright/targets/control"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// Controller is what is asked: a *control.Controller. Neither method waits.
type Controller interface {
	View() *surface.View
	Figures() control.Figures
}

// Source makes reports of a controller and of the surfaces that are added to
// it. It may be used from any goroutine. Its lock is taken under no other; under
// it surfaces are asked for their ways.
type Source struct {
	Controller Controller
	Version    string // of the program, for the metrics

	mu       sync.Mutex
	surfaces []surface.Report
}

// Add makes a surface part of the reports.
func (s *Source) Add(r surface.Report) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.surfaces = append(s.surfaces, r)
}

func (s *Source) ways() []surface.Way {
	s.mu.Lock()
	defer s.mu.Unlock()
	all := []surface.Way{}
	for _, r := range s.surfaces {
		all = append(all, r.Way())
	}
	return all
}

// Report is how a controller is at one moment. Its JSON field names are stable;
// times are RFC 3339, durations in milliseconds, sizes in bytes. Attention is
// what somebody should look at, in words; empty when all is well.
type Report struct {
	At        time.Time     `json:"at"`
	Show      string        `json:"show"`
	Running   string        `json:"running"` // digest
	OnDisk    string        `json:"onDisk"`
	Held      bool          `json:"held"`
	Pair      *Pair         `json:"pair,omitempty"` // absent when there is but one controller
	Trial     *Trial        `json:"trial,omitempty"`
	Since     time.Time     `json:"since"`  // when it was started
	Turned    int64         `json:"turned"` // since the loop's last full turn
	Standby   Cue           `json:"standby"`
	Clock     *ClockCue     `json:"clock,omitempty"`
	Timecode  *Timecode     `json:"timecode,omitempty"`
	Disarmed  []string      `json:"disarmed"` // numbers of cues that would fire by themselves and do not
	ByItself  []string      `json:"byItself"` // the three before, in words
	Outputs   []Output      `json:"outputs"`
	Devices   []Device      `json:"devices"`
	Drifted   []string      `json:"drifted"`
	Taken     []Taken       `json:"taken"` // surfaces of the plan that are somebody's alone
	Surfaces  []surface.Way `json:"surfaces"`
	Journal   *Journal      `json:"journal,omitempty"`
	Attention []string      `json:"attention"`
}

// Trial is a show that goes back to the one before unless somebody keeps it.
type Trial struct {
	By     string `json:"by"`
	Before string `json:"before"` // digest of the show that comes back
	Left   int64  `json:"left"`   // until then
}

// Taken is a surface of the plan on which only By's presses count.
type Taken struct {
	Surface string `json:"surface"`
	By      string `json:"by"`
}

// Cue is a cue of the rundown, both "" at its end.
type Cue struct {
	Number string `json:"number"`
	Label  string `json:"label"`
}

// Device is a device that is sent to. Of Room, Waiting messages wait for it.
type Device struct {
	Name     string            `json:"name"`
	Wire     string            `json:"wire"`
	Address  string            `json:"address"`
	Away     bool              `json:"away"`
	Seen     *time.Time        `json:"seen,omitempty"` // when it was last heard of; absent if never
	Waiting  int               `json:"waiting"`
	Room     int               `json:"room"`
	Messages map[string]uint64 `json:"messages"` // by what became of them
}

// Journal is how the as-run journal is.
type Journal struct {
	Dir    string  `json:"dir"`
	Record uint64  `json:"record"` // the last one's number
	Behind uint64  `json:"behind"` // records that are not on the disk yet
	Lag    int64   `json:"lag"`    // for how long
	Bytes  uint64  `json:"bytes"`  // since the start
	Lost   uint64  `json:"lost"`   // records that could not be kept
	Faults uint64  `json:"faults"` // times that the disk did not take them
	Free   *uint64 `json:"free,omitempty"`
}

// Report is how the controller is now.
func (s *Source) Report() Report {
	v, f, now := s.Controller.View(), s.Controller.Figures(), time.Now()
	r := Report{At: now, Show: v.Show, Running: v.Running, OnDisk: v.OnDisk, Held: v.Held, Since: f.Began,
		Turned: now.Sub(f.Turned).Milliseconds(), Surfaces: s.ways(), Devices: []Device{}, Drifted: []string{}, Taken: []Taken{}}
	r.Standby.Number, r.Standby.Label = v.StandbyCue()
	for i := range f.Devices {
		r.Devices = append(r.Devices, deviceOf(&f.Devices[i]))
	}
	for _, x := range v.Drifted {
		r.Drifted = append(r.Drifted, v.Program.Vars[x].Name)
	}
	for i, by := range v.Holder {
		if by != "" {
			r.Taken = append(r.Taken, Taken{v.Program.Surfaces[i].Name, by})
		}
	}
	r.Pair, r.Outputs = pairOf(v.Pair), outputsOf(v)
	r.moments(v, now)
	if x := v.Trial; x != nil {
		r.Trial = &Trial{By: x.By, Before: x.Before, Left: max(x.Until.Sub(now), 0).Milliseconds()}
	}
	if f.Journal != nil {
		r.Journal = journalOf(&f)
	}
	r.Attention = r.attention(v)
	return r
}

func deviceOf(f *control.DeviceFigures) Device {
	d := Device{Name: f.Name, Wire: f.Wire, Address: f.Address, Away: f.Away, Waiting: f.Waiting, Room: f.Room, Messages: map[string]uint64{}}
	if !f.Seen.IsZero() {
		d.Seen = &f.Seen
	}
	for _, fate := range control.Fates() {
		d.Messages[fate.String()] = f.Messages[fate]
	}
	return d
}

func journalOf(f *control.Figures) *Journal {
	j := &Journal{Dir: f.Dir, Record: f.Journal.Seq, Behind: f.Journal.Behind, Lag: f.Journal.Lag.Milliseconds(), Bytes: f.Journal.Bytes,
		Lost: f.Journal.Lost, Faults: f.Journal.Faults}
	if free, err := journal.Free(f.Dir); err == nil {
		j.Free = &free
	}
	return j
}

// What wants attention: a loop that has not turned for this long (surfaces grey
// out then too), a journal that the disk has not taken for this long, a disk
// with less left than this, a queue that is fuller than a half.
const (
	slowTurn   = 2 * time.Second
	slowDisk   = time.Second
	littleRoom = 64 << 20
)

// attention says what somebody should look at, the worst first.
func (r *Report) attention(v *surface.View) []string {
	all := []string{}
	say := func(when bool, format string, args ...any) {
		if when {
			all = append(all, fmt.Sprintf(format, args...))
		}
	}
	say(r.Turned > slowTurn.Milliseconds(), "the controller has not turned for %d s", r.Turned/1000)
	if r.Pair != nil {
		say(!v.Pair.Well(), "%s", r.Pair.Text)
	}
	say(r.Held, "held: nothing is sent before somebody resumes")
	if r.Trial != nil {
		say(true, "the show is on trial for %d s more; it goes back to %s unless somebody keeps it", r.Trial.Left/1000, short(r.Trial.Before))
	}
	for _, d := range v.Away {
		say(true, "%s is away", v.Program.Devices[d].Name)
	}
	for _, d := range r.Devices {
		say(d.Waiting > d.Room/2, "%d messages wait for %s", d.Waiting, d.Name)
	}
	for _, x := range r.Drifted {
		say(true, "%s: somebody else has changed it", x)
	}
	for i := range r.Outputs {
		text := r.Outputs[i].trouble()
		say(text != "", "%s", text)
	}
	say(r.OnDisk != r.Running, "another show lies on the disk: %s", short(r.OnDisk))
	if j := r.Journal; j != nil {
		say(j.Lag > slowDisk.Milliseconds(), "the disk has taken nothing of the journal for %d s", j.Lag/1000)
		say(j.Free != nil && *j.Free < littleRoom, "the disk of the journal is nearly full")
	}
	return all
}

// short is enough of a digest to tell it from others.
func short(digest string) string { return digest[:min(len(digest), 12)] }
