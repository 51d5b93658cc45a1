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
// a device says very much, only the last word on each variable. So a device
// that floods costs one turn of the loop at a time. mu is taken under no other
// lock and no other under it.
type mailbox struct {
	mu      sync.Mutex
	letters []letter
	garbage bool
}

// fullMailbox is how many letters are kept in order.
const fullMailbox = 64

// put says true when the mailbox was empty: then its owner has to be told.
func (b *mailbox) put(table *observe.Table, asked time.Time, polled bool, all []observe.Observed) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	first := len(b.letters) == 0
	for _, o := range all {
		b.add(letter{o, table, asked, polled})
	}
	return first
}

func (b *mailbox) add(l letter) {
	if len(b.letters) >= fullMailbox {
		for i := len(b.letters) - 1; i >= 0; i-- {
			if b.letters[i].Var == l.Var && b.letters[i].table == l.table {
				b.letters[i] = l
				return
			}
		}
	}
	b.letters = append(b.letters, l) // no more than there are variables, on top of a full box
}

// take empties the mailbox.
func (b *mailbox) take() []letter {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := b.letters
	b.letters = nil
	return all
}

func (b *mailbox) firstGarbage() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	was := b.garbage
	b.garbage = true
	return !was
}
