// Package pair joins two controllers that run one show, so that one goes on when
// the other is gone.
//
// Each has an embedded NATS server of its own, and is a client of its own and of
// its partner's; a witness has one too. What members say to each other to settle
// who leads (targets/lease) goes over both servers, as plain messages. What
// happens at the leader goes into a stream in the memory of the leader's server
// (JetStream), one message a piece (control.Piece); programs go into an object
// store beside it. The other one reads the stream from the last piece with a
// snapshot on, and acknowledges each piece once it has applied it. The stream
// has one replica: an election among NATS servers would take seconds, and which
// of the two leads is settled here.
//
// Whoever knows the secret is let in, and nobody else. The secret is never sent:
// a key is made of it, and the server asks for a signature of a number that it
// has just drawn. Without TLS what is said can be read on the wire.
//
// What is not here: what a piece holds and what is done with it (targets/control).
package pair

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"cuewright/targets/control"
	"cuewright/targets/lease"
	"cuewright/targets/surface"
)

// Config says how a controller is one of a pair.
type Config struct {
	Seat      lease.Seat
	Listen    string // HOST:PORT that the partner reaches this one at
	Partner   string // HOST:PORT of the partner
	Witness   string // HOST:PORT of the witness; "" where there is none
	OnSilence bool   // without a witness: lead when the partner is silent
	Secret    string // see CheckSecret
	Dir       string // where the epoch is kept, and what the server needs
	Secure    Secure
	Log       *slog.Logger // nil is silence
}

// Pair is one end of a pair. It is a control.Pair.
type Pair struct {
	config               Config
	server               *server.Server
	own                  *nats.Conn // to the own server
	partner              *nats.Conn // to the partner's
	witness              *nats.Conn // or nil
	toPartner, toWitness *mouth     // the latter nil where there is no witness
	began                time.Time
	keeper               keeper

	ctx    context.Context
	cancel context.CancelFunc
	group  sync.WaitGroup

	// Serial is held while a word is taken, kept and answered. Mu guards what
	// stands under it; it is taken under serial and under control's locks, and
	// none under it.
	serial  sync.Mutex
	mu      sync.Mutex
	member  *lease.Member
	desk    control.Member
	changed chan struct{} // closed when the member may stand otherwise
	acts    []act
	acted   act             // the last that the controller was told, and has done
	pieces  []control.Piece // to be told
	waiting int             // bytes of them
	doubled bool            // the partner has this one's seat

	acting  chan struct{}
	telling chan struct{}
	reading chan struct{}
	handing sync.Mutex // while it hands over
}

var _ control.Pair = (*Pair)(nil)

// act is something that the controller is to be told.
type act struct {
	lead     bool
	epoch    uint64
	complete bool
}

