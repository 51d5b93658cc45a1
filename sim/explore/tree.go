package explore

import (
	"slices"

	"cuewright/macro/bug"
	"cuewright/macro/program"
	"cuewright/sim/step"
)

// trees are what events do, as data: for each event a tree of the fields that
// its Apply reads, in order, by their values, down to a leaf that says what
// comes of it. A tree grows where states come that no one has come with
// before; for all others nothing is run.
type trees struct {
	nodes  []node
	kids   []int32 // 0 unknown, n > 0 is nodes[n], n < 0 is leaves[-n-1]
	leaves []leaf
	masks  []uint64 // two times space.words for each leaf: what is kept, what is set
	roots  []int32  // by tree, like kids
	known  map[string]int32
	key    []byte
	words  int
}

// node is a field that decides, or, when mask is 0, a choice: any of the
// first word kids may come.
type node struct {
	kids  int32
	word  int32
	field int32
	shift uint8
	mask  uint64
}

// leaf is what an event does. Arms are timers that it has started, with how
// long they run.
type leaf struct {
	same bool // no variable of the slice is written
	bad  bool // the property says so
	arms []arm
}

type arm struct {
	timer  int32
	micros int64
}

func newTrees(n, words int) *trees {
	return &trees{nodes: make([]node, 1), roots: make([]int32, n), known: map[string]int32{}, words: words}
}

// find goes down a tree without choices by a state: to a leaf's index, or -1
// when nobody has been there.
func (x *trees) find(tree int32, words []uint64) int32 {
	at := x.roots[tree]
	for at > 0 {
		n := &x.nodes[at]
		at = x.kids[n.kids+int32(words[n.word]>>n.shift&n.mask)]
	}
	return -at - 1
}

// slot is a place where a way goes on: roots[-slot-1], or kids[slot].
func (x *trees) at(slot int32) *int32 {
	if slot < 0 {
		return &x.roots[-slot-1]
	}
	return &x.kids[slot]
}

// down goes on from a slot until nobody has been further, or to a leaf or a
// choice.
func (x *trees) down(slot int32, words []uint64) int32 {
	for {
		at := *x.at(slot)
		if at <= 0 || x.nodes[at].mask == 0 {
			return slot
		}
		n := &x.nodes[at]
		slot = n.kids + int32(words[n.word]>>n.shift&n.mask)
	}
}

// grow adds the way down that a run has read, to a leaf. A negative read is a
// choice of so many, the next in chosen.
func (x *trees) grow(tree int32, fields []field, reads []int32, chosen []uint32, words []uint64, to int32) {
	slot := -tree - 1
	for _, r := range reads {
		at := *x.at(slot)
		if at == 0 {
			at = x.branch(fields, r)
			*x.at(slot) = at
		}
		slot = x.nodes[at].kids
		if n := &x.nodes[at]; (r < 0) != (n.mask == 0) || r >= 0 && n.field != r {
			bug.Report("the same values were read in another order: what is asked for depends on more than it is given")
		}
		if r < 0 {
			slot += int32(chosen[0])
			chosen = chosen[1:]
		} else {
			slot += int32(fields[r].get(words))
		}
	}
	*x.at(slot) = -to - 1
}

// branch adds a node for what a run has read.
func (x *trees) branch(fields []field, read int32) int32 {
	n := node{kids: int32(len(x.kids)), word: -read}
	size := n.word
	if read >= 0 {
		f := &fields[read]
		n.word, n.field, n.shift, n.mask = f.word, read, f.shift, f.mask
		size = int32(f.mask) + 1
	}
	x.nodes = append(x.nodes, n)
	x.kids = append(x.kids, make([]int32, size)...)
	return int32(len(x.nodes) - 1)
}

// leaf gives the index of a leaf, a new one only where there is none like it.
func (x *trees) leaf(l leaf, keep, set []uint64) int32 {
	k := x.key[:0]
	for _, w := range [][]uint64{keep, set} {
		for _, v := range w {
			k = number(k, v)
		}
	}
	for _, a := range l.arms {
		k = number(number(k, uint64(a.timer)), uint64(a.micros))
	}
	if l.bad {
		k = append(k, 1)
	}
	x.key = k
	if i, ok := x.known[string(k)]; ok {
		return i
	}
	x.leaves = append(x.leaves, l)
	x.masks = append(append(x.masks, keep...), set...)
	x.known[string(k)] = int32(len(x.leaves) - 1)
	return int32(len(x.leaves) - 1)
}

func number(k []byte, v uint64) []byte {
	return append(k, byte(v), byte(v>>8), byte(v>>16), byte(v>>24), byte(v>>32), byte(v>>40), byte(v>>48), byte(v>>56))
}

// apply writes what leaf i makes of words into out.
func (x *trees) apply(i int32, words, out []uint64) {
	m := x.masks[int(i)*2*x.words:]
	for w := range x.words {
		out[w] = words[w]&m[w] | m[x.words+w]
	}
}

