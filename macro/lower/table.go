package lower

import (
	"encoding/binary"

	"cuewright/macro/program"
)

// tables remember what has been written, so that equal things are written
// once.
type tables struct {
	conds   map[program.Cond]int32
	sets    map[string]int32
	texts   map[string]int32
	doing   map[program.Action]int32
	sending map[string]int32
	airs    map[string]int32 // by picture: the condition that it is on air
}

// newTables is the tables of a show of that many scripts.
func newTables(scripts int) tables {
	return tables{map[program.Cond]int32{}, map[string]int32{}, map[string]int32{}, make(map[program.Action]int32, scripts), map[string]int32{}, map[string]int32{}}
}

// once gives the place of a thing in a table, and adds it when it is new.
func once[K comparable, T any](index map[K]int32, key K, table *[]T, thing T) int32 {
	if i, ok := index[key]; ok {
		return i
	}
	i := int32(len(*table))
	*table = append(*table, thing)
	index[key] = i
	return i
}

func (l *lowerer) cond(c program.Cond) int32 { return once(l.conds, c, &l.p.Conds, c) }

func (l *lowerer) words(s string) int32 { return once(l.texts, text(s), &l.p.Texts, text(s)) }

func (l *lowerer) action(a program.Action) int32 { return once(l.doing, a, &l.p.Actions, a) }

// sendIndex knows equal sends by their text, which has all their values.
func (l *lowerer) sendIndex(s program.Send) int32 { return once(l.sending, s.Text, &l.p.Sends, s) }

func (l *lowerer) set(words []uint32) int32 {
	key := make([]byte, 0, 4*len(words))
	for _, w := range words {
		key = binary.LittleEndian.AppendUint32(key, w)
	}
	return once(l.sets, string(key), &l.p.Sets, words)
}

// constant is a condition that always or never holds.
func (l *lowerer) constant(holds bool) int32 {
	c := program.Cond{Op: program.Const}
	if holds {
		c.A = 1
	}
	return l.cond(c)
}

// in holds while variable v has a value that fits. It is a constant where
// every value fits, or none.
func (l *lowerer) in(v int32, fits func(value uint32) bool) int32 {
	size := l.p.Vars[v].Size
	words, n := make([]uint32, (size+31)/32), uint32(0)
	for value := range size {
		if fits(value) {
			words[value/32] |= 1 << (value % 32)
			n++
		}
	}
	if n == 0 || n == size {
		return l.constant(n > 0)
	}
	return l.cond(program.Cond{Op: program.In, A: v, B: l.set(words)})
}

// is holds while variable v has one of these values.
func (l *lowerer) is(v int32, values ...uint32) int32 {
	return l.in(v, func(value uint32) bool {
		for _, x := range values {
			if x == value {
				return true
			}
		}
		return false
	})
}

// not, and, or fold constants, and sets of the same variable into one.
func (l *lowerer) not(c int32) int32 {
	switch x := l.p.Conds[c]; x.Op {
	case program.Const:
		return l.constant(x.A == 0)
	case program.Not:
		return x.L
	case program.In:
		return l.in(x.A, func(v uint32) bool { return !has(l.p.Sets[x.B], v) })
	}
	return l.cond(program.Cond{Op: program.Not, L: c})
}

func (l *lowerer) and(a, b int32) int32 { return l.join(program.And, a, b) }
func (l *lowerer) or(a, b int32) int32  { return l.join(program.Or, a, b) }

func (l *lowerer) join(op program.CondOp, a, b int32) int32 {
	x, y := l.p.Conds[a], l.p.Conds[b]
	switch {
	case a == b:
		return a
	case y.Op == program.Const:
		return l.joinConst(op, y, b, a)
	case x.Op == program.Const:
		return l.joinConst(op, x, a, b)
	case x.Op == program.In && y.Op == program.In && x.A == y.A:
		return l.in(x.A, func(v uint32) bool {
			inX, inY := has(l.p.Sets[x.B], v), has(l.p.Sets[y.B], v)
			return inX && inY || op == program.Or && (inX || inY)
		})
	}
	return l.cond(program.Cond{Op: op, L: a, R: b})
}

// joinConst joins a constant with another condition: it decides, or it does
// not matter.
func (l *lowerer) joinConst(op program.CondOp, constant program.Cond, c, other int32) int32 {
	if (constant.A == 1) == (op == program.Or) {
		return c
	}
	return other
}

func has(set []uint32, v uint32) bool { return set[v/32]>>(v%32)&1 == 1 }
