package lease

import "time"

// Member is one of two. All times are since any fixed moment, by a clock that
// only goes forward.
type Member struct {
	rules Rules
	kept  Kept
	role  Role
	began time.Duration
	out   []Word

	spoke    time.Duration // when the last Beat, Here or Stand was said
	promised time.Duration // until when the partner has this one's vote
	invited  bool          // the partner has released

	// Of a leader.
	until     time.Duration // end of the lease
	endless   bool          // the lease does not run out
	told      uint64        // the last piece
	known     uint64        // the last that the partner knows
	toldAt    time.Duration // of the first piece that it does not
	join      uint64        // the first piece for which the partner counts again; 0 when it does not
	confirmed bool          // the witness has heard that the leader is alone
	inStep    bool          // when it began to lead it knew everything
	reader    uint64        // whose pieces known are

	// Of one that does not lead.
	stood    uint64        // the highest that it tried to lead before this start
	standing uint64        // the epoch that it wants; 0 when it does not
	live     bool          // it knows all pieces of the leader's epoch
	self     uint64        // who reads
	counted  uint64        // who knows everything, as the leader said; 0 when it is alone
	stale    bool          // the witness said that this one does not know everything
	forced   time.Duration // until when a person's word counts

	heard   [3]time.Duration // when each was last heard; 0 never
	partner Word             // the last Beat, Here or Stand of the partner
}

// NewMember is a member that was started now, with what it kept. Self is a
// number that no member had before, drawn at random: one that starts again, or
// loses its place, does not know what it knew, and is another reader.
func NewMember(r Rules, k Kept, self uint64, now time.Duration) *Member {
	never := now - time.Hour
	return &Member{rules: r, kept: k, stood: k.Stood, self: self | 1, began: now, spoke: never, heard: [3]time.Duration{never, never, never}}
}

// Role is what it is.
func (m *Member) Role() Role { return m.role }

// Epoch is the newest that it knows.
func (m *Member) Epoch() uint64 { return m.kept.Epoch }

// Kept is what has to be on the disk before Out is sent.
func (m *Member) Kept() Kept { return m.kept }

// InStep says of a leader whether it began with everything that was done
// before it; else it goes on from an older state.
func (m *Member) InStep() bool { return m.inStep }

// Alone says of a leader whether the partner does not count.
func (m *Member) Alone() bool { return m.kept.Alone }

// Stale says that the witness does not let this one lead by itself.
func (m *Member) Stale() bool { return m.stale }

// Heard is when a seat was last heard.
func (m *Member) Heard(s Seat) time.Duration { return m.heard[s] }

// Partner is what the partner last said it was, and which epoch it knows.
func (m *Member) Partner() (Role, uint64) { return m.partner.Role, m.partner.Epoch }

// May says whether messages may be sent now.
func (m *Member) May(now time.Duration) bool {
	return m.role == Leading && (m.endless || now < m.until)
}

// silent says whether a seat has not been heard for as long as a promise.
func (m *Member) silent(s Seat, now time.Duration) bool { return now-m.heard[s] >= Promise }

// Out takes what is to be sent. Kept has to be on the disk before.
func (m *Member) Out() []Word {
	out := m.out
	m.out = nil
	return out
}

func (m *Member) say(w Word) {
	w.From, w.Self, w.Role, w.Rank, w.Number = m.rules.Seat, m.self, m.role, m.rank(), m.told
	w.To = m.rules.Seat.Other()
	m.out = append(m.out, w)
	if m.rules.Witness && (w.Kind == BeatWord || w.Kind == Stand) {
		w.To = Witness
		m.out = append(m.out, w)
	}
}

func (m *Member) rank() Rank {
	return Rank{m.kept.Data, m.kept.Alone, m.role == Leading || m.role == Following && m.knowsAll(), owner(m.kept.Data) == m.rules.Seat}
}

// Tick lets time come to now. It is to be called at least every quarter of a
// Beat.
func (m *Member) Tick(now time.Duration) {
	if m.role == Leading {
		m.patience(now)
		if now-m.spoke >= Beat {
			m.beat(now)
		}
		return
	}
	if m.mayStand(now) && !m.rules.Witness && m.rules.OnSilence && m.silent(m.rules.Seat.Other(), now) {
		m.lead(after(max(m.kept.Epoch, m.stood), m.rules.Seat), 0)
		m.beat(now)
		return
	}
	if now-m.spoke >= Beat || m.mayStand(now) && now-m.spoke >= Try {
		m.speak(now)
	}
}

// speak is what one that does not lead says.
func (m *Member) speak(now time.Duration) {
	m.spoke = now
	if !m.mayStand(now) {
		m.standing = 0
		m.say(Word{Kind: Here, Epoch: m.kept.Epoch, Stamp: now})
		return
	}
	m.standing = after(max(m.kept.Epoch, m.stood), m.rules.Seat)
	m.kept.Stood = max(m.kept.Stood, m.standing)
	m.say(Word{Kind: Stand, Epoch: m.standing, Stamp: now, Alone: true, Forced: now < m.forced})
}

