// Package chase follows MIDI Time Code: it says where a timecode is, whether it
// runs, and through which frames it has run.
//
// Follower is the rules, without clock or file: quarter frames and full frames
// in, with when they came, and Moves out. Start follows a device file with it.
// What a frame fires is not here.
//
// From memory, MIDI 1.0 detailed specification, MIDI Time Code: eight quarter
// frames, four in a frame, say one time in pieces 0 to 7, which takes two
// frames, so a time is two frames old when the next one begins. The time is that
// of the frame in which piece 0 is sent. Running backwards the pieces come from
// 7 to 0. A full frame says where the timecode stands after a jump; nothing
// runs by it.
package chase

import (
	"fmt"
	"time"

	"cuewright/macro/timecode"
	"cuewright/targets/midiwire"
)

// State is what is known of a timecode.
type State uint8

// The states.
const (
	Silent   State = iota // it is not heard, or no more
	Still                 // it has been moved to a frame and does not run
	Locked                // it runs
	Coasting              // it was running a moment ago and is taken to run on
)

// String is the state in a word.
func (s State) String() string {
	return [...]string{Silent: "silent", Still: "still", Locked: "locked", Coasting: "coasting"}[s]
}

// Move is a change of what is known. Frames are counted from 0 at 00:00:00:00
// and begin anew after a day.
type Move struct {
	State  State
	Rate   timecode.Rate
	Frame  int64 // where it is; -1 when nobody knows
	Ran    int64 // so many frames, Frame the last of them, it has run through forwards
	Jumped bool  // it did not come here by running
	Was    int64 // from where it jumped; -1 when nobody knows
	Back   bool  // it runs backwards
}

// Coast is how long a timecode that is not heard any more is taken to run on;
// a gap is how long nothing may come before it is taken to be lost. Common
// practice, no published source.
const (
	Coast = 500 * time.Millisecond
	gap   = 100 * time.Millisecond
)

// Follower follows one timecode. The zero Follower has heard nothing.
type Follower struct {
	state State
	kind  byte // of the rate, as MIDI has it
	back  bool

	known bool
	base  int64         // where it was when the last good piece came, in quarter frames of the day
	heard time.Duration // and when that was
	now   int64         // where it is, as far as is known
	done  int64         // the frame up to which it has been said that it has run

	pieces [8]byte
	last   int // the last piece that came, when run is not 0
	run    int // so many came one after the other, in one direction
	turned int // which one: 1 forwards, -1 backwards; 0 is not known yet
}

// rates are those of MIDI Time Code, by its number.
var rates = [4]timecode.Rate{{Num: 24, Den: 1}, {Num: 25, Den: 1}, {Num: 30000, Den: 1001, Drop: true}, {Num: 30, Den: 1}}

// day is how many quarter frames a day has at a rate.
func day(kind byte) int64 { return 4 * rates[kind].FramesPerDay() }

func wrap(n, day int64) int64 { return (n%day + day) % day }

// Runs says whether the timecode runs, or is taken to: then Tick is to be
// called often.
func (f *Follower) Runs() bool { return f.state == Locked || f.state == Coasting }

// Hear takes a message that came at a time, of a clock that never goes back.
// ok says that there is something new.
func (f *Follower) Hear(m midiwire.Message, at time.Duration) (move Move, ok bool) {
	switch m.Kind {
	case midiwire.Quarter:
		return f.piece(int(m.Piece>>4&7), m.Piece&15, at)
	case midiwire.Full:
		return f.full(m.Time)
	}
	return Move{}, false
}

// frame is the frame of a time, when its label is one.
func frame(hours, minutes, seconds, frames byte) (kind byte, at int64, ok bool) {
	kind = hours >> 5 & 3
	sign := ":"
	if rates[kind].Drop {
		sign = ";"
	}
	at, err := rates[kind].ParseLabel(fmt.Sprintf("%02d:%02d:%02d%s%02d", hours&31, minutes, seconds, sign, frames))
	return kind, at, err == nil
}

// full takes a full frame.
func (f *Follower) full(t [4]byte) (Move, bool) {
	kind, to, ok := frame(t[0], t[1], t[2], t[3])
	if !ok {
		return Move{}, false
	}
	f.state, f.back, f.run = Still, false, 0
	return f.jump(kind, 4*to), true
}

// jump goes to a quarter frame of the day.
func (f *Follower) jump(kind byte, to int64) Move {
	was := f.frame()
	if kind != f.kind {
		was = -1 // frames of another length do not compare
	}
	f.kind, f.known = kind, true
	f.base, f.now, f.done = to, to, to/4
	m := f.move()
	m.Jumped, m.Was = true, was
	return m
}

