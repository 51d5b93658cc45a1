package pair

import (
	"context"
	"errors"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/lease"
)

const (
	streamName   = "show"
	programStore = "programs"
	askTime      = time.Second // for an answer of a server
)

// mostWaiting is how many bytes of pieces may wait to be told. When there are
// more the other one has lost its place, and begins again at the next snapshot.
const mostWaiting = 16 << 20

// Tell tells the other one a piece.
func (p *Pair) Tell(x control.Piece) {
	p.mu.Lock()
	if p.member.Role() == lease.Leading && p.member.Epoch() == x.Epoch {
		p.member.Told(x.Number, p.now())
	}
	if p.waiting < mostWaiting {
		p.pieces = append(p.pieces, x)
		p.waiting += len(x.Records)
	}
	p.mu.Unlock()
	ring(p.telling)
}

// publish puts pieces into the stream.
func (p *Pair) publish() {
	js, err := jetstream.New(p.own)
	if err != nil {
		p.desk.Alert("the other controller cannot be told anything: " + err.Error())
		return
	}
	b := book{js: js, put: map[string]bool{}}
	for {
		select {
		case <-p.ctx.Done():
			return
		case <-p.telling:
		}
		p.mu.Lock()
		pieces := p.pieces
		p.pieces, p.waiting = nil, 0
		p.mu.Unlock()
		for _, x := range pieces {
			if err := b.write(p.ctx, x); err != nil && p.ctx.Err() == nil {
				p.desk.Alert("the other controller cannot be told: " + err.Error())
			}
		}
	}
}

// book is the stream of the own server, as who leads writes it.
type book struct {
	js       jetstream.JetStream
	epoch    uint64 // of the stream
	programs jetstream.ObjectStore
	put      map[string]bool // programs that are there
}

// write writes a piece: the first of an epoch into a stream of its own.
func (b *book) write(ctx context.Context, x control.Piece) error {
	if x.Epoch != b.epoch && x.Start {
		if err := b.begin(ctx); err != nil {
			return err
		}
		b.epoch = x.Epoch
	}
	if x.Epoch != b.epoch {
		return nil // nobody can follow it before its start
	}
	subject := moreSubject
	if x.Start {
		subject = startSubject
		if err := b.keep(ctx, x.Digest, x.Program); err != nil {
			return err
		}
	}
	return b.js.Conn().Publish(subject, encodePiece(x))
}

// begin makes the stream anew.
func (b *book) begin(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, askTime)
	defer cancel()
	if err := b.js.DeleteStream(ctx, streamName); err != nil && !errors.Is(err, jetstream.ErrStreamNotFound) {
		return err
	}
	_, err := b.js.CreateStream(ctx, jetstream.StreamConfig{Name: streamName, Subjects: []string{logSubjects}, Storage: jetstream.MemoryStorage,
		MaxBytes: mostStream, Discard: jetstream.DiscardOld, NoAck: true})
	if err != nil || b.programs != nil {
		return err
	}
	b.programs, err = b.js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{Bucket: programStore, Storage: jetstream.MemoryStorage})
	return err
}

// keep puts a program where the other one can get it.
func (b *book) keep(ctx context.Context, digest string, p *program.Program) error {
	if b.put[digest] {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, askTime)
	defer cancel()
	for old := range b.put { // one is enough: the other one keeps those that it had
		_ = b.programs.Delete(ctx, old)
		delete(b.put, old)
	}
	if _, err := b.programs.PutBytes(ctx, digest, program.Encode(p)); err != nil {
		return err
	}
	b.put[digest] = true
	return nil
}

// read follows the leader's stream, whichever leads.
func (p *Pair) read() {
	js, err := jetstream.New(p.partner)
	if err != nil {
		p.desk.Alert("the leader cannot be followed: " + err.Error())
		return
	}
	r := &reader{pair: p, js: js}
	defer r.stop()
	look := time.NewTicker(lease.Beat)
	defer look.Stop()
	for {
		select {
		case <-p.ctx.Done():
			return
		case <-look.C:
		case <-p.reading:
		}
		r.look()
	}
}

