package control

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/targets/journal"
)

// past is what the journal says of the last time that the show was run.
type past struct {
	notKept mark      // see Controller.notKept
	at      time.Time // of the last record
	texts   []string  // for operators
}

// recover looks for a show that did not end in order, and gives s where that
// was. When s is a show that was tried and that nobody has kept, the one before
// it is run instead. The past is nil when the show ended in order.
func (c *Controller) recover(s *show) (*show, *past, error) {
	if c.opts.Dir == "" {
		return s, nil, nil
	}
	records, torn, err := journal.Since(c.opts.Dir)
	if err != nil {
		return nil, nil, fmt.Errorf("the journal cannot be read: %w", err)
	}
	var texts []string
	for _, t := range torn {
		texts = append(texts, "the journal was cut: "+t.String())
	}
	if !cutShort(records) {
		for _, text := range texts {
			c.log(text)
		}
		return s, nil, nil
	}
	b := &past{at: lastWords(records), texts: texts}
	b.texts = append(b.texts, "the show was cut off at "+b.at.Format(time.DateTime))
	if n := missing(records); n > 0 {
		b.texts = append(b.texts, fmt.Sprintf("%d records of it could not be kept: it may have stood otherwise than is said here", n))
	}
	was, err := standing(c.opts.Dir, records)
	if err != nil {
		b.texts = append(b.texts, "where it was cannot be told: "+err.Error())
		return s, b, nil
	}
	return b.takeUp(was, s), b, nil
}

// takeUp gives the show that is to run, where it was: s, or the one before it
// when s was tried and not kept.
func (b *past) takeUp(was *stood, s *show) *show {
	if was.notKept == s.mark {
		b.notKept = was.notKept
		b.texts = append(b.texts, "the show in the file was on trial, and nobody has kept it: the one before it runs; load it to have it")
		s = newShow(was.show.p, was.show.digest)
	}
	b.texts = append(b.texts, was.where()...)
	if len(was.moved) > 0 {
		b.texts = append(b.texts, "changed by the show on trial, and not sent back: "+strings.Join(was.moved, ", "))
	}
	if was.digest == s.digest {
		s.state.CopyFrom(was.state)
		copy(s.facts, was.facts)
		copy(s.disarmed, was.disarmed)
	} else {
		was.halt()
		carry(was.show, s)
		b.texts = append(b.texts, "another show than then is loaded: what has the same name has been kept")
	}
	s.lift()
	return s
}

// tried is in A of a Snapshot of a show on trial.
const tried = 1

// cutShort says whether records, of which the first is where a show was, end in
// the middle of one in which anything had happened. A controller that was cut
// off before it could say where its show begins had not begun one.
func cutShort(records []journal.Record) bool {
	for _, r := range slices.Backward(records) {
		switch r.Kind {
		case journal.Stopped:
			return false
		case journal.Event:
			return true
		}
		if arms(r) {
			return true
		}
	}
	return len(records) > 0 && records[0].At > 0
}

// lastWords is when a show was last heard of: not when another start of the
// controller was cut off.
func lastWords(records []journal.Record) time.Time {
	for _, r := range slices.Backward(records) {
		if r.Kind != journal.Session {
			return time.UnixMicro(r.Time)
		}
	}
	return time.Time{}
}

// missing is how many records of the show are not among records.
func missing(records []journal.Record) (n int) {
	for i, r := range records {
		if r.Kind == journal.Lost {
			n += int(r.A)
		}
		if i > 0 && r.Seq > records[i-1].Seq+1 {
			n += int(r.Seq - records[i-1].Seq - 1)
		}
	}
	return n
}

// stood is where a show stood. When one was on trial it is the show before, and
// moved are the buses that the one on trial had changed. NotKept is the mark of a
// show that was tried last and not kept.
type stood struct {
	*show
	notKept mark
	moved   []string
}

// standing applies the events since a snapshot.
func standing(dir string, records []journal.Record) (*stood, error) {
	s, err := snapshot(dir, records[0])
	if err != nil {
		return nil, err
	}
	var t *trial
	for _, r := range records[1:] {
		s.armedAsIn(r)
		switch r.Kind {
		case journal.Snapshot: // of a show on trial
			next, err := snapshot(dir, r)
			if err != nil {
				return nil, err
			}
			if t == nil {
				t = newTrial(s, next)
			}
			s = next
		case journal.Event:
			e, ok := event(s.p, r)
			if !ok {
				return nil, errors.New("an event in the journal does not fit its show")
			}
			s.before.CopyFrom(s.state)
			s.effects = s.m.Apply(s.state, e, s.effects[:0])
			s.want(e, s.effects)
		case journal.Adopted:
			if r.B >= 0 && int(r.B) < len(s.facts) && s.value(r.B) == uint32(r.C) {
				s.wants(r.B)
			}
		case journal.Sent, journal.Outcome:
			s.recall(r)
		}
	}
	if t == nil {
		return &stood{show: s, notKept: mark{records[0].B, records[0].C}}, nil
	}
	was := &stood{show: t.revive(s), notKept: s.mark}
	for _, b := range t.moved(s) {
		was.moved = append(was.moved, was.p.Vars[b.v].Name)
	}
	return was, nil
}

