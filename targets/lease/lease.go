// Package lease decides which of two controllers leads: the one that sends. It
// does nothing by itself: it is told the time, what was heard and who pressed,
// and says what is to be sent, so that every order of events can be tried.
//
// A member leads by two votes of three: its own, and that of its partner or of
// a third. The third is a witness; without one it is a person who presses, or,
// where the rules say so, silence. A vote is a promise for a time: who has
// voted for a member votes for nobody else, and does not lead, for Promise
// after it heard what it voted for. The member counts only Term from when it
// spoke. Term is shorter by more than two clocks can drift apart in that time,
// so with a witness there is never more than one that may send, whatever is
// lost, doubled or late (TestNeverTwo). A leader whose votes run out may not
// send: it has fenced itself before another can lead.
//
// Without a witness two cannot tell a dead partner from a cut cable. Then a
// leader goes on alone, and its lease does not run out. When two lead after
// all, the one with the lower epoch yields as soon as it hears the other.
//
// Each time that somebody begins to lead the epoch rises. Even epochs are A's,
// odd ones B's, so no two ever have the same.
//
// What happens at the leader is told to the other in numbered pieces. A message
// may leave (Open) when the other knows the piece it is in, or when it is known
// that the other does not count: the leader is alone. With a witness that has
// to have heard so first, and does not let a member lead that does not know
// everything, unless a person says so.
package lease

import "time"

// The times. A partner that is gone is replaced after Promise and at most a
// Beat; Term leaves a tenth for clocks that run at different speeds.
const (
	Beat     = 100 * time.Millisecond // between two words of a leader
	Try      = 25 * time.Millisecond  // between two attempts to lead
	Term     = 450 * time.Millisecond // how long a leader may send after the word that was voted for
	Promise  = 500 * time.Millisecond // how long who voted keeps to it
	Listen   = time.Second            // of silence, before one that was started may lead
	Patience = 150 * time.Millisecond // how long a leader waits for the other to know a piece
	Force    = 2 * time.Second        // how long a person's word counts
)

// Seat is a place in a pair.
type Seat uint8

// The seats. The witness has one too, but never leads.
const (
	A Seat = iota
	B
	Witness
)

// String is A, B or witness.
func (s Seat) String() string { return [...]string{"A", "B", "witness"}[min(s, Witness)] }

// Other is the partner's seat.
func (s Seat) Other() Seat { return 1 - s }

// owner is whose an epoch is.
func owner(epoch uint64) Seat { return Seat(epoch % 2) }

// after is the first epoch of a seat after another.
func after(epoch uint64, s Seat) uint64 {
	if epoch++; owner(epoch) != s {
		epoch++
	}
	return epoch
}

// Role is what a member is.
type Role uint8

// The roles. Who waits was started and has followed nobody yet.
const (
	Waiting Role = iota
	Following
	Leading
)

// String is the word for it.
func (r Role) String() string { return [...]string{"waiting", "following", "leading"}[min(r, Leading)] }

// Kind is what a word says.
type Kind uint8

// The words. Those of a leader: Beat it is alive, Release it leads no more and
// the other is to. Those of one that does not lead: Here it is there, Stand it
// wants to lead, Ask the leader is to release, Ack it knows all pieces up to a
// number. The answers to Beat and Stand: Vote and No.
const (
	BeatWord Kind = iota
	Release
	Here
	Stand
	Ask
	Ack
	Vote
	No
	kinds
)

// Word is what members and a witness say to each other. Stamp is the time of
// who said it, or, in an answer, of who asked.
type Word struct {
	Kind   Kind
	From   Seat
	Self   uint64 // of a member: see NewMember
	To     Seat
	Epoch  uint64
	Stamp  time.Duration
	Role   Role
	Alone  bool   // a leader's: the partner does not count; a witness's: it has heard that
	Forced bool   // a person wants it
	Stale  bool   // of No: the member does not know everything that was done
	Number uint64 // of a leader: the last piece; of Ack: the last known
	Reader uint64 // of Ack: who reads, see NewMember; of a leader that is not alone: who knows everything
	Rank   Rank
}

// Sound says whether a word from outside can be one at all.
func (w *Word) Sound() bool {
	return w.Kind < kinds && w.From <= Witness && w.To <= Witness && w.Role <= Leading && w.Epoch < 1<<62 && w.Stamp >= 0 && w.Rank.Epoch < 1<<62
}

// Rank says whose state is the newer: the one with the higher epoch in it; of
// two, the one that led alone in it; then the one that still has it before it;
// then the one whose epoch it was.
type Rank struct {
	Epoch uint64
	Alone bool
	Live  bool
	Owner bool
}

func (r Rank) above(s Rank) bool {
	switch {
	case r.Epoch != s.Epoch:
		return r.Epoch > s.Epoch
	case r.Alone != s.Alone:
		return r.Alone
	case r.Live != s.Live:
		return r.Live
	}
	return r.Owner && !s.Owner
}

// Kept is what has to be on the disk before any word is sent that was made
// after it changed.
type Kept struct {
	Epoch uint64 // the highest that was led, followed or voted for
	Data  uint64 // whose state this is
	Alone bool   // and the partner may not have all of it
	Stood uint64 // the highest that it has tried to lead: never again after a restart, so words of one epoch are in order by their stamps
}

// Rules say how a pair is set up.
type Rules struct {
	Seat      Seat
	Witness   bool // there is one
	OnSilence bool // without one: silence is a vote
}