// event is an event that can happen to the states of a slice. Cost is 1 for
// what someone does and 0 for what comes by itself or must follow: a timer
// that runs out, a finger that comes up.
type event struct {
	step.Event
	cost int
	when []gate // it can happen only where one of these is so
}

// gate is a value that a field must have; field -1 is always.
type gate struct {
	field int32
	value uint32
}

// events lists what can happen in a slice, in the order of the file.
func (g *engine) events() {
	p, s := g.p, g.space
	add := func(e step.Event, cost int, v int32, can func(value uint32) bool) {
		x := event{Event: e, cost: cost}
		switch {
		case v < 0:
			x.when = []gate{{-1, 0}}
		case s.of[v] < 0:
			if !g.cone.free(v) && !can(p.Vars[v].Start) {
				return
			}
			x.when = []gate{{-1, 0}}
		default:
			for value := range p.Vars[v].Size {
				if can(value) {
					x.when = append(x.when, gate{s.of[v], value})
				}
			}
		}
		g.evs = append(g.evs, x)
	}
	for _, timer := range g.clock.list {
		add(step.Event{Kind: step.Expire, A: timer}, 0, g.clock.variable(timer), func(v uint32) bool { return g.clock.may(timer, v) })
	}
	for _, b := range g.slice.Buttons {
		if p.Buttons[b].Down >= 0 {
			add(step.Event{Kind: step.Up, A: b}, 0, p.Buttons[b].Down, func(v uint32) bool { return v != 0 })
		}
		g.downs(b)
	}
	if len(g.slice.Cues) > 0 || s.of[g.x.standby] >= 0 {
		add(step.Event{Kind: step.Go, A: -1}, 1, g.x.standby, func(v uint32) bool { return int(v) < len(p.Cues) })
		for i := range p.Cues {
			if p.Cues[i].By != program.NoMoment { // no clock is known: it may come at any time
				add(step.Event{Kind: step.Moment, A: int32(i)}, 1, g.x.standby, func(v uint32) bool { return v <= uint32(i) })
			}
			if !g.o.InOrder {
				add(step.Event{Kind: step.Go, A: int32(i)}, 1, g.x.standby, func(uint32) bool { return true })
			}
		}
	}
	if s.of[g.x.standby] >= 0 && !g.o.InOrder {
		for to := range uint32(len(p.Cues)) + 1 { // by skip or back
			add(step.Event{Kind: step.Stand, A: int32(to)}, 1, g.x.standby, func(v uint32) bool { return v+1 == to || v == to+1 })
		}
	}
	if g.o.Faults > 0 {
		g.faults(add)
	}
}

// downs adds the press of a button, on each page value that shows it.
func (g *engine) downs(b int32) {
	p := g.p
	e := event{Event: step.Event{Kind: step.Down, A: b}, cost: 1}
	var pages []int32 // surfaces' variables: two that show a page at once must not double the event
	for _, surface := range p.Surfaces {
		for i, page := range surface.Pages {
			if page != p.Buttons[b].Page {
				continue
			}
			pages = append(pages, surface.Page)
			if f := g.space.of[surface.Page]; f >= 0 {
				e.when = append(e.when, gate{f, uint32(i)})
			} else if g.cone.free(surface.Page) || p.Vars[surface.Page].Start == uint32(i) {
				e.when = append(e.when, gate{-1, 0})
			}
		}
	}
	if len(unique(pages)) > 1 || slices.Contains(e.when, gate{-1, 0}) {
		e.when = []gate{{-1, 0}}
	}
	if len(e.when) > 0 {
		g.evs = append(g.evs, e)
	}
}

// faults adds what can befall the devices of the slice, and that it ends.
func (g *engine) faults(add func(e step.Event, cost int, v int32, can func(uint32) bool)) {
	p := g.p
	for d := range p.Devices {
		v := p.Devices[d].Health
		if g.space.of[v] < 0 {
			continue
		}
		for h := program.Well; h < program.Healths; h++ {
			if !g.canBe(int32(d), h) {
				continue
			}
			add(step.Event{Kind: step.Fault, A: int32(d), B: int32(h)}, 1, v, func(now uint32) bool { return (now == program.Well) != (h == program.Well) })
		}
	}
}

// canBe says whether a health makes sense of a device: a recorder can be full,
// a deck slow to be ready.
func (g *engine) canBe(device int32, health uint32) bool {
	switch health {
	case program.Full:
		return slices.ContainsFunc(g.p.Recorders, func(r program.Recorder) bool { return r.Device == device })
	case program.Slow:
		return slices.ContainsFunc(g.p.Decks, func(d program.Deck) bool { return d.Device == device })
	}
	return true
}

// writes says what a leaf sets a field to, if it does.
func (x *trees) writes(leaf int32, f *field) (value uint32, ok bool) {
	m := x.masks[int(leaf)*2*x.words:]
	if f.mask == 0 || m[f.word]>>f.shift&f.mask == f.mask {
		return 0, false
	}
	return uint32(m[x.words+int(f.word)] >> f.shift & f.mask), true
}
