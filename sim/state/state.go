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

	watcher Watcher // or nil
	watched []slot  // the true slots of a watched layout, whose slots have no mask
}

// Watcher sees each use of a variable through a watched layout. Read comes
// before the value is read, so that it may still set it by the plain layout; Put
// comes before a value is written, and says whether the value is a new one.
type Watcher interface {
	Read(s *State, v int32)
	Put(s *State, v int32, value uint32) bool
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

// Watched is a layout of the same states that tells w of every use. The plain
// one is as fast as if there were none: only variables that take no bits ask.
func (l *Layout) Watched(w Watcher) *Layout {
	return &Layout{slots: make([]slot, len(l.slots)), words: l.words, timers: l.timers, watcher: w, watched: l.slots}
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
		return l.see(s, v)
	}
	return uint32(s.Words[at.word] >> at.shift & at.mask)
}

// see is Get of a variable that takes no bits or is watched.
func (l *Layout) see(s *State, v int32) uint32 {
	if l.watcher == nil {
		return 0
	}
	l.watcher.Read(s, v)
	if at := l.watched[v]; at.mask != 0 {
		return uint32(s.Words[at.word] >> at.shift & at.mask)
	}
	return 0
}

// Set gives variable v a value, which must be below its size.
func (l *Layout) Set(s *State, v int32, value uint32) {
	l.Put(s, v, value)
}

// Put is Set that says whether it has changed anything. To ask Get first
// would be a read that nothing depends on.
func (l *Layout) Put(s *State, v int32, value uint32) bool {
	at := l.slots[v]
	if at.mask == 0 {
		return l.write(s, v, value)
	}
	return at.put(s, value)
}

func (at slot) put(s *State, value uint32) bool {
	was := s.Words[at.word]
	s.Words[at.word] = was&^(at.mask<<at.shift) | uint64(value)&at.mask<<at.shift
	return s.Words[at.word] != was
}

// write is Put of a variable that takes no bits or is watched.
func (l *Layout) write(s *State, v int32, value uint32) bool {
	if l.watcher == nil {
		return false
	}
	changed := l.watcher.Put(s, v, value)
	if at := l.watched[v]; at.mask != 0 {
		at.put(s, value)
	}
	return changed
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
