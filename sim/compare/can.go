package compare

import (
	"math/bits"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/state"
)

// reach is what each place of the rack can ever show, by what the actions of
// a show can do: what stands at power-on, what is cut, preset and taken, and
// what is routed. It leaves out when and whether a press comes, so it may say
// too much, and never too little.
//
// A switch shows what it picks at power-on and what the routes that lead
// through it bring. A destination's own switch is never re-pointed by others'
// routes, but a tie line that it takes may be, by a route of the line itself.
type reach struct {
	p       *program.Program
	book    *wayBook
	nodes   []program.Node // what is cabled
	use     func(action int32) bool
	words   int
	sets    []uint64  // by node: a bit for each source
	feeds   [][]int32 // by node: nodes whose pictures it can show
	extra   []int32   // by node: a source that it can show itself, or -1
	brought [][]int32 // by node: pictures that routes bring to it
}

// reachOf works out what can be shown when the actions that `use` says no to
// are left out.
func reachOf(p *program.Program, use func(action int32) bool) *reach {
	return reachIn(newWayBook(p), p.Nodes, use)
}

// reachIn is reachOf with other cables than those that the show believes in.
func reachIn(book *wayBook, nodes []program.Node, use func(action int32) bool) *reach {
	p := book.p
	r := &reach{p: p, book: book, nodes: nodes, use: use, words: (len(p.Sources) + 63) / 64, feeds: make([][]int32, len(p.Nodes)),
		extra: slices.Repeat([]int32{-1}, len(p.Nodes)), brought: make([][]int32, len(p.Nodes))}
	r.sets = make([]uint64, len(p.Nodes)*r.words)
	done := r.actions()
	for n := range p.Nodes {
		r.node(int32(n), done)
	}
	r.spread()
	return r
}

// doings are what the actions can do to banks and keyers.
type doings struct {
	program, preset map[int32][]int32 // by bank: picks
	exchanges, dark map[int32]bool    // by bank
	keyed           map[int32]bool    // by keyer
}

func (r *reach) actions() doings {
	d := doings{map[int32][]int32{}, map[int32][]int32{}, map[int32]bool{}, map[int32]bool{}, map[int32]bool{}}
	for b, bank := range r.p.Banks {
		d.program[int32(b)] = []int32{int32(r.p.Vars[bank.Program].Start)}
		d.preset[int32(b)] = []int32{int32(r.p.Vars[bank.Preset].Start)}
	}
	for i, a := range r.p.Actions {
		if !r.use(int32(i)) {
			continue
		}
		switch a.Verb {
		case program.CutTo:
			d.program[a.A] = append(d.program[a.A], a.B)
		case program.PresetTo:
			d.preset[a.A] = append(d.preset[a.A], a.B)
		case program.Take, program.Mix, program.Wipe:
			d.exchanges[a.A] = true
		case program.Fade:
			d.dark[a.A] = true
		case program.KeyTo:
			d.keyed[a.A] = d.keyed[a.A] || a.B == 1
		case program.Route:
			r.route(r.p.Destinations[a.A].Node, a.B)
		case program.RouteTie:
			r.route(r.p.Switches[r.p.Ties[a.A].Switch].Node, a.B)
		}
	}
	return d
}

// route notes that a picture can come to every switch on its ways to a node.
func (r *reach) route(to, picture int32) {
	for _, sw := range r.book.ways(to, picture) {
		n := r.p.Switches[sw].Node
		if !slices.Contains(r.brought[n], picture) {
			r.brought[n] = append(r.brought[n], picture)
		}
	}
}

// ways are the switches that lie on any way of a picture to a node, through
// cables and switches, in the order of the table. Where one crosspoint of the
// node's own switch does it, that is always the way: it is the shortest, and
// the own switch is never held.
func ways(p *program.Program, to, picture int32) []int32 {
	if to < 0 || picture < 0 {
		return nil
	}
	if last := above(p, to, picture); last >= 0 && p.Nodes[last].Kind == program.SwitchNode {
		if slices.ContainsFunc(p.Nodes[last].Up, func(up int32) bool { return above(p, up, picture) == picture }) {
			return []int32{p.Nodes[last].Owner}
		}
	}
	up := make([]bool, len(p.Nodes))
	up[to] = true
	for todo := []int32{to}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if !passes(p, at) || at == picture {
			continue
		}
		for _, from := range p.Nodes[at].Up {
			if from >= 0 && !up[from] {
				up[from] = true
				todo = append(todo, from)
			}
		}
	}
	down := make([]bool, len(p.Nodes))
	down[picture] = up[picture]
	var some []int32
	for again := true; again; { // racks are shallow: a few rounds
		again = false
		for n := range p.Nodes {
			if !down[n] && up[n] && passes(p, int32(n)) && slices.ContainsFunc(p.Nodes[n].Up, func(from int32) bool { return from >= 0 && down[from] }) {
				down[n], again = true, true
			}
		}
	}
	for s := range p.Switches {
		if n := p.Switches[s].Node; down[n] && n != picture {
			some = append(some, int32(s))
		}
	}
	return some
}

