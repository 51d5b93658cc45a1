package plug

import (
	"sync/atomic"
	"time"

	"cuewright/targets/surface"
)

// Presence is whether a device is there, and when anything came from it last.
// The zero value is one that never was. It may be used from any goroutine.
type Presence struct {
	there atomic.Bool
	heard atomic.Pointer[time.Time]
}

func (p *Presence) noticed() {
	now := time.Now()
	p.heard.Store(&now)
}

// Clients is the device, as one who has come in; nobody when it never was there.
func (p *Presence) Clients(who string) []surface.Client {
	seen := p.heard.Load()
	if seen == nil {
		return []surface.Client{}
	}
	return []surface.Client{{Who: who, Seen: *seen, Connected: p.there.Load()}}
}
