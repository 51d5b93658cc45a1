package control

import (
	"encoding/binary"
	"time"

	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// Bounces: a contact that closes or opens closes several times within a few
// milliseconds, and a finger needs more than that to come down again.
const bounceTime = int64(surface.Bounce / time.Microsecond)

// A datagram that comes twice comes twice soon.
const (
	repeatTime  int64 = 2_000_000 // microseconds
	repeatCount int   = 16        // numbers remembered of each sender
)

// filter finds presses that came twice. It remembers a bounded number of
// senders, since anybody can claim to be many.
type filter struct {
	edges   map[contact]int64 // when a finger went down or came up last
	numbers map[string]*numbers
}

type contact struct {
	surface, button int32
	by              string
}

// numbers are the last numbers of a sender, and when they came.
type numbers struct {
	number [repeatCount]uint64
	at     [repeatCount]int64
	next   int
}

// remembered is how many contacts and how many senders are.
const remembered = 4096

// repeated says whether a press came before.
func (f *filter) repeated(p *surface.Press, now int64) bool {
	if p.Number != 0 && f.numbered(p, now) {
		return true
	}
	if p.Kind != surface.Down && p.Kind != surface.Up {
		return false
	}
	if f.edges == nil || len(f.edges) >= remembered {
		f.edges = map[contact]int64{} // at worst a bounce gets through
	}
	k := contact{p.Surface, p.Button, p.By}
	last, ok := f.edges[k]
	f.edges[k] = now
	return ok && now-last < bounceTime && p.Kind == surface.Down
}

// heard remembers a press of which the journal tells.
func (f *filter) heard(r journal.Record, now int64) {
	if n, _ := binary.Uvarint(r.Data); n != 0 {
		f.numbered(&surface.Press{By: r.By, Number: n}, now)
	}
}

func (f *filter) numbered(p *surface.Press, now int64) bool {
	if f.numbers == nil || len(f.numbers) >= remembered {
		f.numbers = map[string]*numbers{}
	}
	n := f.numbers[p.By]
	if n == nil {
		n = &numbers{}
		f.numbers[p.By] = n
	}
	for i, number := range n.number {
		if number == p.Number && now-n.at[i] < repeatTime {
			return true
		}
	}
	n.number[n.next], n.at[n.next] = p.Number, now
	n.next = (n.next + 1) % repeatCount
	return false
}
