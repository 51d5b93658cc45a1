package explore

import (
	stdbits "math/bits"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// space is where the variables of a slice are in the packed words that are
// searched. Beside the program's variables there is, with faults, a bit for
// each recorder that hangs in starting since it was full, and what is left of
// the budget of faults.
type space struct {
	fields []field
	of     []int32 // by variable: its field, or -1 outside the slice
	hangs  []int32 // by recorder: the field of its bit, or -1
	budget int32   // field, or -1
	words  int
	bits   int // in use
}

// field is the place of a variable: in no word when mask is 0.
type field struct {
	v     int32  // Program.Vars, or -1
	size  uint32 // its values are less
	word  int32
	shift uint8
	mask  uint64
	class []uint32 // by value: the number that stands for it; nil is the value itself
	reps  []uint32 // by number: a value
}

// number is what stands for a value, and value one that a number stands for.
func (f *field) number(value uint32) uint32 {
	if f.class == nil {
		return value
	}
	return f.class[value]
}

func (f *field) value(number uint32) uint32 {
	if f.class == nil {
		return number
	}
	return f.reps[number]
}

func (f *field) get(words []uint64) uint32 { return uint32(words[f.word] >> f.shift & f.mask) }

func (f *field) set(words []uint64, value uint32) {
	words[f.word] = words[f.word]&^(f.mask<<f.shift) | uint64(value)&f.mask<<f.shift
}

func newSpace(p *program.Program, vars []int32, t *tellings, faults int) *space {
	s := &space{of: make([]int32, len(p.Vars)), hangs: make([]int32, len(p.Recorders)), budget: -1}
	for i := range s.of {
		s.of[i] = -1
	}
	used := 64
	place := func(v int32, size uint32) int32 {
		need := stdbits.Len32(size - 1)
		if used+need > 64 {
			s.words++
			used = 0
		}
		s.fields = append(s.fields, field{v: v, size: size, word: int32(s.words - 1), shift: uint8(used), mask: 1<<need - 1})
		used += need
		s.bits += need
		return int32(len(s.fields) - 1)
	}
	for _, v := range vars {
		class, reps := t.classes(v)
		if class == nil {
			s.of[v] = place(v, p.Vars[v].Size)
			continue
		}
		s.of[v] = place(v, max(uint32(len(reps)), 2))
		s.fields[s.of[v]].class, s.fields[s.of[v]].reps = class, reps
	}
	for i := range p.Recorders {
		s.hangs[i] = -1
		if faults > 0 && s.of[p.Recorders[i].State] >= 0 {
			s.hangs[i] = place(-1, 2)
		}
	}
	if faults > 0 {
		s.budget = place(-1, uint32(faults)+1)
	}
	if s.words == 0 {
		s.words = 1
	}
	return s
}

// start packs the state at power-on.
func (s *space) start(p *program.Program, faults int) []uint64 {
	words := make([]uint64, s.words)
	for i := range s.fields {
		if f := &s.fields[i]; f.v >= 0 {
			f.set(words, f.number(p.Vars[f.v].Start))
		}
	}
	if s.budget >= 0 {
		s.fields[s.budget].set(words, uint32(faults))
	}
	return words
}

// unpack writes the variables of the slice into a state.
func (s *space) unpack(l *state.Layout, words []uint64, into *state.State) {
	for i := range s.fields {
		if f := &s.fields[i]; f.v >= 0 {
			l.Set(into, f.v, f.value(f.get(words)))
		}
	}
}
