package web

import (
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"cuewright/targets/surface"
)

// silence is how long a client without an open stream is remembered, a finger
// that it put down stays down, and a surface that it has taken over stays its own.
const silence = 30 * time.Second

// client is a tablet or program with the token, see door.key.
type client struct {
	key     string
	hand    surface.Hand
	seen    time.Time // clients.mu guards these
	streams int
}

// clients are all of them, at most maxClients. Its lock is taken under no
// other and no other under it.
type clients struct {
	mu  sync.Mutex
	all []*client
}

// who is what a client calls itself: for people, and to tell two pages of one
// tablet apart. It proves nothing.
func who(r *http.Request) string {
	name := strings.Map(func(c rune) rune {
		if c == ' ' || c == '-' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' {
			return c
		}
		return -1
	}, r.URL.Query().Get("who"))
	return strings.TrimSpace(name[:min(len(name), 24)])
}

// client is who made a request, now seen; nil when there are too many.
func (s *Surface) client(r *http.Request) *client { return s.clients.of(s.door.key(r), s.desk) }

func (x *clients) of(key string, desk surface.Desk) *client {
	x.mu.Lock()
	defer x.mu.Unlock()
	i := slices.IndexFunc(x.all, func(c *client) bool { return c.key == key })
	if i < 0 {
		if len(x.all) >= maxClients {
			return nil
		}
		x.all = append(x.all, &client{key: key, hand: surface.Hand{Desk: desk, By: key}})
		i = len(x.all) - 1
	}
	x.all[i].seen = time.Now()
	return x.all[i]
}

// opened and closed count a client's streams. When the last is closed its
// fingers come up: nobody can say any more that they did.
func (x *clients) opened(c *client) {
	x.mu.Lock()
	defer x.mu.Unlock()
	c.streams++
}

func (x *clients) closed(c *client) {
	x.mu.Lock()
	c.streams--
	c.seen = time.Now()
	last := c.streams == 0
	x.mu.Unlock()
	if last {
		c.hand.Gone()
	}
}

func (x *clients) touch(c *client) {
	x.mu.Lock()
	defer x.mu.Unlock()
	c.seen = time.Now()
}

// dropSilent forgets who has no stream and has been silent for long.
func (x *clients) dropSilent(now time.Time) {
	x.mu.Lock()
	var gone []*client
	x.all = slices.DeleteFunc(x.all, func(c *client) bool {
		if c.streams > 0 || now.Sub(c.seen) < silence {
			return false
		}
		gone = append(gone, c)
		return true
	})
	x.mu.Unlock()
	for _, c := range gone {
		c.hand.Leave()
	}
}

func (x *clients) dropAll() { x.dropSilent(time.Now().Add(2 * silence)) }

// forgetSilent forgets clients as time passes.
func (s *Surface) forgetSilent() {
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	for {
		select {
		case <-s.ctx.Done():
			return
		case <-ticker.C:
			s.clients.dropSilent(time.Now())
		}
	}
}

// tablet is a client as pages show it.
type tablet struct {
	Who       string `json:"who"`
	Seen      int64  `json:"seen"` // milliseconds ago
	Connected bool   `json:"connected"`
}

func (s *Surface) tablets(w http.ResponseWriter, _ *http.Request) {
	list := []tablet{}
	for _, c := range s.clients.list() {
		list = append(list, tablet{c.Who, time.Since(c.Seen).Milliseconds(), c.Connected})
	}
	answerJSON(w, http.StatusOK, list)
}

// list is all clients, the last seen first.
func (x *clients) list() []surface.Client {
	x.mu.Lock()
	defer x.mu.Unlock()
	list := make([]surface.Client, 0, len(x.all))
	for _, c := range x.all {
		list = append(list, surface.Client{Who: c.key, Seen: c.seen, Connected: c.streams > 0})
	}
	return surface.LastSeen(list)
}
