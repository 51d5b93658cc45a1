package control

import (
	"fmt"
	"slices"
	"time"

	"cuewright/sim/rehearse"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/targets/journal"
)

// Night is what was done from one power-on of a show on, as a rehearsal.
type Night struct {
	Show    string
	Program string // digest
	Began   time.Time
	Lines   []string // of the rehearsal's block
	Unsaid  int      // things that a rehearsal cannot say, which are comments in Lines
	Differs []string // what the rehearsal, played, leaves otherwise at its end
	Broken  string   // why it ends before the night did, or "" when it does not
	Skipped string   // why there is no rehearsal of it, or ""
}

// Nights gives the nights of a journal. One that goes on after a power cut does
// not begin at power-on, where rehearsals do: it is skipped.
func Nights(dir string) ([]Night, []journal.Torn, error) {
	n := nightReader{dir: dir}
	torn, err := journal.Read(dir, n.record)
	n.end()
	return n.all, torn, err
}

// nightReader reads a journal, one night after the other.
type nightReader struct {
	dir    string
	all    []Night
	show   *show // of the night being read, while all of it is known
	events []step.Event
	last   uint64
}

func (n *nightReader) record(x journal.Record) error {
	if n.last != 0 && x.Seq != n.last+1 || x.Kind == journal.Lost {
		n.stop("records are missing from here on")
	}
	n.last = x.Seq
	switch x.Kind {
	case journal.Session:
		n.end()
		n.all = append(n.all, Night{Show: x.By, Program: x.Text, Began: time.UnixMicro(x.Time)})
	case journal.Snapshot:
		return n.snapshot(x)
	case journal.Event:
		if e, ok := n.event(x); ok {
			n.events = append(n.events, e)
		}
	}
	return nil
}

// current is the night being read, nil before the first.
func (n *nightReader) current() *Night {
	if len(n.all) == 0 {
		return nil
	}
	return &n.all[len(n.all)-1]
}

// snapshot begins a night's show, which must be at power-on then; another show
// ends it.
func (n *nightReader) snapshot(x journal.Record) error {
	night := n.current()
	switch {
	case night == nil || night.Skipped != "" || night.Lines != nil:
		return nil
	case n.show != nil && n.show.digest != x.Text:
		n.stop("another show was loaded here")
		return nil
	case n.show != nil:
		return nil
	}
	s, err := snapshot(n.dir, x)
	if err != nil {
		night.Skipped = err.Error()
		return nil
	}
	if !atPowerOn(s) {
		night.Skipped = "it begins in the middle of a show, after a cut"
		return nil
	}
	n.show, n.events, night.Program = s, nil, x.Text
	return nil
}

func atPowerOn(s *show) bool {
	start := s.m.Start()
	return slices.Equal(start.Words, s.state.Words) && slices.Equal(start.Due, s.state.Due)
}

// event applies an event, and says whether it could change anything.
func (n *nightReader) event(x journal.Record) (step.Event, bool) {
	if n.show == nil {
		return step.Event{}, false
	}
	s := n.show
	e, ok := event(s.p, x)
	if !ok {
		n.stop("an event in the journal does not fit its show")
		return e, false
	}
	ok = s.m.Enabled(s.state, e)
	s.effects = s.m.Apply(s.state, e, s.effects[:0])
	return e, ok
}

// stop ends the night's rehearsal before the night is over.
func (n *nightReader) stop(why string) {
	if n.show != nil {
		n.end()
		n.current().Broken = why
	}
}

// end writes the night's rehearsal, and plays it.
func (n *nightReader) end() {
	if n.show == nil {
		return
	}
	s, night := n.show, n.current()
	told := rehearse.Retell(s.p, n.events)
	night.Lines = append([]string{}, told.Words(s.p)...)
	for _, unsaid := range told.Unsaid {
		night.Unsaid += len(unsaid)
	}
	night.Differs = s.differsFrom(rehearse.Play(s.p, told.Steps))
	n.show, n.events = nil, nil
}

// differsFrom is what is otherwise in another state, in words.
func (s *show) differsFrom(other *state.State) []string {
	var all []string
	for v := range s.p.Vars {
		then, now := s.m.L.Get(s.state, int32(v)), s.m.L.Get(other, int32(v))
		if then != now {
			all = append(all, fmt.Sprintf("%s was %s and is %s", s.p.Vars[v].Name, s.tell.Value(int32(v), then), s.tell.Value(int32(v), now)))
		}
	}
	return all
}