// frame is the frame where it is, or -1.
func (f *Follower) frame() int64 {
	if !f.known {
		return -1
	}
	return f.now / 4
}

func (f *Follower) move() Move {
	return Move{State: f.state, Rate: rates[f.kind], Frame: f.frame(), Was: -1, Back: f.back}
}

// piece takes a quarter frame.
func (f *Follower) piece(n int, value byte, at time.Duration) (Move, bool) {
	f.count(n)
	f.pieces[n] = value
	switch {
	case f.run >= 8 && (f.turned > 0 && n == 7 || f.turned < 0 && n == 0):
		return f.assembled(at)
	case f.state != Locked:
		return Move{}, false
	case f.run == 1: // out of order: it is taken to run on until it is known again
		f.state = Coasting
		return f.move(), true
	}
	f.base, f.heard = wrap(f.base+int64(f.turned), day(f.kind)), at
	return f.to(f.base)
}

// count counts the pieces that came one after the other.
func (f *Follower) count(n int) {
	turn := 0
	switch {
	case f.run > 0 && n == (f.last+1)%8:
		turn = 1
	case f.run > 0 && n == (f.last+7)%8:
		turn = -1
	}
	if turn != 0 && (f.run == 1 || turn == f.turned) {
		f.run, f.turned = f.run+1, turn
	} else {
		f.run, f.turned = 1, 0
	}
	f.last = n
}

// assembled is a whole time, with the piece that has just come.
func (f *Follower) assembled(at time.Duration) (Move, bool) {
	p := &f.pieces
	kind, to, ok := frame(p[7]<<4&0x70|p[6], p[5]<<4|p[4], p[3]<<4|p[2], p[1]<<4|p[0])
	if !ok {
		f.run = 1
		return Move{}, false
	}
	to *= 4
	began := to // when the first piece in order came
	if f.turned > 0 {
		to += 7
		began = to - int64(f.run-1)
	}
	f.heard, f.back = at, f.turned < 0
	continues := f.known && kind == f.kind && f.continues(wrap(to, day(kind)))
	f.state = Locked
	if continues {
		f.base = wrap(to, day(kind))
		return f.to(f.base)
	}
	m := f.jump(kind, wrap(to, day(kind)))
	if !f.back { // it has run through every frame that began meanwhile
		m.Ran = to/4 - (began+3)/4 + 1
	}
	return m, true
}

// continues says whether a time is where running on would have come to; a
// timecode that was coasting may have been slower or faster than it was taken
// to be.
func (f *Follower) continues(to int64) bool {
	ahead := wrap(to-f.now, day(f.kind))
	if ahead > day(f.kind)/2 {
		ahead -= day(f.kind)
	}
	switch f.state {
	case Locked:
		return ahead == int64(f.turned)
	case Coasting:
		slack := f.quarters(Coast)
		return !f.back && ahead >= -slack && ahead <= slack
	}
	return false
}

// quarters is how many quarter frames go into a time.
func (f *Follower) quarters(d time.Duration) int64 {
	r := rates[f.kind]
	return d.Microseconds() * 4 * int64(r.Num) / (int64(r.Den) * 1_000_000)
}

// to goes to a quarter frame by running, and says which frames that has run
// through that had not been said before.
func (f *Follower) to(quarter int64) (Move, bool) {
	was, state := f.frame(), f.state
	f.now = quarter
	m := f.move()
	if f.back {
		f.done = m.Frame
		return m, m.Frame != was
	}
	frames := day(f.kind) / 4
	if ran := wrap(m.Frame-f.done, frames); ran <= frames/2 { // else it has coasted further than it has come
		m.Ran, f.done = ran, m.Frame
	}
	return m, m.Frame != was || state != f.state || m.Ran > 0
}

// Tick says what time has brought.
func (f *Follower) Tick(at time.Duration) (move Move, ok bool) {
	silence := at - f.heard
	switch {
	case f.state == Coasting && silence > Coast:
		f.state, f.run = Silent, 0
		return f.move(), true
	case f.state == Locked && silence > gap:
		f.state = Coasting
		m, _ := f.coast(silence)
		return m, true
	case f.state == Coasting:
		return f.coast(silence)
	}
	return Move{}, false
}

// coast takes the timecode to have run on. Backwards nothing is fired, so it
// may as well stand.
func (f *Follower) coast(silence time.Duration) (Move, bool) {
	if f.back {
		return f.move(), false
	}
	return f.to(wrap(f.base+f.quarters(min(silence, Coast)), day(f.kind)))
}
