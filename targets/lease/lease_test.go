package lease

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// world is two members and a witness, with wires that lose, hold up and double
// words, clocks that run apart, and machines that stop and start again. It is
// driven by numbers from rapid, so every failure can be played again.
type world struct {
	t       *rapid.T
	now     time.Duration // real time
	rules   [2]Rules
	members [2]*Member // nil: it is off
	kept    [2]Kept    // on their disks
	judge   *Judge
	judged  JudgeKept
	rate    [3]float64 // of their clocks
	wires   []flight
	cut     map[[2]Seat]bool
	prompt  bool             // nothing is held up for long
	leads   []uint64         // every epoch that was led, in order
	last    [2]uint64        // of each
	still   [2]time.Duration // until when each does nothing at all

	// Every show is a row of numbers: what happened, in order.
	busy     int // one tick in so many something happens; 0 never
	readers  uint64
	happened int
	shows    [2][]int     // of each, as far as it knows
	from     [2]int       // how long a leader's was when its epoch began: its piece 1
	follows  [2]uint64    // the epoch that each reads
	waits    [2][]waiting // what a leader has not sent yet
	sent     []int
}

// waiting is a message that waits for its piece to be open.
type waiting struct {
	what   int
	number uint64
}

type flight struct {
	w      Word
	arrive time.Duration
}

func newWorld(t *rapid.T, witness, silence bool) *world {
	w := &world{t: t, now: time.Hour, cut: map[[2]Seat]bool{}}
	for s := A; s <= B; s++ {
		w.rules[s] = Rules{Seat: s, Witness: witness, OnSilence: silence}
	}
	w.busy = rapid.SampledFrom([]int{0, 1, 4, 40}).Draw(t, "busy")
	for i := range w.rate {
		w.rate[i] = rapid.Float64Range(0.97, 1.03).Draw(t, "clock")
	}
	if witness {
		w.judge = NewJudge(w.judged, w.clock(Witness))
	}
	return w
}

// clock is a machine's own time.
func (w *world) clock(s Seat) time.Duration {
	return time.Duration(float64(w.now) * w.rate[s])
}

func (w *world) on(s Seat) {
	w.readers += 1000
	w.members[s] = NewMember(w.rules[s], w.kept[s], w.readers, w.clock(s))
	w.last[s] = 0
}

// off: all that it had in its memory is gone.
func (w *world) off(s Seat) {
	w.members[s], w.shows[s], w.waits[s], w.follows[s] = nil, nil, nil, 0
}

// post takes what a member says, once it is on its disk.
func (w *world) post(s Seat) {
	m := w.members[s]
	w.kept[s] = m.Kept()
	for _, x := range m.Out() {
		w.fly(x)
	}
	if m.Role() != Leading {
		w.waits[s] = nil
	} else if m.Epoch() != w.last[s] {
		w.last[s] = m.Epoch()
		w.leads = append(w.leads, m.Epoch())
		w.begins(s)
	}
}

// begins: who leads in step knows all that was ever sent. Its first piece is
// all that happened.
func (w *world) begins(s Seat) {
	m := w.members[s]
	if !m.InStep() { // it is held, and says so: from here on its show counts
		w.sent = slices.DeleteFunc(w.sent, func(x int) bool { return !slices.Contains(w.shows[s], x) })
	}
	for _, x := range w.sent {
		if w.judge != nil && m.InStep() && !slices.Contains(w.shows[s], x) {
			w.t.Fatalf("%s leads in step, epoch %d, and does not know of %d: %v", s, m.Epoch(), x, w.shows[s])
		}
	}
	w.from[s] = len(w.shows[s])
	m.Told(1, w.clock(s))
	for i := range w.waits[s] {
		w.waits[s][i].number = 1
	}
}

