// Package state is the packed state of a show: the value of every variable of
// a compiled program, and when each timer runs out.
//
// A State is plain words: it can be copied, compared and hashed, and two
// states with equal words are the same state. Nothing is stored that follows
// from the rest (sim/signal derives it). There is no clock here: Now is set
// by whoever steps.
package state

import (
	"math/bits"
	"slices"

	"cuewright/macro/program"
)

// Layout says where each variable's bits are. A variable never straddles two
// words. It is made once for a program and shared by all its states.
type Layout struct {
	slots  []slot
	words  int
	timers int
}

type slot struct {
	word  int32
	shift uint8
	mask  uint64 // before the shift
}

// NewLayout places the variables of p in their order.
func NewLayout(p *program.Program) *Layout {
	l := &Layout{slots: make([]slot, len(p.Vars)), timers: len(p.Timers)}
	used := 64
	for i, v := range p.Vars {
		need := bits.Len32(max(v.Size, 1) - 1)
		if need > 0 && used+need > 64 {
			l.words++
			used = 0
		}
		if need == 0 {
			l.slots[i] = slot{}
			continue
		}
		l.slots[i] = slot{int32(l.words - 1), uint8(used), 1<<need - 1}
		used += need
	}
	return l
}

// Words is the number of words of a state.
func (l *Layout) Words() int { return l.words }

// Bits says where variable v is: the word, the shift and the mask before the
// shift. The mask is 0 for a variable that takes no bits.
func (l *Layout) Bits(v int32) (word int, shift uint8, mask uint64) {
	s := l.slots[v]
	return int(s.word), s.shift, s.mask
}

// Off is the due time of a timer that is not running.
const Off int64 = -1

// State is the state of a show. Due[t] is when timer t runs out, in
// microseconds from power-on, or Off.
type State struct {
	Words []uint64
	Due   []int64
	Now   int64
}

// Start is the state at power-on.
func (l *Layout) Start(p *program.Program) *State {
	s := &State{Words: make([]uint64, l.words), Due: make([]int64, l.timers)}
	for i := range s.Due {
		s.Due[i] = Off
	}
	for i, v := range p.Vars {
		l.Set(s, int32(i), v.Start)
	}
	return s
}

// Get is the value of variable v.
func (l *Layout) Get(s *State, v int32) uint32 {
	at := l.slots[v]
	if at.mask == 0 {
		return 0
	}
	return uint32(s.Words[at.word] >> at.shift & at.mask)
}

// Set gives variable v a value, which must be below its size.
func (l *Layout) Set(s *State, v int32, value uint32) {
	at := l.slots[v]
	if at.mask == 0 {
		return
	}
	s.Words[at.word] = s.Words[at.word]&^(at.mask<<at.shift) | uint64(value)&at.mask<<at.shift
}

// Clone is a copy that shares nothing.
func (s *State) Clone() *State {
	return &State{slices.Clone(s.Words), slices.Clone(s.Due), s.Now}
}

// CopyFrom makes s equal to t without allocating; both are of one layout.
func (s *State) CopyFrom(t *State) {
	copy(s.Words, t.Words)
	copy(s.Due, t.Due)
	s.Now = t.Now
}

// Equal says whether two states of one layout are the same, their timers and
// clocks too.
func (s *State) Equal(t *State) bool {
	return s.Now == t.Now && slices.Equal(s.Words, t.Words) && slices.Equal(s.Due, t.Due)
}

// Next is the timer that runs out first, the lower index where several do at
// once, and when. It is -1, Off when none is running.
func (s *State) Next() (timer int32, due int64) {
	timer, due = -1, Off
	for i, d := range s.Due {
		if d != Off && (timer < 0 || d < due) {
			timer, due = int32(i), d
		}
	}
	return timer, due
}
