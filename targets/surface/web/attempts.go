package web

import (
	"net/netip"
	"sync"
	"time"
)

const (
	triesEach  = 5                // wrong tokens of one address in a row
	againEach  = 12 * time.Second // and then one more in this time
	triesAll   = 30               // of all together
	againAll   = 2 * time.Second
	maxTracked = 256 // addresses
)

// attempts counts wrong tokens, of each address and of all together. Who has
// guessed too often is not even compared with. Its lock is taken under no
// other and no other under it.
type attempts struct {
	mu   sync.Mutex
	all  bucket
	each map[netip.Addr]bucket
}

// bucket is wrong tokens, which are forgotten one by one as time passes.
type bucket struct {
	wrong float64
	at    time.Time
}

func (b bucket) now(now time.Time, again time.Duration) bucket {
	return bucket{max(0, b.wrong-now.Sub(b.at).Seconds()/again.Seconds()), now}
}

// site is what is counted as one address: of IPv6 a network of 64 bits, since
// that is what one house has.
func site(a netip.Addr) netip.Addr {
	if p, err := a.Prefix(64); a.Is6() && err == nil {
		return p.Addr()
	}
	return a
}

func (a *attempts) mayTry(from netip.Addr, now time.Time) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.all.now(now, againAll).wrong+1 <= triesAll && a.each[site(from)].now(now, againEach).wrong+1 <= triesEach
}

func (a *attempts) failed(from netip.Addr, now time.Time) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.each == nil {
		a.each = map[netip.Addr]bucket{}
	}
	from = site(from)
	if _, ok := a.each[from]; !ok && len(a.each) >= maxTracked {
		a.forgetOldest()
	}
	mine := a.each[from].now(now, againEach)
	mine.wrong++
	a.each[from] = mine
	a.all = a.all.now(now, againAll)
	a.all.wrong++
}

func (a *attempts) forgetOldest() {
	var oldest netip.Addr
	var at time.Time
	for who, b := range a.each {
		if at.IsZero() || b.at.Before(at) {
			oldest, at = who, b.at
		}
	}
	delete(a.each, oldest)
}