// snapshot is the show that a snapshot is of, where it was.
func snapshot(dir string, r journal.Record) (*show, error) {
	p, err := readProgram(dir, r.Text)
	if err != nil {
		return nil, err
	}
	s := newShow(p, r.Text)
	s.disarm(strings.Fields(r.By))
	return s, s.decode(r.Data)
}

// event is the event of a record, when it can be one of p.
func event(p *program.Program, r journal.Record) (step.Event, bool) {
	e := step.Event{Kind: step.EventKind(r.A), A: r.B, B: r.C, At: r.At}
	n, second := 0, 1<<31-1
	switch e.Kind {
	case step.Down, step.Up:
		n = len(p.Buttons)
	case step.Go:
		return e, r.B >= -1 && int(r.B) < len(p.Cues)
	case step.Expire:
		n = len(p.Timers)
	case step.Fault:
		n, second = len(p.Devices), int(program.Healths)
	case step.Observe:
		n = len(p.Vars)
	case step.StopAll:
		return e, true
	case step.Stand:
		n = len(p.Cues) + 1
	case step.Moment:
		n = len(p.Cues)
	case step.Safe:
		n = len(p.Destinations)
	case step.Declined:
		n = len(p.Tasks)
	}
	return e, r.A >= 0 && int(r.A) < step.EventKinds && r.B >= 0 && int(r.B) < n && r.C >= 0 && int(r.C) < second
}

// where says how the show stood, for operators.
func (s *show) where() []string {
	scene := s.tell.Scene(s.state)
	texts := []string{"it was " + scene.Time + " into the show; on standby: " + scene.Standby}
	for _, r := range scene.Running {
		texts = append(texts, r.Name+" was running and has been ended")
	}
	return texts
}

// open begins the journal. After a cut the show's scripts are ended, and it is
// held.
func (c *Controller) open(before *past) error {
	if c.opts.Dir == "" {
		return nil
	}
	unkept := writeProgram(c.opts.Dir, c.show.p, c.show.digest)
	c.unkept = unkept != nil
	if unkept != nil && !diskTrouble(unkept) {
		return fmt.Errorf("the program cannot be kept beside the journal: %w", unkept)
	}
	opts := c.opts.Journal
	opts.Trouble = c.trouble
	var err error
	if c.journal, err = journal.Open(c.opts.Dir, opts); err != nil {
		return fmt.Errorf("the journal cannot be begun: %w", err)
	}
	session := journal.Record{Kind: journal.Session, Text: c.show.digest, By: c.show.p.Show}
	if before != nil {
		session.A = 1
	}
	c.note(session)
	if before != nil {
		c.notKept = before.notKept
	}
	c.snapshot()
	if unkept != nil { // a show that does not start is worse than one without a journal
		c.alert("controller", "the program cannot be kept beside the journal: "+unkept.Error()+"; until it can, the show would begin anew after a power cut")
	}
	if c.pair == nil {
		c.goOn(before)
	}
	return nil
}

// goOn goes on from where a show was. After a cut its scripts are ended, and it
// is held.
func (c *Controller) goOn(before *past) {
	if before == nil {
		return
	}
	c.held = true
	c.apply(step.Event{Kind: step.StopAll, At: c.show.state.Now})
	for _, text := range before.texts {
		c.alert("controller", text)
	}
	c.missedBefore(before.at)
	c.wishes()
}

// trouble hears from the journal that the disk takes no more, or does again.
func (c *Controller) trouble(err error) {
	text := "the journal is being kept again"
	if err != nil {
		text = "the journal cannot be kept: " + err.Error() + "; the show goes on without it"
	}
	c.gap.Store(true) // whatever is missing, a snapshot makes good for it
	// Not post: the loop may be waiting for the journal to close.
	select {
	case c.queue <- func() { c.alert("controller", text) }:
	default:
		c.log(text)
	}
}

