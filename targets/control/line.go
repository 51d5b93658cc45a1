package control

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/observe"
	"cuewright/targets/osc"
	"cuewright/targets/wire"
)

// line is the queue to one device and the goroutine that empties it. Messages
// go out in the order in which they were put in. A line that fails tells the
// boss, and from then on lets nothing through: what is in the queue is told as
// not sent. Once the device can be reached again it is read first, and only
// then is it well.
type line struct {
	device program.Device
	boss   boss
	link   link
	jobs   chan job
	kick   chan struct{}
	lost   chan struct{} // a connection has ended by itself
	failed chan error    // of what was sent from elsewhere
	look   chan struct{}
	ctx    context.Context
	cancel context.CancelFunc
	group  sync.WaitGroup
	last   sync.Once // of jobs being closed

	table   atomic.Pointer[observe.Table]
	polls   atomic.Pointer[[]poll]
	mailbox mailbox
	tally   tally

	datagrams bool
	reads     bool         // the device is read before anything is sent
	under     atomic.Int32 // jobs that wait or are being sent; only the loop adds to it

	first chan struct{} // closed when the device was asked for the first time

	up      atomic.Bool
	met     atomic.Bool  // it has been well once
	outages atomic.Int32 // how often it has been away
	behind  atomic.Bool  // something is sent of which a refusal may still come
}

// boss is who owns a line: the controller. Its methods may be called from any
// goroutine and come back soon.
type boss interface {
	became(l *line, m job, at int, answer string, err error) // of one message
	health(l *line, well bool, why string)
	said(l *line, what string)               // for operators
	mail(l *line)                            // there is something in the mailbox
	leaves(ctx context.Context, j job) error // waits until a job may be sent
}

// job is messages that go together.
type job struct {
	show     int32   // the first half of the mark of the show whose indices these are
	device   int32   // Program.Devices
	indexes  []int32 // Program.Messages
	messages []*program.Message
	of       *program.Program
	tasks    []int32   // on whose behalf each is sent, or none
	at       int64     // show time
	wish     *wish     // that they are to meet, or nil
	pressed  time.Time // when the press came that set them off; zero when none did

	epoch, piece uint64 // of a pair: where the other one is told of them
}

// poll is a request that asks how a device is.
type poll struct {
	method, target string
	every          time.Duration
}

var (
	errAway    = errors.New("not sent: the device is away")
	errStopped = errors.New("not sent: the controller was stopped")
	errBehind  = errors.New("not sent: too much waits for the device already")
)

// queued is how many jobs can wait for a device. A show sends some in a
// second; a device that is this far behind is as good as away.
const queued = 256

// probeEvery is how often a device that is away is looked for.
const probeEvery = time.Second

func newLine(d program.Device, b boss, dial dial) (*line, error) {
	l := &line{device: d, boss: b, jobs: make(chan job, queued), kick: make(chan struct{}, 1), lost: make(chan struct{}, 1), failed: make(chan error, 1), look: make(chan struct{}, 1), first: make(chan struct{}),
		datagrams: d.Wire == "osc.udp"}
	l.ctx, l.cancel = context.WithCancel(context.Background())
	l.up.Store(true)
	l.polls.Store(&[]poll{})
	var err error
	if l.link, err = dial(d, l.packet, func() { ring(l.lost) }); err != nil {
		l.cancel()
		return nil, err
	}
	return l, nil
}

// start lets the line work. Its table and polls have been set.
func (l *line) start() {
	l.group.Go(l.run)
	l.group.Go(l.ask)
}

// fate is what became of a job that was given to a line: it waits for its turn
// (taken), was sent at once (sent; of its messages, done went out), or could
// not be taken.
type fate struct {
	taken, sent bool
	done        int
	answer      string
	err         error
}

// put gives the line a job, which it has not taken when too much waits already:
// then what waits is as good as never sent, and the device is away.
// A datagram that nothing waits before goes out at once: that is quicker than
// waking the line's goroutine, and the system does not let it wait. Only the
// loop puts. What became of a job that was sent at once is for it to tell; its
// failure is left to the line's goroutine, since the loop cannot wait for
// itself.
func (l *line) put(j job) fate {
	if l.datagrams && j.piece == 0 && l.under.Load() == 0 && l.shut() == nil {
		f := fate{taken: true, sent: true}
		f.done, f.answer, f.err = l.link.send(soon{l.ctx, time.Now().Add(soonEnough)}, j.messages)
		return f
	}
	l.under.Add(1)
	select {
	case l.jobs <- j:
		return fate{taken: true}
	default:
		l.under.Add(-1)
		l.sent(fmt.Errorf("%s takes too long: more than %d messages wait for it", wire.Who(l.device.Name, l.device.Address), queued))
		return fate{}
	}
}