// Open opens this end of a pair. It leads or follows once a controller has
// joined.
func Open(c Config) (*Pair, error) {
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	if err := CheckSecret(c.Secret); err != nil {
		return nil, err
	}
	p := &Pair{config: c, began: time.Now(), keeper: keeper{filepath.Join(c.Dir, "pair.kept")}, changed: make(chan struct{}),
		acting: make(chan struct{}, 1), telling: make(chan struct{}, 1), reading: make(chan struct{}, 1)}
	p.ctx, p.cancel = context.WithCancel(context.Background())
	var kept lease.Kept
	if err := p.keeper.read(&kept); err != nil {
		c.Log.Warn("what the pair kept cannot be read, it begins anew: " + err.Error())
	}
	p.member = lease.NewMember(lease.Rules{Seat: c.Seat, Witness: c.Witness != "", OnSilence: c.OnSilence}, kept, rand.Uint64(), p.now())
	if err := p.connect(); err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

func (p *Pair) now() time.Duration { return time.Since(p.began) }

// connect starts the server and the ways to it and to the others.
func (p *Pair) connect() (err error) {
	k, err := newKey(p.config.Secret)
	if err != nil {
		return err
	}
	if p.server, err = k.serve(p.config.Listen, p.config.Dir, p.config.Secure); err != nil {
		return err
	}
	if p.own, err = nats.Connect("", append(k.options(Secure{}), nats.InProcessServer(p.server), nats.NoEcho())...); err != nil {
		return fmt.Errorf("the pair's own server cannot be reached: %w", err)
	}
	if p.partner, err = nats.Connect(urlOf(p.config.Partner), append(k.options(p.config.Secure), nats.NoEcho(), nats.ConnectHandler(p.connected), nats.ReconnectHandler(p.connected))...); err != nil {
		return fmt.Errorf("the partner's address cannot be used: %w", err)
	}
	if p.config.Witness == "" {
		return nil
	}
	if p.witness, err = nats.Connect(urlOf(p.config.Witness), k.options(p.config.Secure)...); err != nil {
		return fmt.Errorf("the witness's address cannot be used: %w", err)
	}
	return nil
}

func (p *Pair) connected(*nats.Conn) { ring(p.reading) }

// Join begins.
func (p *Pair) Join(desk control.Member) {
	p.desk = desk
	hear := func(m *nats.Msg) { p.heard(m.Data) }
	for _, c := range []*nats.Conn{p.own, p.partner} {
		if _, err := c.Subscribe(wordSubject, hear); err != nil {
			p.config.Log.Error("the pair cannot hear: " + err.Error())
		}
	}
	if _, err := p.own.Subscribe(againSubject, func(*nats.Msg) { p.desk.Again() }); err != nil {
		p.config.Log.Error("the pair cannot hear: " + err.Error())
	}
	p.toPartner = newMouth(p.partner, wordSubject, "")
	p.group.Go(func() { p.toPartner.speak(p.ctx) })
	if p.witness != nil {
		inbox := nats.NewInbox()
		if _, err := p.witness.Subscribe(inbox, hear); err != nil {
			p.config.Log.Error("the witness cannot be heard: " + err.Error())
		}
		p.toWitness = newMouth(p.witness, witnessSubject, inbox)
		p.group.Go(func() { p.toWitness.speak(p.ctx) })
	}
	p.group.Go(p.tick)
	p.group.Go(p.act)
	p.group.Go(p.publish)
	p.group.Go(p.read)
}

// tick lets time come.
func (p *Pair) tick() {
	every := time.NewTicker(lease.Beat / 4)
	was := p.Standing()
	defer every.Stop()
	for {
		select {
		case <-p.ctx.Done():
			return
		case <-every.C:
			if time.Since(p.desk.Turned()) < hangTime {
				p.step(func(m *lease.Member) { m.Tick(p.now()) })
				p.notice(&was)
			}
		}
	}
}

// hangTime is how long a controller may be without a turn. One that hangs for
// longer says nothing more, so that the other one takes over.
const hangTime = 1500 * time.Millisecond

// notice tells operators who has gone or come.
func (p *Pair) notice(was *surface.Pair) {
	now := p.Standing()
	switch {
	case was.Heard && !now.Heard:
		p.desk.Alert(now.Other + " is not heard any more")
	case now.Leads && was.Leads && !was.InStep && now.InStep:
		p.desk.Alert(now.Other + " is in step: it can take over")
	case now.Leads && was.Leads && was.InStep && !now.InStep && now.Heard:
		p.desk.Alert(now.Other + " is too slow, or has lost its place: it cannot take over until it is in step again")
	case was.Judge && !now.Judge:
		p.desk.Alert("the witness is not heard any more")
	case now.Leads && was.Sends && !now.Sends, !now.Stale && was.Stale, now.Stale && !was.Stale:
		p.desk.Alert(now.Words())
	}
	if was.Heard != now.Heard || was.InStep != now.InStep || was.Judge != now.Judge || was.Sends != now.Sends || was.Stale != now.Stale {
		p.desk.Changed()
	}
	*was = now
}

// heard takes a word.
func (p *Pair) heard(data []byte) {
	w, err := decodeWord(data)
	if err != nil {
		return
	}
	if w.From == p.config.Seat && w.To != p.config.Seat {
		p.mu.Lock()
		first := !p.doubled
		p.doubled = true
		p.mu.Unlock()
		if first {
			p.desk.Alert(fmt.Sprintf("both controllers are called %s: start one of them as %s", w.From, w.From.Other()))
		}
		return
	}
	if w.Kind == lease.Ask && w.To == p.config.Seat {
		p.group.Go(func() { // nothing that waits is done here
			ctx, cancel := context.WithTimeout(p.ctx, handTime)
			defer cancel()
			p.handOver(ctx)
		})
		return
	}
	p.step(func(m *lease.Member) { m.Hear(w, p.now()) })
}

// step has the member do something, keeps what it has to keep, and says what
// it says.
func (p *Pair) step(do func(*lease.Member)) {
	p.serial.Lock()
	defer p.serial.Unlock()
	p.mu.Lock()
	m := p.member
	kept, role, epoch := m.Kept(), m.Role(), m.Epoch()
	do(m)
	now, out := m.Kept(), m.Out()
	led, leads := role == lease.Leading, m.Role() == lease.Leading
	if leads != led || leads && m.Epoch() != epoch {
		p.acts = append(p.acts, act{leads, m.Epoch(), m.InStep()})
	}
	close(p.changed)
	p.changed = make(chan struct{})
	p.mu.Unlock()
	if now != kept {
		if err := p.keeper.write(now); err != nil {
			p.config.Log.Error("the pair's epoch cannot be kept: " + err.Error())
		}
	}
	for _, w := range out {
		p.say(w)
	}
	if leads != led || m.Epoch() != epoch || m.Role() != role {
		ring(p.acting)
		ring(p.reading)
	}
}

// act tells the controller what to be.
func (p *Pair) act() {
	for {
		select {
		case <-p.ctx.Done():
			return
		case <-p.acting:
		}
		for {
			p.mu.Lock()
			if len(p.acts) == 0 {
				p.mu.Unlock()
				break
			}
			a := p.acts[0]
			p.acts = p.acts[1:]
			p.mu.Unlock()
			if a.lead {
				p.desk.Lead(a.epoch, a.complete)
			} else {
				p.desk.Yield()
			}
			p.mu.Lock()
			p.acted = a
			close(p.changed)
			p.changed = make(chan struct{})
			p.mu.Unlock()
		}
		p.desk.Changed()
	}
}

// say sends a word to whom it is for.
func (p *Pair) say(w lease.Word) {
	data := encodeWord(w)
	if w.To == lease.Witness {
		if p.toWitness != nil {
			p.toWitness.say(data)
		}
		return
	}
	p.toPartner.say(data)
	if w.Kind != lease.Ack {
		_ = p.own.Publish(wordSubject, data)
	}
}

// May says whether anything may be sent now.
func (p *Pair) May() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.member.May(p.now())
}