// reader is the stream of the leader, as who follows reads it.
type reader struct {
	pair    *Pair
	js      jetstream.JetStream
	epoch   uint64 // that is being read; 0 when none is
	ends    jetstream.ConsumeContext
	known   uint64    // the last piece that was applied, under pair.mu
	lost    bool      // its place, under pair.mu
	moved   time.Time // when known was another, or all was known
	last    uint64
	retry   time.Time
	alerted string
}

// stallTime is how long nothing may come although there is more.
const stallTime = 400 * time.Millisecond

// look sees to it that the stream of the leader is read.
func (r *reader) look() {
	p := r.pair
	p.mu.Lock()
	role, epoch := p.member.Partner()
	follows := p.member.Role() == lease.Following && role == lease.Leading && epoch == p.member.Epoch() && p.now()-p.member.Heard(p.config.Seat.Other()) < lease.Promise
	told, known, lost := p.member.PartnerTold(), r.known, r.lost
	p.mu.Unlock()
	if !follows || !p.partner.IsConnected() {
		if r.epoch != 0 && p.ctx.Err() == nil && p.partner.IsConnected() && !follows {
			r.stop()
		}
		return
	}
	now := time.Now()
	if known != r.last || known >= told {
		r.last, r.moved = known, now
	}
	if r.epoch == epoch && !lost && now.Sub(r.moved) < stallTime {
		return
	}
	if now.Before(r.retry) {
		return
	}
	r.retry = now.Add(stallTime)
	r.stop()
	if lost || r.epoch == epoch {
		_ = p.partner.Publish(againSubject, nil) // there may be nothing to begin at
	}
	if r.begin(epoch) == nil {
		r.epoch, r.moved = epoch, now
	}
}

func (r *reader) stop() {
	if r.ends != nil {
		r.ends.Stop()
		<-r.ends.Closed()
	}
	r.ends, r.epoch = nil, 0
	r.pair.mu.Lock()
	r.known, r.lost = 0, false
	r.pair.mu.Unlock()
}

// begin reads from the last snapshot on.
func (r *reader) begin(epoch uint64) error {
	ctx, cancel := context.WithTimeout(r.pair.ctx, askTime)
	defer cancel()
	s, err := r.js.Stream(ctx, streamName)
	if err != nil {
		return err
	}
	start, err := s.GetLastMsgForSubject(ctx, startSubject)
	if err != nil {
		return err
	}
	if first, err := decodePiece(start.Data); err != nil || first.Epoch != epoch {
		return errors.Join(errPiece, err)
	}
	c, err := s.OrderedConsumer(ctx, jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: start.Sequence})
	if err != nil {
		return err
	}
	r.ends, err = c.Consume(func(m jetstream.Msg) { r.piece(epoch, m.Data()) }, jetstream.PullMaxMessages(256))
	return err
}

// piece has the controller take a piece, and says that it is known.
func (r *reader) piece(epoch uint64, data []byte) {
	p := r.pair
	x, err := decodePiece(data)
	if err != nil || x.Epoch != epoch {
		return
	}
	err = p.desk.Follow(x, r.get)
	if err != nil && err.Error() != r.alerted && !errors.Is(err, control.ErrPlace) {
		r.alerted = err.Error()
		p.desk.Alert("the leader cannot be followed: " + err.Error())
	}
	p.step(func(m *lease.Member) {
		m.Know(epoch, x.Number, err == nil)
		if r.lost = r.lost || err != nil; !r.lost {
			r.known = x.Number
		}
	})
}

// get fetches a program from the leader.
func (r *reader) get(digest string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(r.pair.ctx, askTime)
	defer cancel()
	store, err := r.js.ObjectStore(ctx, programStore)
	if err != nil {
		return nil, err
	}
	return store.GetBytes(ctx, digest)
}