// sent wakes the line's goroutine where it has to see to what was sent at once.
func (l *line) sent(err error) {
	if err == nil {
		if !l.behind.Swap(true) {
			ring(l.kick)
		}
		return
	}
	select {
	case l.failed <- err:
	default: // one is enough
	}
}

// soon is a context that ends very soon, without a timer of its own.
type soon struct {
	context.Context
	at time.Time
}

func (s soon) Deadline() (time.Time, bool) { return s.at, true }

// soonEnough is how long a datagram may take to be handed to the system. It
// does not wait, unless the system has no room for it.
const soonEnough = 200 * time.Millisecond

// end lets no more jobs in; finish waits for those that are, until ctx ends.
func (l *line) end() { l.last.Do(func() { close(l.jobs) }) }

func (l *line) finish(ctx context.Context) {
	l.end()
	stop := context.AfterFunc(ctx, l.cancel)
	defer stop()
	l.group.Wait()
	l.cancel()
	l.link.close()
}

// run sends jobs until there are no more.
func (l *line) run() {
	defer l.cancel() // nobody asks a device that nothing is sent to any more
	switch {
	case isHTTP(l.device.Wire):
		l.reach()
	case l.connect() && !l.datagrams: // whether anybody listens to datagrams is not known then, but whether its name is
		l.noticed()
		l.well(l.outages.Load())
	}
	l.readFirst()
	var connected time.Time
	for {
		var late, again <-chan time.Time
		if l.behind.Load() {
			late = time.After(refusalTime)
		}
		if !l.up.Load() && len(*l.polls.Load()) == 0 {
			again = time.After(probeEvery)
		}
		select {
		case j, more := <-l.jobs:
			if !more {
				return
			}
			if err := l.boss.leaves(l.ctx, j); err != nil {
				l.told(j, 0, len(j.messages), "", err)
			} else {
				l.send(j)
			}
			l.under.Add(-1)
		case <-l.kick: // to look for a refusal in a while
		case <-l.look:
			l.reach()
		case <-l.lost: // a device may hang up when nothing is said for a while, but not at once
			if time.Since(connected) < probeEvery {
				l.fail(hungUp(l.device))
			} else if l.up.Load() {
				connected = time.Now()
				l.connect()
			}
		case err := <-l.failed:
			l.fail(err)
		case <-late:
			l.behind.Store(false)
			l.connect()
		case <-again:
			l.reach()
		}
	}
}

// readFirst waits, not for long, until the device has been asked how it is.
func (l *line) readFirst() {
	if !l.reads || len(*l.polls.Load()) == 0 {
		return
	}
	select {
	case <-l.first:
	case <-time.After(readTime):
	case <-l.ctx.Done():
	}
}

// readTime is how long a device may take to say how it is, when it is read
// before anything is sent.
const readTime = 300 * time.Millisecond

// connect connects, if that is needed, and hears of what was refused.
func (l *line) connect() bool {
	_, _, err := l.link.send(l.ctx, nil)
	if err != nil && l.ctx.Err() == nil {
		l.fail(err)
	}
	return err == nil
}

// reach looks whether the device can be reached, when there is nothing that it
// can be asked.
func (l *line) reach() {
	if len(*l.polls.Load()) > 0 {
		return
	}
	outage := l.outages.Load()
	err := l.link.probe(l.ctx)
	switch {
	case l.ctx.Err() != nil:
	case err != nil:
		l.fail(err)
	default:
		l.noticed()
		l.well(outage)
	}
}

// send sends a job and tells what became of each of its messages.
func (l *line) send(j job) {
	if why := l.shut(); why != nil {
		l.told(j, 0, len(j.messages), "", why)
		return
	}
	done, answer, err := l.link.send(l.ctx, j.messages)
	l.told(j, 0, done, answer, nil)
	switch {
	case err == nil:
		l.behind.Store(!isHTTP(l.device.Wire))
	case l.ctx.Err() != nil:
		l.told(j, done, len(j.messages), "", errStopped)
	case answered(err) && done < len(j.messages): // no is an answer: what comes after it may still work
		l.told(j, done, done+1, "", err)
		l.boss.said(l, err.Error())
		l.send(j.rest(done + 1))
	default:
		l.told(j, done, len(j.messages), "", err)
		l.fail(err)
	}
}

// rest is a job without its first messages.
func (j job) rest(from int) job {
	j.indexes, j.messages, j.tasks = j.indexes[from:], j.messages[from:], j.tasks[min(from, len(j.tasks)):]
	return j
}

// shut is why nothing is let through, if so.
func (l *line) shut() error {
	switch {
	case l.ctx.Err() != nil:
		return errStopped
	case !l.up.Load():
		return errAway
	}
	return nil
}