// lead has a leader do something, and send what may be sent.
func (w *world) lead(s Seat) {
	m := w.members[s]
	if m.May(w.clock(s)) && w.busy > 0 && rapid.IntRange(1, w.busy).Draw(w.t, "happens") == 1 {
		w.happened++
		w.shows[s] = append(w.shows[s], w.happened)
		number := uint64(len(w.shows[s]) - w.from[s] + 1)
		m.Told(number, w.clock(s))
		w.waits[s] = append(w.waits[s], waiting{w.happened, number})
	}
	for len(w.waits[s]) > 0 && m.Open(w.waits[s][0].number, w.clock(s)) {
		w.sent = append(w.sent, w.waits[s][0].what)
		w.waits[s] = w.waits[s][1:]
	}
}

// read has one that follows read some of what the leader told: a stream that
// loses nothing, but stands still while the cable is cut.
func (w *world) read(s Seat) {
	l, f := w.members[s.Other()], w.members[s]
	if l == nil || l.Role() != Leading || f.Role() != Following || f.Epoch() != l.Epoch() || w.cut[[2]Seat{s.Other(), s}] {
		return
	}
	told := w.shows[s.Other()]
	if w.follows[s] != l.Epoch() {
		w.follows[s] = l.Epoch()
		w.shows[s] = slices.Clone(told[:w.from[s.Other()]])
	}
	upTo := rapid.IntRange(len(w.shows[s]), len(told)).Draw(w.t, "reads")
	w.shows[s] = slices.Clone(told[:upTo])
	f.Know(l.Epoch(), uint64(upTo-w.from[s.Other()]+1), true)
	w.post(s)
}

func (w *world) fly(x Word) {
	if w.cut[[2]Seat{x.From, x.To}] {
		return
	}
	late := time.Duration(rapid.IntRange(0, 5).Draw(w.t, "ms")) * time.Millisecond
	if !w.prompt && rapid.IntRange(0, 30).Draw(w.t, "slow") == 0 {
		late = time.Duration(rapid.IntRange(0, 700).Draw(w.t, "ms")) * time.Millisecond
	}
	w.wires = append(w.wires, flight{x, w.now + late})
	if rapid.IntRange(0, 5).Draw(w.t, "twice") == 0 {
		w.wires = append(w.wires, flight{x, w.now + late + time.Duration(rapid.IntRange(0, 300).Draw(w.t, "ms"))*time.Millisecond})
	}
}

// step lets real time go on to now+d, a bit at a time.
func (w *world) step(d time.Duration) {
	for end := w.now + d; w.now < end; w.now += 5 * time.Millisecond {
		var rest []flight
		arrived := w.wires
		w.wires = nil
		for _, f := range arrived {
			if f.arrive > w.now || f.w.To != Witness && w.now < w.still[f.w.To] {
				rest = append(rest, f)
				continue
			}
			w.deliver(f.w)
		}
		w.wires = append(w.wires, rest...)
		for s := A; s <= B; s++ {
			if m := w.members[s]; m != nil && w.now >= w.still[s] && (w.now/time.Millisecond)%25 == 0 {
				m.Tick(w.clock(s))
				w.post(s)
				w.read(s)
				w.lead(s)
			}
		}
		w.check()
	}
}

func (w *world) deliver(x Word) {
	if w.cut[[2]Seat{x.From, x.To}] {
		return
	}
	if x.To == Witness {
		if w.judge != nil {
			if a, ok := w.judge.Hear(x, w.clock(Witness)); ok {
				w.judged = w.judge.Kept()
				w.fly(a)
			}
		}
		return
	}
	if m := w.members[x.To]; m != nil {
		m.Hear(x, w.clock(x.To))
		w.post(x.To)
	}
}

func (w *world) may(s Seat) bool { return w.members[s] != nil && w.members[s].May(w.clock(s)) }

// check: with a witness there are never two that may send.
func (w *world) check() {
	if w.judge != nil && w.may(A) && w.may(B) {
		w.t.Fatalf("%v: both may send: epochs %d and %d", w.now, w.members[A].Epoch(), w.members[B].Epoch())
	}
}

