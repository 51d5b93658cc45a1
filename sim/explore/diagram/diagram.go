// Package diagram keeps sets of states as decision diagrams: a node asks for
// the value of one variable, in a fixed order of variables, and its branches
// lead to the nodes of the next, so that states which go on alike share what
// comes after. A set that has parts which do not depend on each other needs
// about as many nodes as the parts have together, however many states it has.
//
// Nodes are never changed and equal ones are one, so equal sets are the same
// Set, and what an operation has made of a node once is looked up the next time
// (R. Bryant, Graph-based algorithms for Boolean function manipulation, 1986;
// here with as many branches as a variable has values, and no level left out).
package diagram

import (
	"math"
	"math/bits"
	"slices"

	"cuewright/macro/bug"
)

// Set is a set of states of one Diagram.
type Set uint32

// None has no state in it.
const None Set = 0

// unit is what lies under the last variable: the one way to have no more.
const unit Set = 1

// Diagram is where sets over the same variables are kept. It serves one
// goroutine.
type Diagram struct {
	sizes []uint32 // by level: values of its variable

	// memory has each node's level and then its branches, one for each value; a
	// Set is the place of its first node's level.
	memory []Set
	nodes  int
	table  []Set // open addressing
	known  []answer
	writes []write
	kids   []Set // of nodes being made, as a stack
}

// answer is the last operation with this hash.
type answer struct {
	op   uint32
	a, b Set
	is   Set
}

// write is values that variables are given. By level: the value plus 1, or 0
// for one that keeps its own; it ends with the last that does not.
type write []uint32

// The operations, as they are remembered. Writes come after the last.
const (
	opUnion = iota
	opMeet
	opSelect
	opWrite
)

// smallest is the number of answers remembered at first, largest at most.
const (
	smallest = 1 << 12
	largest  = 1 << 21
)

// New makes a diagram of variables with so many values each, in the order in
// which they are asked for. At most 65,536 variables of at most 65,536 values.
func New(sizes []uint32) *Diagram {
	return &Diagram{sizes: sizes, memory: make([]Set, 2, 1<<10), table: make([]Set, 1<<10), known: make([]answer, smallest)}
}

// Nodes is how many nodes there are.
func (d *Diagram) Nodes() int { return d.nodes }

// Bytes is the memory that all takes.
func (d *Diagram) Bytes() int64 {
	return int64(4*cap(d.memory) + 4*len(d.table) + 16*len(d.known))
}

// branches are what follows each value of a node's variable.
func (d *Diagram) branches(s Set) []Set {
	n := Set(d.sizes[d.memory[s]])
	return d.memory[s+1 : s+1+n : s+1+n]
}

// node is the node of a level with the branches that lie on the stack from a
// place on, which it takes off.
func (d *Diagram) node(level, from int) Set {
	kids := d.kids[from:]
	d.kids = d.kids[:from]
	if !slices.ContainsFunc(kids, func(k Set) bool { return k != None }) {
		return None
	}
	mask := uint64(len(d.table) - 1)
	slot := hash(Set(level), kids) & mask
	for d.table[slot] != 0 {
		if s := d.table[slot]; int(d.memory[s]) == level && slices.Equal(d.branches(s), kids) {
			return s
		}
		slot = (slot + 1) & mask
	}
	s := len(d.memory)
	if uint64(s)+uint64(len(kids)) >= math.MaxUint32 {
		bug.Report("a diagram of more than %d nodes", d.nodes)
	}
	d.memory = append(append(d.memory, Set(level)), kids...)
	d.table[slot] = Set(s)
	if d.nodes++; d.nodes*2 > len(d.table) {
		d.double()
	}
	return Set(s)
}

// hash spreads a node over 64 bits: multiply and fold, as wyhash does.
func hash(level Set, kids []Set) uint64 {
	h := uint64(level) * 0x9e3779b97f4a7c15
	for _, k := range kids {
		hi, lo := bits.Mul64(h^uint64(k), 0xa0761d6478bd642f)
		h = hi ^ lo ^ 0x9e3779b97f4a7c15
	}
	return h
}

// double makes room for twice as many nodes, and for more answers.
func (d *Diagram) double() {
	d.table = make([]Set, 2*len(d.table))
	mask := uint64(len(d.table) - 1)
	for s := 2; s < len(d.memory); s += int(d.sizes[d.memory[s]]) + 1 {
		slot := hash(d.memory[s], d.branches(Set(s))) & mask
		for d.table[slot] != 0 {
			slot = (slot + 1) & mask
		}
		d.table[slot] = Set(s)
	}
	if n := 2 * len(d.table); n > len(d.known) && n <= largest {
		d.known = make([]answer, n)
	}
}

// recall looks up what an operation has made before, and where to note it.
func (d *Diagram) recall(op uint32, a, b Set) (is Set, ok bool, slot uint64) {
	h := (uint64(a)<<32 | uint64(b)) ^ uint64(op)*0xe7037ed1a0b428db
	hi, lo := bits.Mul64(h, 0xa0761d6478bd642f)
	slot = (hi ^ lo) & uint64(len(d.known)-1)
	x := &d.known[slot]
	return x.is, x.op == op && x.a == a && x.b == b && a != 0, slot
}