// told tells what became of some messages of a job.
func (l *line) told(j job, from, to int, answer string, err error) {
	for i := from; i < to; i++ {
		l.boss.became(l, j, i, answer, err)
	}
}

// answered says that a fault is what the device said, so that it is there.
func answered(err error) bool {
	switch wire.CodeOf(err) {
	case "device-said-no", "device-redirects", "oversized-message":
		return true
	}
	return false
}

func (l *line) fail(err error) {
	if !l.up.Load() {
		return
	}
	l.outages.Add(1) // first, so that nothing that was answered before can end it
	if l.up.Swap(false) {
		l.boss.health(l, false, err.Error())
	}
}

// well ends an outage, unless another has begun since.
func (l *line) well(outage int32) {
	if l.outages.Load() != outage {
		return
	}
	first := !l.met.Swap(true)
	if !l.up.Swap(true) || first { // nothing comes before the loop has heard that it is well
		l.boss.health(l, true, "")
	}
}

// watch makes a line hear what p says of its device.
func (l *line) watch(p *program.Program, device int32) {
	var polls []poll
	for _, o := range p.Observations {
		if o.Device != device || o.Method == "" {
			continue
		}
		every := max(time.Duration(o.Every)*time.Microsecond, shortestPoll)
		if o.Every <= 0 {
			every = probeEvery
		}
		i := slices.IndexFunc(polls, func(q poll) bool { return q.method == o.Method && q.target == o.Target })
		if i < 0 {
			polls = append(polls, poll{o.Method, o.Target, every})
		} else {
			polls[i].every = min(polls[i].every, every)
		}
	}
	l.table.Store(observe.New(p, device))
	l.polls.Store(&polls)
}

// seek has the device looked for, which takes a datagram where nothing else
// tells whether it is there. One that is asked how it is need not be.
func (l *line) seek() { ring(l.look) }

// shortestPoll keeps a plan from asking a device all the time.
const shortestPoll = 50 * time.Millisecond

// ask asks the device how it is, each poll in its time, until the line ends.
// Two polls that fail one after the other mean that it is away; it is back
// when all have been answered since.
func (l *line) ask() {
	asked, known := map[poll]time.Time{}, map[poll]int32{} // known: at which outage it was answered last
	failed := 0
	for l.ctx.Err() == nil {
		polls := *l.polls.Load()
		next := time.Now().Add(probeEvery)
		outage := l.outages.Load()
		for _, q := range polls {
			at, ok := known[q]
			due := asked[q].Add(l.pace(q, ok && at == outage))
			if time.Until(due) <= 0 {
				asked[q] = time.Now()
				if err := l.askOne(q); l.ctx.Err() != nil {
					return
				} else if err == nil {
					failed, known[q] = 0, outage
				} else if failed++; failed >= 2 {
					l.fail(err)
				}
				due = time.Now().Add(l.pace(q, true))
			}
			if due.Before(next) {
				next = due
			}
		}
		select {
		case <-l.first:
		default:
			close(l.first)
		}
		if failed == 0 && len(polls) > 0 && !slices.ContainsFunc(polls, func(q poll) bool { at, ok := known[q]; return !ok || at != outage }) {
			l.well(outage)
		}
		select {
		case <-time.After(time.Until(next)):
		case <-l.ctx.Done():
			return
		}
	}
}

// pace is how long to wait before a poll is sent again: to a device that is
// away, as often as it is looked for, and less often when it has answered.
func (l *line) pace(q poll, known bool) time.Duration {
	switch {
	case l.up.Load():
		return q.every
	case known:
		return max(q.every, probeEvery)
	}
	return probeEvery
}

func (l *line) askOne(q poll) error {
	asked := time.Now()
	answer, err := l.link.ask(l.ctx, q.method, q.target)
	if err != nil && !answered(err) {
		return err
	}
	l.noticed()
	table := l.table.Load()
	l.heard(table, asked, true, table.HTTP(q.method, q.target, answer.Status, answer.Body))
	return nil
}

// packet takes what an OSC device sent.
func (l *line) packet(packet []byte, _ osc.From) {
	l.noticed()
	p, err := osc.Decode(packet)
	if err != nil {
		l.garbled()
		return
	}
	table := l.table.Load()
	osc.Each(p, func(m osc.Message) { l.heard(table, time.Now(), false, table.Heard(m, nil)) })
}

func (l *line) heard(table *observe.Table, at time.Time, polled bool, all []observe.Observed) {
	if len(all) > 0 && l.mailbox.put(table, at, polled, all) {
		l.boss.mail(l)
	}
}

// garbled says once that a device sends what cannot be read.
func (l *line) garbled() {
	if l.mailbox.firstGarbage() {
		l.boss.said(l, wire.Who(l.device.Name, l.device.Address)+" sends what cannot be read")
	}
}
