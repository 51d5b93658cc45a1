package control

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/rehearse"
	"cuewright/sim/story"
	"cuewright/targets/journal"
)

// Replayed is what applying a journal's events again gave. Difference is the
// first place where it did not come out as the journal says, "" when there is
// none.
type Replayed struct {
	Sessions, Events, Messages int
	Torn                       []journal.Torn
	Gaps                       int // places where records are missing; what follows is taken up at the next snapshot
	Difference                 string
	Found                      []Found // what the on-air checks and the rules find
}

// Found is something that should not have happened, and when it did.
type Found struct {
	onair.Finding
	Time     time.Time
	Timecode string
	Place    string // where it stands in the show
	Allowed  bool   // the show allows it
}

// Replay applies the events of a journal again, and holds the bytes of every
// message against those that were sent then, in order, and every state that
// the journal kept against the one that comes out now. It finds what broke the
// show's rules and the on-air checks, as a rehearsal does.
func Replay(dir string) (Replayed, error) {
	r := replay{dir: dir}
	torn, err := journal.Read(dir, r.record)
	r.Torn = torn
	if errors.Is(err, errFound) {
		err = nil
	}
	return r.Replayed, err
}

var errFound = errors.New("a difference was found")

type replay struct {
	Replayed
	dir  string
	show *show   // nil until a snapshot says where it is
	due  []int32 // messages that the last event sends and the journal has not told yet
	last uint64
}

func (r *replay) differs(record journal.Record, format string, args ...any) error {
	r.Difference = fmt.Sprintf("record %d, %s: ", record.Seq, story.Seconds(record.At)) + fmt.Sprintf(format, args...)
	return errFound
}

func (r *replay) record(x journal.Record) error {
	if r.last != 0 && x.Seq != r.last+1 || x.Kind == journal.Lost {
		r.Gaps++
		r.show, r.due = nil, nil
	}
	r.last = x.Seq
	switch x.Kind {
	case journal.Session:
		r.Sessions++
		r.show, r.due = nil, nil
	case journal.Snapshot:
		return r.snapshot(x)
	case journal.Event:
		return r.event(x)
	case journal.Sent:
		return r.sent(x)
	}
	return nil
}

func (r *replay) snapshot(x journal.Record) error {
	if err := r.allSent(x); err != nil {
		return err
	}
	p, err := r.program(x.Text)
	if err != nil {
		return err
	}
	next := newShow(p, x.Text)
	next.disarm(strings.Fields(x.By))
	if err := next.decode(x.Data); err != nil {
		return r.differs(x, "%v", err)
	}
	if r.show != nil && r.show.digest == next.digest {
		for v := range p.Vars {
			now, then := r.show.m.L.Get(r.show.state, int32(v)), next.m.L.Get(next.state, int32(v))
			if now != then {
				return r.differs(x, "%s was %s then and is %s now", p.Vars[v].Name, next.tell.Value(int32(v), then), next.tell.Value(int32(v), now))
			}
		}
		if !slices.Equal(r.show.state.Due, next.state.Due) {
			return r.differs(x, "the timers that run are not the same")
		}
		next.watch = r.show.watch // which remembers what was before
	}
	fresh := r.show == nil
	r.show = next
	if next.is.Look(next.state); fresh {
		r.found(x, rehearse.Broke(p, nil, next.is))
	}
	return nil
}

func (r *replay) program(digest string) (*program.Program, error) {
	if r.show != nil && r.show.digest == digest {
		return r.show.p, nil
	}
	return readProgram(r.dir, digest)
}

func (r *replay) event(x journal.Record) error {
	if r.show == nil {
		return nil
	}
	if err := r.allSent(x); err != nil {
		return err
	}
	s := r.show
	e, ok := event(s.p, x)
	if !ok {
		return r.differs(x, "the event does not fit the show")
	}
	r.Events++
	s.before.CopyFrom(s.state)
	s.effects = s.m.Apply(s.state, e, s.effects[:0])
	s.want(e, s.effects)
	s.was.Look(s.before)
	s.is.Look(s.state)
	r.found(x, append(s.watch.Look(s.before, s.state, s.was, s.is, e, s.effects), rehearse.Broke(s.p, s.was, s.is)...))
	s.batches = bundle(s.index, s.effects, s.batches)
	for _, b := range s.batches {
		r.due = append(r.due, b.indexes...)
	}
	return nil
}

// found keeps findings of a record.
func (r *replay) found(x journal.Record, findings []onair.Finding) {
	p, at := r.show.p, time.UnixMicro(x.Time)
	for _, f := range findings {
		r.Found = append(r.Found, Found{Finding: f, Time: at, Timecode: timecodeOf(p, x.At), Place: story.Place(p, f.At),
			Allowed: onair.Allowed(p, f, at.Format(time.DateOnly)) >= 0})
	}
}

// allSent says what was not sent then and is now.
func (r *replay) allSent(x journal.Record) error {
	if r.show != nil && len(r.due) > 0 {
		return r.differs(x, "`%s` was not sent then and is now", r.show.p.Messages[r.due[0]].Text)
	}
	return nil
}

func (r *replay) sent(x journal.Record) error {
	if r.show == nil {
		return nil
	}
	p := r.show.p
	if x.B < 0 || int(x.B) >= len(p.Messages) {
		return r.differs(x, "a message was sent that the show does not have")
	}
	message := x.B
	if x.D == 0 {
		if len(r.due) == 0 {
			return r.differs(x, "`%s` was sent then and is not now", p.Messages[message].Text)
		}
		message, r.due = r.due[0], r.due[1:]
	}
	m := &p.Messages[message]
	r.Messages++
	if now := wireBytes(m); m.Device != x.A || !bytes.Equal(now, x.Data) {
		return r.differs(x, "`%s` was sent to %s then, and `%s` to %s now\n  then %x\n  now  %x", p.Messages[x.B].Text,
			deviceName(p, x.A), m.Text, deviceName(p, m.Device), x.Data, now)
	}
	return nil
}

func deviceName(p *program.Program, device int32) string {
	if device < 0 || int(device) >= len(p.Devices) {
		return "no device"
	}
	return p.Devices[device].Name
}
