package lease

import "time"

// near is how many pieces behind the partner may be for the leader to count on
// it again.
const near = 16

// Told says that the leader has told the partner a piece.
func (m *Member) Told(number uint64, now time.Duration) {
	if m.known == m.told {
		m.toldAt = now
	}
	m.told = number
}

// Open says whether the messages of a piece may leave.
func (m *Member) Open(number uint64, now time.Duration) bool {
	if !m.May(now) {
		return false
	}
	return number <= m.known || m.kept.Alone && m.confirmed && (m.join == 0 || number < m.join)
}

// acked hears what the partner knows.
func (m *Member) acked(w Word, now time.Duration) {
	if m.role != Leading || w.Epoch != m.kept.Epoch || w.Number > m.told {
		return
	}
	if w.Reader != m.reader { // it was started again, and does not know what it knew
		m.reader, m.known, m.toldAt, m.join = w.Reader, 0, now, 0
		m.goAlone(now)
	}
	if w.Number < m.known {
		return
	}
	if w.Number > m.known {
		m.known, m.toldAt = w.Number, now
	}
	if !m.kept.Alone {
		return
	}
	if m.join == 0 && m.known+near >= m.told {
		m.join = m.told + 1
	}
	if m.join != 0 && m.known >= m.join-1 {
		m.kept.Alone, m.join, m.confirmed = false, 0, false
		m.beat(now)
	}
}

// patience stops waiting for a partner that takes too long.
func (m *Member) patience(now time.Duration) {
	if m.known == m.told || now-m.toldAt < Patience {
		return
	}
	m.join = 0
	m.goAlone(now)
}

// goAlone goes on without the partner.
func (m *Member) goAlone(now time.Duration) {
	if !m.kept.Alone {
		m.kept.Alone, m.confirmed = true, !m.rules.Witness
		m.beat(now)
	}
}

// Know says of one that follows that it knows all pieces of an epoch up to a
// number, or, with ok false, that it has lost its place.
func (m *Member) Know(epoch, number uint64, ok bool) {
	if m.role != Following || epoch != m.kept.Epoch {
		return
	}
	if m.live = ok; !ok {
		m.self += 2
		return
	}
	if m.knowsAll() {
		m.kept.Data, m.kept.Alone = epoch, false
	}
	m.out = append(m.out, Word{Kind: Ack, From: m.rules.Seat, To: m.rules.Seat.Other(), Epoch: epoch, Number: number, Reader: m.self})
}