// diskTrouble says whether an error is of the kind that comes and goes with a
// disk, and not with what somebody has typed.
func diskTrouble(err error) bool {
	for _, e := range []error{syscall.ENOSPC, syscall.EDQUOT, syscall.EROFS, syscall.EIO, syscall.EMFILE, syscall.ENFILE} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// The journal gets a snapshot as often as this, in bytes, so that little has to
// be applied again after a cut; and a new file when one is this large. What is
// to be made good for is tried that often, in microseconds of show time.
const (
	snapshotEvery       = 1 << 20
	rotateAt            = 16 << 20
	mendEvery     int64 = 500_000
)

// keep writes a snapshot when one is due: also when the journal, or the
// program beside it, could not be kept for a while.
func (c *Controller) keep() {
	if c.journal == nil {
		return
	}
	gap := c.gap.Load()
	if now := c.clock.now(); (gap || c.unkept) && now >= c.mended+mendEvery {
		c.mended = now
		c.keepProgram()
	} else {
		gap = false
	}
	switch size := c.journal.Size(); {
	case gap:
	case size >= rotateAt:
		c.journal.Rotate()
	case size < c.kept+snapshotEvery:
		return
	}
	c.snapshot()
}

// keepProgram keeps the program that runs beside the journal, if the disk takes
// it. The loop does not wait for that.
func (c *Controller) keepProgram() {
	if c.keeping {
		return
	}
	c.keeping = true
	dir, p, digest := c.opts.Dir, c.show.p, c.show.digest
	c.watch.Go(func() {
		err := writeProgram(dir, p, digest)
		c.post(func() {
			c.keeping = false
			c.unkept = err != nil || digest != c.show.digest && c.unkept
		})
	})
}

// snapshot puts where the show is into the journal.
func (c *Controller) snapshot() {
	if c.journal == nil {
		return
	}
	c.gap.Store(false) // it comes back when this one is lost as well
	c.tellPair(false)
	r := journal.Record{Kind: journal.Snapshot, Text: c.show.digest, By: c.show.disarmedNumbers(), B: c.notKept[0], C: c.notKept[1], Data: c.show.encode()}
	if c.trial != nil {
		r.A = tried
	}
	c.note(r)
	c.tellPair(true)
	c.kept = c.journal.Size()
}

// encode is the state and what the show has set, as a snapshot keeps it: the
// words, the due times and now, then the variables that were set with what to
// and when. All are varints with their number before them.
func (s *show) encode() []byte {
	out := binary.AppendUvarint(nil, uint64(len(s.state.Words)))
	for _, w := range s.state.Words {
		out = binary.AppendUvarint(out, w)
	}
	out = binary.AppendUvarint(out, uint64(len(s.state.Due)))
	for _, d := range s.state.Due {
		out = binary.AppendVarint(out, d)
	}
	out = binary.AppendVarint(out, s.state.Now)
	for v := range s.facts {
		if f := &s.facts[v]; f.set {
			out = binary.AppendUvarint(out, uint64(v))
			out = binary.AppendUvarint(out, uint64(f.wanted))
			out = binary.AppendVarint(out, f.wantedAt)
		}
	}
	return out
}

var errSnapshot = errors.New("a snapshot in the journal does not fit its show")

// decode is the reverse of encode. Every value is held against its variable.
func (s *show) decode(data []byte) error {
	d := digits{data, true}
	if d.unsigned() != uint64(len(s.state.Words)) {
		return errSnapshot
	}
	read := &state.State{Words: make([]uint64, len(s.state.Words)), Due: make([]int64, len(s.state.Due))}
	for i := range read.Words {
		read.Words[i] = d.unsigned()
	}
	if d.unsigned() != uint64(len(read.Due)) {
		return errSnapshot
	}
	for i := range read.Due {
		read.Due[i] = d.signed()
	}
	read.Now = d.signed()
	for v := range s.p.Vars {
		if s.m.L.Get(read, int32(v)) >= s.p.Vars[v].Size {
			return errSnapshot
		}
	}
	for d.ok && len(d.rest) > 0 {
		v, wanted, at := d.unsigned(), d.unsigned(), d.signed()
		if v >= uint64(len(s.facts)) || wanted >= uint64(s.p.Vars[v].Size) {
			return errSnapshot
		}
		s.facts[v].wanted, s.facts[v].wantedAt, s.facts[v].set = uint32(wanted), at, true
	}
	if !d.ok {
		return errSnapshot
	}
	s.state.CopyFrom(read)
	return nil
}

type digits struct {
	rest []byte
	ok   bool
}

func (d *digits) took(n int) {
	if n <= 0 {
		d.rest, d.ok = nil, false
		return
	}
	d.rest = d.rest[n:]
}

func (d *digits) unsigned() uint64 {
	v, n := binary.Uvarint(d.rest)
	d.took(n)
	return v
}

func (d *digits) signed() int64 {
	v, n := binary.Varint(d.rest)
	d.took(n)
	return v
}

// programName is the file that a program is kept in, beside the journal.
func programName(dir, digest string) string { return filepath.Join(dir, digest+".program") }

// writeProgram keeps a program beside the journal. It is whole or absent.
func writeProgram(dir string, p *program.Program, digest string) error {
	name := programName(dir, digest)
	if _, err := readProgram(dir, digest); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("there is no folder: %w", err)
	}
	return journal.WriteWhole(name, "", program.Encode(p))
}

// readProgram reads a program that was kept.
func readProgram(dir, digest string) (*program.Program, error) {
	if len(digest) != 64 || strings.Trim(digest, "0123456789abcdef") != "" {
		return nil, errors.New("the journal does not say which show it is of")
	}
	data, err := os.ReadFile(programName(dir, digest))
	if err != nil {
		return nil, err
	}
	p, err := program.Decode(data)
	if err == nil && Digest(p) != digest {
		err = errors.New("the program beside the journal is another one")
	}
	return p, err
}
