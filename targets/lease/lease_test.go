package lease

import (
	"fmt"
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
	prompt  bool      // nothing is held up for long
	leads   []uint64  // every epoch that was led, in order
	last    [2]uint64 // of each

	// What was sent, by epoch and number, and what each member knows of it.
	told  [2]uint64
	sent  [2]map[string]bool
	knows [2]map[string]bool
	log   map[string][]string // what an epoch's pieces begin from
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

func (w *world) on(s Seat)  { w.members[s] = NewMember(w.rules[s], w.kept[s], w.clock(s)) }
func (w *world) off(s Seat) { w.members[s] = nil }

// post takes what a member says, once it is on its disk.
func (w *world) post(s Seat) {
	m := w.members[s]
	w.kept[s] = m.Kept()
	for _, x := range m.Out() {
		w.fly(x)
	}
	if m.Role() == Leading && m.Epoch() != w.last[s] {
		w.last[s] = m.Epoch()
		w.leads = append(w.leads, m.Epoch())
	}
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
			if f.arrive > w.now {
				rest = append(rest, f)
				continue
			}
			w.deliver(f.w)
		}
		w.wires = append(w.wires, rest...)
		for s := A; s <= B; s++ {
			if m := w.members[s]; m != nil && (w.now/time.Millisecond)%25 == 0 {
				m.Tick(w.clock(s))
				w.post(s)
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
	switch rapid.IntRange(0, 6).Draw(w.t, "what") {
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
		if m := w.members[s]; m != nil && m.May(w.clock(s)) && !m.Alone() {
			m.Release(w.clock(s))
			w.post(s)
		}
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
			f.Know(l.Epoch(), 0, true)
			w.post(f.rules.Seat)
			w.step(time.Second)
			if l.Alone() || !l.AllKnown() {
				t.Fatalf("not in step: %+v", l)
			}
			l.Release(w.clock(l.rules.Seat))
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