// mayStand says whether it may try to lead: it has been silent for long
// enough, and the partner is not the better one.
func (m *Member) mayStand(now time.Duration) bool {
	switch {
	case m.role == Leading || now < m.promised:
		return false
	case m.invited: // whom it may have promised something to has released it
		return true
	case now < m.began+Listen:
		return false
	}
	if now < m.forced || m.silent(m.rules.Seat.Other(), now) {
		return true
	}
	return m.partner.Role != Leading && !m.partner.Rank.above(m.rank())
}

func (m *Member) beat(now time.Duration) {
	m.spoke = now
	w := Word{Kind: BeatWord, Epoch: m.kept.Epoch, Stamp: now, Alone: m.kept.Alone}
	if !w.Alone {
		w.Reader = m.reader
	}
	m.say(w)
}

// lead begins to lead, or to lead under another epoch.
func (m *Member) lead(epoch uint64, until time.Duration) {
	again := m.role == Leading
	m.inStep = again && m.inStep || m.knowsAll() && !m.stale
	m.role, m.until, m.endless = Leading, until, !m.rules.Witness
	m.kept.Epoch, m.kept.Data, m.kept.Alone = epoch, epoch, true
	m.told, m.known, m.reader, m.join, m.confirmed = 0, 0, 0, 0, !m.rules.Witness
	m.standing, m.invited, m.stale, m.forced, m.promised = 0, false, false, 0, 0
}

// follow yields to the partner's epoch, or goes on under it.
func (m *Member) follow(w Word, now time.Duration) {
	if m.role == Leading || w.Epoch != m.kept.Epoch {
		m.live = false
	}
	m.role, m.kept.Epoch = Following, w.Epoch
	m.promised, m.standing, m.invited, m.stale, m.forced = now+Promise, 0, false, false, 0
	m.counted = w.Reader
	m.until, m.endless = 0, false
}

// Release ends leading in favour of the partner. It says false, and goes on
// leading, where the partner does not know everything.
func (m *Member) Release(now time.Duration) bool {
	if !m.May(now) || m.kept.Alone || m.known != m.told {
		return false
	}
	reader := m.reader
	m.yield(m.kept.Epoch)
	m.live, m.counted, m.promised = true, m.self, now+Promise // it still knows everything itself
	m.say(Word{Kind: Release, Epoch: m.kept.Epoch, Stamp: now, Reader: reader})
	return true
}

// Said is what a person's word leads to.
type Said uint8

// What a person's word leads to.
const (
	Listening Said = iota // nothing yet: it was only just started
	HandOver              // it leads: it is to hand over to the partner
	Asked                 // the partner leads: it has been asked to hand over
	Stands                // it tries to lead, and a person's word is taken for it
	Leads                 // it leads on a person's word alone
	Nothing               // it leads and may not send; votes are on their way
)

// Press takes the word of a person, who wants the other one of the two to lead,
// or, when nobody leads, this one. Where neither the partner nor a witness is
// heard it is the second vote: the person says that the other one does not lead.
func (m *Member) Press(now time.Duration) Said {
	other := m.rules.Seat.Other()
	deserted := m.silent(other, now) && (!m.rules.Witness || m.silent(Witness, now))
	switch {
	case m.May(now):
		return HandOver
	case m.role == Leading && !deserted:
		return Nothing
	case m.role == Leading:
		m.endless = true
		return Leads
	case now < m.began+Listen:
		return Listening
	case !m.silent(other, now) && m.partner.Role == Leading:
		m.say(Word{Kind: Ask, Epoch: m.kept.Epoch, Stamp: now})
		return Asked
	case deserted:
		m.lead(after(max(m.kept.Epoch, m.stood), m.rules.Seat), 0)
		m.endless, m.confirmed = true, true
		m.beat(now)
		return Leads
	}
	m.forced = now + Force
	m.speak(now)
	return Stands
}

// Complete says whether the one that follows knows everything: of the partner
// where this one leads, else of this one.
func (m *Member) Complete() bool {
	if m.role == Leading {
		return !m.kept.Alone
	}
	return m.knowsAll()
}

// knowsAll says of one that follows that it knows all that the leader sent: it
// has kept its place, and the leader counts on it.
func (m *Member) knowsAll() bool { return m.live && m.counted == m.self }

// AllKnown says of a leader whether the partner knows all that it was told.
func (m *Member) AllKnown() bool { return m.known == m.told }

// PartnerTold is the number of the last piece that the partner has told of.
func (m *Member) PartnerTold() uint64 { return m.partner.Number }