// disturb does something bad.
func (w *world) disturb() {
	s := Seat(rapid.IntRange(0, 1).Draw(w.t, "who"))
	switch rapid.IntRange(0, 7).Draw(w.t, "what") {
	case 0:
		w.off(s)
	case 1:
		if w.members[s] == nil {
			w.on(s)
		}
	case 2, 3:
		from, to := Seat(rapid.IntRange(0, 2).Draw(w.t, "from")), Seat(rapid.IntRange(0, 2).Draw(w.t, "to"))
		w.cut[[2]Seat{from, to}] = true
		if rapid.Bool().Draw(w.t, "both ways") {
			w.cut[[2]Seat{to, from}] = true
		}
	case 4:
		clear(w.cut)
	case 5:
		if w.judge != nil {
			w.judge = NewJudge(w.judged, w.clock(Witness))
		}
	case 6:
		if m := w.members[s]; m != nil && m.Release(w.clock(s)) {
			w.post(s)
		}
	case 7:
		w.still[s] = w.now + time.Duration(rapid.IntRange(0, 2000).Draw(w.t, "still"))*time.Millisecond
	}
}

// Whatever is lost, doubled, late or off, with a witness there are never two
// that may send; epochs only rise; and when all is well again, one leads and
// the other follows it.
func TestNeverTwo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, true, false)
		w.on(A)
		w.on(B)
		for range rapid.IntRange(1, 12).Draw(t, "things") {
			w.disturb()
			w.step(time.Duration(rapid.IntRange(1, 40).Draw(t, "wait")) * 25 * time.Millisecond)
		}
		for i := 1; i < len(w.leads); i++ {
			if w.leads[i] <= w.leads[i-1] {
				t.Fatalf("epochs that were led: %v", w.leads)
			}
		}
		w.heal()
	})
}

// Who releases is followed by the other one, though words come twice.
func TestRelease(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWorld(t, rapid.Bool().Draw(t, "witness"), false)
		w.prompt = true
		w.on(A)
		w.on(B)
		w.step(3 * time.Second)
		for range 3 {
			l, f := w.members[A], w.members[B]
			if !w.may(A) {
				l, f = f, l
			}
			busy := w.busy
			w.busy = 0 // it rests
			for !l.Release(w.clock(l.rules.Seat)) {
				w.step(25 * time.Millisecond)
			}
			w.busy = busy
			w.post(l.rules.Seat)
			w.step(400 * time.Millisecond)
			if !f.May(w.clock(f.rules.Seat)) || !f.InStep() {
				t.Fatalf("it did not take over: %+v", f)
			}
		}
	})
}

// heal ends all that is bad and asks for one leader.
func (w *world) heal() {
	w.t.Helper()
	clear(w.cut)
	w.prompt = true
	for s := A; s <= B; s++ {
		if w.members[s] == nil {
			w.on(s)
		}
	}
	w.step(4 * time.Second)
	if w.may(A) == w.may(B) {
		w.t.Fatalf("may send: A %v, B %v; %+v, %+v, witness %+v", w.may(A), w.may(B), *w.members[A], *w.members[B], w.judge)
	}
	l, f := w.members[A], w.members[B]
	if w.may(B) {
		l, f = f, l
	}
	if f.Role() != Following || f.Epoch() != l.Epoch() {
		w.t.Fatalf("%s, epoch %d; the leader's is %d", f.Role(), f.Epoch(), l.Epoch())
	}
	// And so it stays.
	epoch := l.Epoch()
	w.step(3 * time.Second)
	if !l.May(w.clock(l.rules.Seat)) || l.Epoch() != epoch {
		w.t.Fatalf("it did not stay: epoch %d, then %d", epoch, l.Epoch())
	}
}

// Without a witness two may lead while a cable is cut; once they hear each
// other it is one again, the one that began last.
func TestTwoAlone(t *testing.T) {
	for _, silence := range []bool{false, true} {
		t.Run(fmt.Sprint(silence), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				w := newWorld(t, false, silence)
				w.on(A)
				w.on(B)
				for range rapid.IntRange(1, 12).Draw(t, "things") {
					w.disturb()
					w.step(time.Duration(rapid.IntRange(1, 40).Draw(t, "wait")) * 25 * time.Millisecond)
				}
				w.heal()
			})
		})
	}
}
