package control

import (
	"sync"
	"time"

	"cuewright/targets/observe"
)

// letter is one thing that a device says about itself. Asked is when it was
// asked, or when it said so by itself: nothing that it was told later is in it.
type letter struct {
	observe.Observed
	table  *observe.Table
	asked  time.Time
	polled bool
}

// mailbox keeps what a device says until the loop reads it: in order, but when
// a device says very much, only the last word on each variable. A device that
// says more than allowed is read only now and then, so that one that floods
// fills neither the loop nor the journal. mu is taken under no other lock and
// no other under it.
type mailbox struct {
	mu      sync.Mutex
	letters []letter
	garbage bool
	spent   float64   // of what is allowed, at the last take
	at      time.Time // of that
	rests   bool      // until a timer rings
}

// fullMailbox is how many letters are kept in order. A device may say so many
// at once, and so many a second in the long run; one that has said more is
// read after a rest.
const (
	fullMailbox   = 64
	atOnceAllowed = 256
	perSecond     = 10
	longestRest   = 500 * time.Millisecond
)

// put says true when its owner has to be told that the mailbox is not empty.
func (b *mailbox) put(table *observe.Table, asked time.Time, polled bool, all []observe.Observed) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	first := len(b.letters) == 0 && !b.rests
	for _, o := range all {
		b.add(letter{o, table, asked, polled})
	}
	return first
}

func (b *mailbox) add(l letter) {
	if len(b.letters) >= fullMailbox || b.rests {
		for i := len(b.letters) - 1; i >= 0; i-- {
			if b.letters[i].Var == l.Var && b.letters[i].table == l.table {
				b.letters[i] = l
				return
			}
		}
	}
	b.letters = append(b.letters, l) // no more than there are variables, on top of a full box
}

// take empties the mailbox. Where too much was said, again is called when it
// is to be looked at the next time.
func (b *mailbox) take(now time.Time, again func()) []letter {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := b.letters
	b.letters = nil
	b.spent = max(0, b.spent-now.Sub(b.at).Seconds()*perSecond) + float64(len(all))
	b.at = now
	if over := b.spent - atOnceAllowed; over > 0 && !b.rests {
		b.rests = true
		time.AfterFunc(min(longestRest, time.Duration(over/perSecond*float64(time.Second))), func() { b.wake(again) })
	}
	return all
}

// wake ends a rest.
func (b *mailbox) wake(again func()) {
	b.mu.Lock()
	b.rests = false
	some := len(b.letters) > 0
	b.mu.Unlock()
	if some {
		again()
	}
}

func (b *mailbox) firstGarbage() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	was := b.garbage
	b.garbage = true
	return !was
}
