package oscin

import (
	"strconv"
	"strings"
	"sync"
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// peer is one sender.
type peer struct {
	s     *Surface
	from  osc.From
	hand  surface.Hand
	spoke time.Time // the surface's lock guards it
	gone  chan struct{}
	again chan struct{} // everything is to be told anew

	mu      sync.Mutex // taken under no other; no other under it
	watches string     // a surface's name, or "" for all
	quiet   bool       // wants to be told nothing but answers
	highest uint64     // of the running numbers
}

func newPeer(s *Surface, from osc.From) *peer {
	return &peer{s: s, from: from, hand: surface.Hand{Desk: s.desk, By: "osc " + from.Addr.String()},
		gone: make(chan struct{}), again: make(chan struct{}, 1)}
}

// hear does what one message asks for.
func (p *peer) hear(m osc.Message) {
	parts := strings.Split(strings.TrimPrefix(m.Path, "/"), "/")
	switch parts[0] {
	case "watch", "unwatch":
		p.subscribe(parts, m.Args)
		return
	}
	do, numberAt := p.meaning(parts, m.Args)
	if do == nil {
		p.answer(surface.Answer{Outcome: surface.Refused, Text: "not understood: " + shorten(m.Path)}, 0)
		return
	}
	number := uint64(0)
	if len(m.Args) > numberAt {
		if n, ok := whole(m.Args[numberAt]); ok && n > 0 {
			number = uint64(n)
		}
	}
	if number != 0 && !p.newer(number) {
		p.answer(surface.Answer{Outcome: surface.Repeated}, number)
		return
	}
	p.answer(do(number), number)
}

// shorten keeps an answer about a long address short.
func shorten(path string) string { return path[:min(len(path), 80)] }

// newer says whether a running number is higher than all before.
func (p *peer) newer(number uint64) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if number <= p.highest {
		return false
	}
	p.highest = number
	return true
}

// subscribe is watch and unwatch.
func (p *peer) subscribe(parts []string, args []osc.Arg) {
	p.mu.Lock()
	p.quiet = parts[0] == "unwatch"
	p.watches, p.highest = "", 0
	if len(args) > 0 {
		p.watches = args[0].Text()
	}
	p.mu.Unlock()
	select {
	case p.again <- struct{}{}:
	default: // it is to be told anew already
	}
}

// meaning is what a message does, and which argument may be its running
// number; nil when it is not understood.
func (p *peer) meaning(parts []string, args []osc.Arg) (do func(number uint64) surface.Answer, numberAt int) {
	give := func(kind surface.Kind) func(uint64) surface.Answer {
		return func(number uint64) surface.Answer { return p.hand.Give(kind, -1, -1, -1, number) }
	}
	switch {
	case parts[0] == "finger" && len(parts) == 4 && len(args) > 0:
		return p.finger(parts[1:], args[0]), 1
	case len(parts) == 3 && parts[0] == "destination" && parts[2] == "resend":
		return p.resend(parts[1]), 0
	case len(parts) != 2:
		return nil, 0
	}
	switch parts[0] + "/" + parts[1] {
	case "rundown/go":
		if len(args) > 0 && args[0].Text() != "" {
			return p.goTo(args[0].Text()), 1
		}
		return give(surface.Go), 0
	case "rundown/back":
		return give(surface.Back), 0
	case "rundown/skip":
		return give(surface.Skip), 0
	case "everything/stop":
		return give(surface.StopAll), 0
	case "everything/resume":
		return give(surface.Resume), 0
	}
	return nil, 0
}

func refused(text string) func(uint64) surface.Answer {
	return func(uint64) surface.Answer { return surface.Answer{Outcome: surface.Refused, Text: text} }
}

// finger is a finger going down or coming up.
func (p *peer) finger(place []string, value osc.Arg) func(uint64) surface.Answer {
	down, ok := isDown(value)
	row, err1 := strconv.ParseInt(place[1], 10, 32)
	column, err2 := strconv.ParseInt(place[2], 10, 32)
	if !ok || err1 != nil || err2 != nil {
		return nil
	}
	at := p.s.desk.View().SurfaceNamed(place[0])
	if at < 0 {
		return refused("there is no surface of that name")
	}
	if down {
		return func(number uint64) surface.Answer { return p.hand.Down(at, int32(row), int32(column), number) }
	}
	return func(number uint64) surface.Answer { return p.hand.Up(at, int32(row), int32(column), number) }
}

func isDown(value osc.Arg) (down, ok bool) {
	switch value.Tag {
	case 'T', 'F':
		return value.Tag == 'T', true
	case 'i', 'h':
		return value.Int() != 0, true
	case 'f', 'd':
		return value.Float() != 0, true
	}
	return false, false
}

func whole(a osc.Arg) (int64, bool) { return a.Int(), a.Tag == 'i' || a.Tag == 'h' }

func (p *peer) goTo(number string) func(uint64) surface.Answer {
	cue := p.s.desk.View().CueNumbered(number)
	if cue < 0 {
		return refused("there is no cue of that number")
	}
	return func(n uint64) surface.Answer { return p.hand.Give(surface.Go, -1, cue, -1, n) }
}

func (p *peer) resend(name string) func(uint64) surface.Answer {
	d := p.s.desk.View().DestinationNamed(name)
	if d < 0 {
		return refused("there is no destination of that name")
	}
	return func(n uint64) surface.Answer { return p.hand.Give(surface.Resend, -1, -1, d, n) }
}

// answer goes back at once. One that cannot be sent is lost: the peer's lamps
// say what is.
func (p *peer) answer(a surface.Answer, number uint64) {
	packet, err := osc.AppendMessage(nil, "/answer", osc.String(a.Outcome.String()), osc.String(clean(a.Text)), osc.Int64(int64(number)))
	if err == nil && p.from.Reply(packet) != nil {
		p.s.silent(p, true)
	}
}