// remember notes what an operation has made. The table may have grown since
// it was asked, and then the answer is lost.
func (d *Diagram) remember(slot uint64, op uint32, a, b, is Set) {
	if slot < uint64(len(d.known)) {
		d.known[slot] = answer{op, a, b, is}
	}
}

// Single is the set of one state.
func (d *Diagram) Single(values []uint32) Set {
	s := unit
	for level := len(d.sizes) - 1; level >= 0; level-- {
		from := d.empty(level)
		d.kids[from+int(values[level])] = s
		s = d.node(level, from)
	}
	return s
}

// empty puts the branches of a node of a level on the stack, all to nothing.
func (d *Diagram) empty(level int) (from int) {
	from = len(d.kids)
	for range d.sizes[level] {
		d.kids = append(d.kids, None)
	}
	return from
}

// Union is what is in either set.
func (d *Diagram) Union(a, b Set) Set { return d.both(opUnion, a, b) }

// Meet is what is in both sets.
func (d *Diagram) Meet(a, b Set) Set { return d.both(opMeet, a, b) }

// both is the union or the meet of two sets.
func (d *Diagram) both(op uint32, a, b Set) Set {
	switch {
	case a == b:
		return a
	case a == None || b == None:
		if op == opMeet {
			return None
		}
		return max(a, b)
	case a > b:
		a, b = b, a
	}
	is, ok, slot := d.recall(op, a, b)
	if ok {
		return is
	}
	level := int(d.memory[a])
	from := d.empty(level)
	for v := range d.sizes[level] {
		k := d.both(op, d.memory[a+1+Set(v)], d.memory[b+1+Set(v)])
		d.kids[from+int(v)] = k
	}
	is = d.node(level, from)
	d.remember(slot, op, a, b, is)
	return is
}

// Select is the states of a set in which the variable of a level has a value.
func (d *Diagram) Select(s Set, level int, value uint32) Set {
	if s == None {
		return None
	}
	at := int(d.memory[s])
	if at == level {
		from := d.empty(level)
		d.kids[from+int(value)] = d.memory[s+1+Set(value)]
		return d.node(level, from)
	}
	which := Set(level)<<16 | Set(value)
	is, ok, slot := d.recall(opSelect, s, which)
	if ok {
		return is
	}
	from := d.empty(at)
	for v := range d.sizes[at] {
		k := d.Select(d.memory[s+1+Set(v)], level, value)
		d.kids[from+int(v)] = k
	}
	is = d.node(at, from)
	d.remember(slot, opSelect, s, which, is)
	return is
}

// Value is a value that the variable of a level is given.
type Value struct {
	Level int
	Value uint32
}

// Writing prepares what Write does: the variables of values are given them,
// all others stay.
func (d *Diagram) Writing(values []Value) int {
	var w write
	for _, v := range values {
		for len(w) <= v.Level {
			w = append(w, 0)
		}
		w[v.Level] = v.Value + 1
	}
	d.writes = append(d.writes, w)
	return len(d.writes) - 1
}

// Write is what a writing makes of the states of a set.
func (d *Diagram) Write(s Set, writing int) Set {
	if s <= unit {
		return s
	}
	w := d.writes[writing]
	level := int(d.memory[s])
	if level >= len(w) {
		return s
	}
	op := uint32(opWrite + writing)
	is, ok, slot := d.recall(op, s, 0)
	if ok {
		return is
	}
	from := d.empty(level)
	if to := w[level]; to > 0 {
		all := None
		for v := range d.sizes[level] {
			all = d.Union(all, d.memory[s+1+Set(v)])
		}
		all = d.Write(all, writing)
		d.kids[from+int(to)-1] = all
	} else {
		for v := range d.sizes[level] {
			k := d.Write(d.memory[s+1+Set(v)], writing)
			d.kids[from+int(v)] = k
		}
	}
	is = d.node(level, from)
	d.remember(slot, op, s, 0, is)
	return is
}

// First is the first state of a set that is not None, when the values of the
// first variable count most.
func (d *Diagram) First(s Set, values []uint32) {
	for level := range d.sizes {
		for v, k := range d.branches(s) {
			if k != None {
				values[level], s = uint32(v), k
				break
			}
		}
	}
}

// Count is how many states a set has; the largest uint64 when it has more.
func (d *Diagram) Count(s Set) uint64 {
	return d.count(s, map[Set]uint64{None: 0, unit: 1})
}

func (d *Diagram) count(s Set, known map[Set]uint64) uint64 {
	if n, ok := known[s]; ok {
		return n
	}
	n := uint64(0)
	for _, k := range d.branches(s) {
		sum, carry := bits.Add64(n, d.count(k, known), 0)
		if n = sum; carry != 0 {
			n = math.MaxUint64
		}
	}
	known[s] = n
	return n
}