var errNotLeading = errors.New("the other controller leads")

// Open waits until the messages of a piece may leave.
func (p *Pair) Open(ctx context.Context, epoch, number uint64) error {
	for {
		p.mu.Lock()
		m, n := p.member, number
		if m.Epoch() != epoch {
			n = 1 // it leads under another epoch now, which begins with all that was done
		}
		leads, open, changed := m.Role() == lease.Leading, m.Open(n, p.now()), p.changed
		p.mu.Unlock()
		switch {
		case !leads:
			return errNotLeading
		case open:
			return nil
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Standing is how it stands.
func (p *Pair) Standing() surface.Pair {
	p.mu.Lock()
	defer p.mu.Unlock()
	m, now := p.member, p.now()
	other := p.config.Seat.Other()
	s := surface.Pair{Seat: p.config.Seat.String(), Other: other.String(), Epoch: m.Epoch(), Leads: m.Role() == lease.Leading, Waits: m.Role() == lease.Waiting,
		Sends: m.May(now), Alone: p.witness == nil, Stale: m.Stale(), InStep: m.Complete()}
	if at := m.Heard(other); at >= 0 {
		s.Seen, s.Heard = p.began.Add(at), now-at < lease.Promise
	}
	s.Judge = !s.Alone && now-m.Heard(lease.Witness) < 2*lease.Promise
	return s
}

// Close ends it. The own connection ends last: what is under way on it is ended
// by the context, and a client that is closed in mid-publishing leaves a
// goroutine behind.
func (p *Pair) Close() {
	p.cancel()
	for _, c := range []*nats.Conn{p.partner, p.witness} {
		if c != nil {
			c.Close()
		}
	}
	p.group.Wait()
	if p.own != nil {
		p.own.Close()
	}
	if p.server != nil {
		p.server.Shutdown()
		p.server.WaitForShutdown()
	}
}

func ring(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
