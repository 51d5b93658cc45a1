// Package oscin is OSC as a surface: presses in by UDP or TCP, answers and
// lamps back to whoever has spoken in the last 30 seconds. README.md has the
// addresses.
//
// Each peer has a goroutine that tells it what has changed, so that one that
// does not read holds nobody else up. Memory is bounded by maxPeers.
package oscin

import (
	"fmt"
	"log/slog"
	"net/netip"
	"sync"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// Config says where to listen and to whom.
type Config struct {
	Wire    string         // osc.udp, osc.tcp or osc.slip
	Address string         // host:port
	Allow   []netip.Prefix // who is heard; empty is loopback only
	Log     *slog.Logger   // nil is silence
}

const (
	patience   = 30 * time.Second // a peer that is silent for longer is forgotten
	maxPeers   = 64
	aliveEvery = time.Second
	refreshes  = 3 // full ones on UDP within patience
)

// loopback is the allow-list when none is given.
var loopback = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}

// Allow reads an allow-list: networks as 192.0.2.0/24, or single addresses.
func Allow(list []string) ([]netip.Prefix, error) {
	var all []netip.Prefix
	for _, text := range list {
		if a, err := netip.ParseAddr(text); err == nil {
			all = append(all, netip.PrefixFrom(a, a.BitLen()))
			continue
		}
		p, err := netip.ParsePrefix(text)
		if err != nil {
			return nil, fmt.Errorf("`%s` is no address and no network", text)
		}
		all = append(all, p.Masked())
	}
	return all, nil
}

// Surface listens until Close.
type Surface struct {
	Config
	desk     surface.Desk
	receiver *osc.Receiver
	patience time.Duration // patience, but in tests

	mu      sync.Mutex // taken under no other; no other under it
	peers   map[osc.From]*peer
	refused uint64
	closed  bool
	busy    bool // something is done beside the hearing
	telling sync.WaitGroup
}

// Listen begins to hear.
func Listen(desk surface.Desk, c Config) (*Surface, error) { return listen(desk, c, patience) }

func listen(desk surface.Desk, c Config, patience time.Duration) (*Surface, error) {
	if len(c.Allow) == 0 {
		c.Allow = loopback
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	s := &Surface{Config: c, desk: desk, peers: map[osc.From]*peer{}, patience: patience}
	var err error
	switch c.Wire {
	case "osc.tcp":
		s.receiver, err = osc.ListenTCPFrom(c.Address, osc.Sized, s.admits, s.hear)
	case "osc.slip":
		s.receiver, err = osc.ListenTCPFrom(c.Address, osc.SLIP, s.admits, s.hear)
	default:
		s.receiver, err = osc.ListenUDP(c.Address, s.hear)
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

// Addr is where it listens.
func (s *Surface) Addr() netip.AddrPort { return s.receiver.Addr() }

// Refused is how many packets, or connections by TCP, came from senders that are
// not allowed.
func (s *Surface) Refused() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.refused
}

// Way is its way in: whoever has spoken within the last half minute.
func (s *Surface) Way() surface.Way {
	w := surface.Way{Kind: s.Wire, At: s.Addr().String(), Clients: []surface.Client{}}
	if n, ok := s.receiver.Dropped(); ok {
		w.Dropped = &n
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	w.Refused = s.refused
	for _, p := range s.peers {
		w.Clients = append(w.Clients, surface.Client{Who: p.hand.By, Seen: p.spoke, Connected: true})
	}
	surface.LastSeen(w.Clients)
	return w
}

// Close stops listening, lifts every finger and waits for its goroutines.
func (s *Surface) Close() error {
	err := s.receiver.Close()
	s.mu.Lock()
	s.closed = true
	for from := range s.peers {
		s.drop(from)
	}
	s.mu.Unlock()
	s.telling.Wait()
	return err
}

func (s *Surface) allows(a netip.Addr) bool {
	for _, p := range s.Allow {
		if p.Contains(a.WithZone("")) {
			return true
		}
	}
	return false
}

// admits counts who is not allowed: datagrams, or connections.
func (s *Surface) admits(from netip.AddrPort) bool {
	if s.allows(from.Addr()) {
		return true
	}
	s.mu.Lock()
	s.refused++
	first := s.refused == 1
	s.mu.Unlock()
	if first {
		s.Log.Warn("a sender is not on the allow-list; later ones are only counted", "from", from)
	}
	return false
}

// hear is given every packet. What is not allowed or cannot be read gets no
// answer and leaves no peer behind.
func (s *Surface) hear(packet []byte, from osc.From) {
	if s.receiverIsUDP() && !s.admits(from.Addr) {
		return
	}
	p, err := osc.Decode(packet)
	if err != nil {
		s.Log.Debug("not an OSC packet", "from", from.Addr, "why", err)
		return
	}
	if who := s.peer(from); who != nil {
		osc.Each(p, who.hear)
	}
}

// peer is whoever sent something now, known or new. Where there are too many,
// the one that has been silent longest makes room.
func (s *Surface) peer(from osc.From) *peer {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil
	}
	p := s.peers[from]
	if p == nil {
		if len(s.peers) >= maxPeers {
			s.drop(s.silentest())
		}
		p = newPeer(s, from)
		s.peers[from] = p
		s.telling.Go(p.tell)
	}
	p.spoke = time.Now()
	return p
}

func (s *Surface) silentest() osc.From {
	var who osc.From
	var since time.Time
	for from, p := range s.peers {
		if since.IsZero() || p.spoke.Before(since) {
			who, since = from, p.spoke
		}
	}
	return who
}

// drop forgets a peer. The caller holds the lock.
func (s *Surface) drop(from osc.From) {
	if p := s.peers[from]; p != nil {
		delete(s.peers, from)
		close(p.gone)
	}
}

// silent drops a peer that has been silent for too long, or cannot be told
// anything (its connection is gone).
func (s *Surface) silent(p *peer, broken bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.peers[p.from] == p && (broken || time.Since(p.spoke) > s.patience) {
		s.drop(p.from)
	}
}