// wayBook remembers the ways of one program.
type wayBook struct {
	p     *program.Program
	known map[[2]int32][]int32
}

func newWayBook(p *program.Program) *wayBook { return &wayBook{p, map[[2]int32][]int32{}} }

func (b *wayBook) ways(to, picture int32) []int32 {
	key := [2]int32{to, picture}
	list, ok := b.known[key]
	if !ok {
		list = ways(b.p, to, picture)
		b.known[key] = list
	}
	return list
}

// above goes up from a node along cables to where they end, or to a picture
// that it meets; it is -1 where nothing is plugged in.
func above(p *program.Program, node, picture int32) int32 {
	for range p.Nodes {
		if node < 0 || node == picture || p.Nodes[node].Kind != program.PassNode {
			return node
		}
		if len(p.Nodes[node].Up) == 0 {
			return -1
		}
		node = p.Nodes[node].Up[0]
	}
	return -1
}

// passes says whether a node passes on a picture that is made elsewhere.
func passes(p *program.Program, node int32) bool {
	kind := p.Nodes[node].Kind
	return kind == program.PassNode || kind == program.SwitchNode
}

// node notes what a node can show.
func (r *reach) node(n int32, d doings) {
	x := &r.nodes[n]
	switch x.Kind {
	case program.SourceNode:
		if r.p.Sources[x.Owner].Picture != "nothing" {
			r.extra[n] = x.Owner
		}
	case program.PassNode:
		r.feeds[n] = x.Up
	case program.SwitchNode:
		s := &r.p.Switches[x.Owner]
		r.feeds[n] = append([]int32{s.Picks[r.p.Vars[s.Var].Start].Node}, r.brought[n]...)
		r.displaced(n)
	default:
		r.bank(n, x, d)
	}
}

// displaced adds what routes of tie lines can bring to a switch that takes
// the lines on the way of a route of its own.
func (r *reach) displaced(n int32) {
	if len(r.brought[n]) == 0 {
		return
	}
	for i, a := range r.p.Actions {
		if a.Verb != program.RouteTie || !r.use(int32(i)) || r.p.Switches[r.p.Ties[a.A].Switch].Node == n {
			continue
		}
		if r.carries(a.A, n) {
			r.feeds[n] = append(r.feeds[n], r.p.Ties[a.A].Node)
		}
	}
}

// carries says whether a route to a switch's node can go over a tie line.
func (r *reach) carries(tie, n int32) bool {
	sw := r.p.Ties[tie].Switch
	return slices.ContainsFunc(r.brought[n], func(picture int32) bool {
		return slices.Contains(r.book.ways(n, picture), sw)
	})
}

func (r *reach) bank(n int32, x *program.Node, d doings) {
	b := &r.p.Banks[x.Owner]
	picks := d.program[x.Owner]
	if d.exchanges[x.Owner] || x.Kind == program.PresetNode {
		picks = append(slices.Clone(picks), d.preset[x.Owner]...)
	}
	if x.Kind == program.PresetNode && !d.exchanges[x.Owner] {
		picks = d.preset[x.Owner]
	}
	for _, i := range picks {
		r.feeds[n] = append(r.feeds[n], b.Picks[i].Node)
	}
	if d.dark[x.Owner] && x.Kind != program.PresetNode && r.p.Sources[b.Black].Picture != "nothing" {
		r.extra[n] = b.Black
	}
	if x.Kind != program.BankNode {
		return
	}
	for _, k := range b.Keyers {
		if d.keyed[k] {
			r.feeds[n] = append(r.feeds[n], r.p.Keyers[k].Fill)
		}
	}
}

// spread lets pictures go down until nothing changes. Every round adds a
// picture to a node, so it ends.
func (r *reach) spread() {
	for n, source := range r.extra {
		if source >= 0 {
			r.sets[n*r.words+int(source>>6)] |= 1 << (source & 63)
		}
	}
	for again := true; again; {
		again = false
		for n := range r.feeds {
			for _, from := range r.feeds[n] {
				if from < 0 {
					continue
				}
				for w := range r.words {
					to := &r.sets[n*r.words+w]
					if more := r.sets[int(from)*r.words+w] &^ *to; more != 0 {
						*to |= more
						again = true
					}
				}
			}
		}
	}
}

// at is the sources that a node can show, in the order of the table.
func (r *reach) at(node int32) (sources []int32) {
	if node < 0 {
		return nil
	}
	for w := range r.words {
		for x := r.sets[int(node)*r.words+w]; x != 0; x &= x - 1 {
			sources = append(sources, int32(w*64+bits.TrailingZeros64(x)))
		}
	}
	return sources
}

// has says whether a node can show a source.
func (r *reach) has(node, source int32) bool {
	return r.sets[int(node)*r.words+int(source>>6)]>>(source&63)&1 != 0
}

func everything(int32) bool { return true }

// powerOn is what a node's picture is made of at power-on.
func powerOn(p *program.Program, l *state.Layout, node int32) string {
	g := signal.New(p, l)
	g.Look(l.Start(p))
	return p.Sources[g.Base(node)].Name
}
