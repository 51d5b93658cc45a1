package explore

import stdbits "math/bits"

// found is the states that a search has found, in the order of their finding.
// A small space has a bit for each of its states, a large one an
// open-addressing table of indexes.
type found struct {
	words  int
	states []uint64
	dense  []uint64
	table  []uint32 // index+1, 0 is free
	shift  uint
}

// densest is the number of bits of a state up to which there is a bit for
// each: 2^27 bits are 16 MB.
const densest = 27

func newFound(words, size int) *found {
	f := &found{words: words}
	if words == 1 && size <= densest {
		f.dense = make([]uint64, (1<<size+63)/64)
		return f
	}
	f.table = make([]uint32, 1<<10)
	f.shift = 64 - 10
	return f
}

func (f *found) len() int          { return len(f.states) / f.words }
func (f *found) at(i int) []uint64 { return f.states[i*f.words : (i+1)*f.words : (i+1)*f.words] }
func (f *found) bytes() int64      { return int64(8*cap(f.states) + 8*len(f.dense) + 4*len(f.table)) }
func hash(words []uint64) uint64 {
	h := uint64(0x9e3779b97f4a7c15)
	for _, w := range words { // multiply and fold, as in wyhash (public domain)
		hi, lo := stdbits.Mul64(h^w, 0xa0761d6478bd642f)
		h = hi ^ lo ^ 0x9e3779b97f4a7c15
	}
	return h * 0xe7037ed1a0b428db
}

// add adds a state and says whether it is new.
func (f *found) add(words []uint64) bool {
	if f.dense != nil {
		w, bit := words[0]>>6, uint64(1)<<(words[0]&63)
		if f.dense[w]&bit != 0 {
			return false
		}
		f.dense[w] |= bit
		f.states = append(f.states, words[0])
		return true
	}
	slot := f.slot(words)
	if f.table[slot] != 0 {
		return false
	}
	f.states = append(f.states, words...)
	f.table[slot] = uint32(f.len())
	if f.len()*3 > len(f.table)*2 {
		f.double()
	}
	return true
}

// index is where a state is, or -1.
func (f *found) index(words []uint64) int {
	if f.dense != nil {
		if f.dense[words[0]>>6]>>(words[0]&63)&1 == 0 {
			return -1
		}
		return 0
	}
	return int(f.table[f.slot(words)]) - 1
}

// slot is the slot of a state, or the free one where it would be.
func (f *found) slot(words []uint64) uint64 {
	mask := uint64(len(f.table) - 1)
	slot := hash(words) >> f.shift
	for {
		i := f.table[slot]
		if i == 0 || f.equal(int(i-1), words) {
			return slot
		}
		slot = (slot + 1) & mask
	}
}

func (f *found) equal(i int, words []uint64) bool {
	for w, v := range f.states[i*f.words : (i+1)*f.words] {
		if v != words[w] {
			return false
		}
	}
	return true
}

func (f *found) double() {
	f.table = make([]uint32, 2*len(f.table))
	f.shift--
	for i := range f.len() {
		f.table[f.slot(f.at(i))] = uint32(i + 1)
	}
}
