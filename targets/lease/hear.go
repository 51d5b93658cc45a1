package lease

import "time"

// Hear takes a word from the partner or the witness. One that cannot be, such
// as of a third member, changes nothing.
func (m *Member) Hear(w Word, now time.Duration) {
	if w.From == m.rules.Seat || w.From > Witness || w.To != m.rules.Seat || w.From == Witness && w.Kind < Vote {
		return
	}
	states := w.Kind == BeatWord || w.Kind == Here || w.Kind == Stand || w.Kind == Release
	if states && w.Self == m.partner.Self && w.Stamp <= m.partner.Stamp {
		return // it came twice, or was overtaken on its way
	}
	m.heard[w.From] = now
	if states {
		m.partner = w
	}
	switch w.Kind {
	case BeatWord:
		m.beaten(w, now)
	case Stand:
		m.asked(w, now)
	case Release:
		if m.role != Leading && w.Epoch == m.kept.Epoch {
			m.promised, m.invited, m.counted, m.stale = 0, true, w.Reader, false
			m.speak(now)
		}
	case Ack:
		m.acked(w, now)
	case Vote:
		m.voted(w, now)
	case No:
		m.refused(w, now)
	}
}

// beaten hears a leader.
func (m *Member) beaten(w Word, now time.Duration) {
	if owner(w.Epoch) != w.From || w.Epoch < m.kept.Epoch {
		m.answer(No, w)
		return
	}
	m.follow(w, now)
	m.answer(Vote, w)
}

// asked hears that the partner wants to lead.
func (m *Member) asked(w Word, now time.Duration) {
	mine := now < m.promised // it has the vote already
	switch {
	case m.May(now), w.Epoch <= m.kept.Epoch, owner(w.Epoch) != w.From:
		m.answer(No, w)
	case m.role == Leading || !mine && !w.Forced && m.rank().above(w.Rank):
		m.answer(No, w)
	default:
		m.kept.Epoch = w.Epoch
		m.promised, m.standing = now+Promise, 0
		m.answer(Vote, w)
	}
}

func (m *Member) answer(k Kind, w Word) {
	m.out = append(m.out, Word{Kind: k, From: m.rules.Seat, To: w.From, Epoch: m.answerEpoch(k, w), Stamp: w.Stamp, Role: m.role, Rank: m.rank(), Number: m.told})
}

// answerEpoch is the epoch that was voted for, or the newest that is known.
func (m *Member) answerEpoch(k Kind, w Word) uint64 {
	if k == Vote {
		return w.Epoch
	}
	return m.kept.Epoch
}

// voted counts a vote.
func (m *Member) voted(w Word, now time.Duration) {
	until := w.Stamp + Term
	switch {
	case m.role == Leading && w.Epoch == m.kept.Epoch:
		m.until = max(m.until, until)
		m.endless = !m.rules.Witness
		if w.From == Witness {
			m.confirmed = w.Alone
		}
	case m.role != Leading && m.standing != 0 && w.Epoch == m.standing && now < until:
		m.stale = m.stale || w.Stale && !m.invited
		m.lead(w.Epoch, until)
		m.beat(now)
	}
}

// refused hears that there is a newer epoch, or why somebody does not vote. A
// leader that may send knows that nobody else can: it takes a newer epoch yet.
// One that may not yields.
func (m *Member) refused(w Word, now time.Duration) {
	if w.From == Witness && m.role != Leading {
		m.stale = w.Stale && !m.invited // the leader knows better
	}
	if w.Epoch <= m.kept.Epoch {
		return
	}
	switch {
	case m.role != Leading:
		m.kept.Epoch = w.Epoch
	case w.Role == Leading:
		m.yield(w.Epoch)
	case m.May(now) && !m.endless:
		m.lead(after(w.Epoch, m.rules.Seat), m.until)
		m.beat(now)
	case m.rules.Witness:
		m.yield(w.Epoch)
	default: // two alone: the partner has only heard of it
		m.lead(after(w.Epoch, m.rules.Seat), 0)
		m.beat(now)
	}
}

// yield leads no more, and knows of nobody who does.
func (m *Member) yield(epoch uint64) {
	m.role, m.kept.Epoch, m.live, m.until, m.endless = Following, epoch, false, 0, false
	m.counted = 0
}
