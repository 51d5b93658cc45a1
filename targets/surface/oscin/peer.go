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

// asked is what one message asks for: do, whose running number is argument
// numberAt; of which kind and surface it is, for the log. Without do it is not
// understood.
type asked struct {
	kind     surface.Kind
	on       int32
	numberAt int
	do       func(number uint64) surface.Answer
}

// hear does what one message asks for.
func (p *peer) hear(m osc.Message) {
	parts := strings.Split(strings.TrimPrefix(m.Path, "/"), "/")
	switch parts[0] {
	case "watch", "unwatch":
		p.subscribe(parts, m.Args)
		return
	case "show":
		if len(parts) == 2 && (parts[1] == "load" || parts[1] == "trial") {
			p.load(parts[1] == "trial", m.Args)
			return
		}
	}
	q := p.meaning(parts, m.Args)
	if q.do == nil {
		p.answer(surface.Answer{Outcome: surface.Refused, Text: "not understood: " + shorten(m.Path)}, 0)
		return
	}
	number := numberIn(m.Args, q.numberAt)
	if number != 0 && !p.newer(number) {
		p.answer(p.hand.Judged(q.kind, q.on, number, surface.Answer{Outcome: surface.Repeated, Text: "it came twice"}), number)
		return
	}
	p.answer(q.do(number), number)
}

// numberIn is the running number of a message, 0 for none.
func numberIn(args []osc.Arg, at int) uint64 {
	if len(args) > at {
		if n, ok := whole(args[at]); ok && n > 0 {
			return uint64(n)
		}
	}
	return 0
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

// plainly are the messages without arguments of their own that name nothing.
var plainly = map[string]surface.Kind{"rundown/go": surface.Go, "rundown/back": surface.Back, "rundown/skip": surface.Skip, "rundown/disarm": surface.Disarm, "rundown/arm": surface.Arm,
	"everything/stop": surface.StopAll, "everything/resume": surface.Resume, "show/keep": surface.Keep, "show/return": surface.Return,
	"pair/switch": surface.SwitchOver}

// meaning is what a message asks for.
func (p *peer) meaning(parts []string, args []osc.Arg) asked {
	switch {
	case parts[0] == "finger" && len(parts) == 4 && len(args) > 0:
		return p.finger(parts[1:], args[0])
	case (parts[0] == "destination" || parts[0] == "field") && len(parts) == 3:
		return p.output(parts[0], parts[1], parts[2])
	case parts[0] == "cue" && len(parts) == 3 && parts[2] == "disarm":
		return p.arming(surface.Disarm, parts[1])
	case parts[0] == "cue" && len(parts) == 3 && parts[2] == "arm":
		return p.arming(surface.Arm, parts[1])
	case parts[0] == "surface" && len(parts) == 3 && parts[2] == "take":
		return p.holding(surface.TakeOver, parts[1])
	case parts[0] == "surface" && len(parts) == 3 && parts[2] == "give":
		return p.holding(surface.GiveBack, parts[1])
	case len(parts) != 2:
		return asked{}
	}
	kind, ok := plainly[parts[0]+"/"+parts[1]]
	switch {
	case !ok:
		return asked{}
	case kind == surface.Go && len(args) > 0 && args[0].Text() != "":
		return p.goTo(args[0].Text())
	}
	return p.give(kind, -1, -1, -1, 0)
}

func (p *peer) give(kind surface.Kind, on, cue, destination int32, numberAt int) asked {
	return asked{kind, on, numberAt, func(n uint64) surface.Answer { return p.hand.Give(kind, on, cue, destination, n) }}
}

// refused is a press of something that is not there.
func (p *peer) refused(kind surface.Kind, numberAt int, text string) asked {
	return asked{kind, -1, numberAt, func(n uint64) surface.Answer {
		return p.hand.Judged(kind, -1, n, surface.Answer{Outcome: surface.Refused, Text: text})
	}}
}

const noSurface = "there is no surface of that name"

// finger is a finger going down or coming up.
func (p *peer) finger(place []string, value osc.Arg) asked {
	down, ok := isDown(value)
	row, err1 := strconv.ParseInt(place[1], 10, 32)
	column, err2 := strconv.ParseInt(place[2], 10, 32)
	if !ok || err1 != nil || err2 != nil {
		return asked{}
	}
	kind, move := surface.Up, p.hand.Up
	if down {
		kind, move = surface.Down, p.hand.Down
	}
	at := p.s.desk.View().SurfaceNamed(place[0])
	if at < 0 {
		return p.refused(kind, 1, noSurface)
	}
	return asked{kind, at, 1, func(n uint64) surface.Answer { return move(at, int32(row), int32(column), n) }}
}

// arming has a cue fire by itself, or not.
func (p *peer) arming(kind surface.Kind, number string) asked {
	cue := p.s.desk.View().CueNumbered(number)
	if cue < 0 {
		return p.refused(kind, 0, "there is no cue of that number")
	}
	return p.give(kind, -1, cue, -1, 0)
}

// holding takes a surface over or gives it back.
func (p *peer) holding(kind surface.Kind, name string) asked {
	at := p.s.desk.View().SurfaceNamed(name)
	if at < 0 {
		return p.refused(kind, 0, noSurface)
	}
	return p.give(kind, at, -1, -1, 0)
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

func (p *peer) goTo(number string) asked {
	cue := p.s.desk.View().CueNumbered(number)
	if cue < 0 {
		return p.refused(surface.Go, 1, "there is no cue of that number")
	}
	return p.give(surface.Go, -1, cue, -1, 1)
}

// output sends an output again, or adopts what it is.
func (p *peer) output(what, name, do string) asked {
	kind, ok := map[string]surface.Kind{"resend": surface.Resend, "adopt": surface.Adopt}[do]
	if !ok {
		return asked{}
	}
	v := p.s.desk.View()
	at := v.OutputNamed(name)
	if at < 0 || (what == "field") != (int(at) >= len(v.Program.Destinations)) {
		return p.refused(kind, 0, "there is no "+what+" of that name")
	}
	return p.give(kind, -1, -1, at, 0)
}

// answer goes back at once. One that cannot be sent is lost: the peer's lamps
// say what is.
func (p *peer) answer(a surface.Answer, number uint64) {
	packet, err := osc.AppendMessage(nil, "/answer", osc.String(a.Outcome.String()), osc.String(clean(a.Text)), osc.Int64(int64(number)))
	if err == nil && p.from.Reply(packet) != nil {
		p.s.silent(p, true)
	}
}
