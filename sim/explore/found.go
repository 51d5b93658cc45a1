package explore

import (
	stdbits "math/bits"

	"cuewright/macro/bug"
)

// found is the states that a search has found, in the order of their finding.
// A small space has a bit for each of its states, a large one an
// open-addressing table of indexes.
type found struct {
	words  int
	n      int
	states [][]uint64 // pages of 1<<page states
	dense  []uint64
	table  []uint32 // index+1, 0 is free
	shift  uint
}

const (
	// densest is the number of bits of a state up to which there is a bit for
	// each: 2^27 bits are 16 MB.
	densest = 27
	// page is the binary logarithm of the states of a page. Pages are never
	// copied as a slice that grows is.
	page  = 12
	paged = 1<<page - 1
)

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

func (f *found) len() int { return f.n }

func (f *found) at(i int) []uint64 {
	from := (i & paged) * f.words
	return f.states[i>>page][from : from+f.words : from+f.words]
}

func (f *found) bytes() int64 {
	return int64(8*f.words*len(f.states)<<page + 8*len(f.dense) + 4*len(f.table))
}

// hash spreads a state over 64 bits: multiply and fold, as wyhash does.
func hash(words []uint64) uint64 {
	h := uint64(0x9e3779b97f4a7c15)
	for _, w := range words {
		hi, lo := stdbits.Mul64(h^w, 0xa0761d6478bd642f)
		h = hi ^ lo ^ 0x9e3779b97f4a7c15
	}
	return h * 0xe7037ed1a0b428db
}

// seek looks for a state that is about to be added, so that the memory it
// needs is on its way while others are sought.
func (f *found) seek(words []uint64, h uint64) uint64 {
	if f.dense != nil {
		return f.dense[words[0]>>6]
	}
	if i := f.table[h>>f.shift]; i != 0 {
		return f.at(int(i - 1))[0]
	}
	return 0
}

// add adds a state of a hash and says whether it is new.
func (f *found) add(words []uint64, h uint64) bool {
	if f.dense != nil {
		w, bit := words[0]>>6, uint64(1)<<(words[0]&63)
		if f.dense[w]&bit != 0 {
			return false
		}
		f.dense[w] |= bit
		f.push(words)
		return true
	}
	slot := f.slot(words, h)
	if f.table[slot] != 0 {
		return false
	}
	f.push(words)
	f.table[slot] = uint32(f.n)
	if f.n*3 > len(f.table)*2 {
		f.double()
	}
	return true
}

func (f *found) push(words []uint64) {
	if f.n&paged == 0 {
		f.states = append(f.states, make([]uint64, f.words<<page))
	}
	f.n++
	copy(f.at(f.n-1), words)
	if uint64(f.n) == 1<<32-1 {
		bug.Report("more states than an index can count")
	}
}

// slot is the slot of a state, or the free one where it would be.
func (f *found) slot(words []uint64, h uint64) uint64 {
	mask := uint64(len(f.table) - 1)
	slot := h >> f.shift
	for {
		i := f.table[slot]
		if i == 0 || f.equal(int(i-1), words) {
			return slot
		}
		slot = (slot + 1) & mask
	}
}

func (f *found) equal(i int, words []uint64) bool {
	for w, v := range f.at(i) {
		if v != words[w] {
			return false
		}
	}
	return true
}

func (f *found) double() {
	f.table = make([]uint32, 2*len(f.table))
	f.shift--
	mask := uint64(len(f.table) - 1)
	for i := range f.n {
		slot := hash(f.at(i)) >> f.shift
		for f.table[slot] != 0 {
			slot = (slot + 1) & mask
		}
		f.table[slot] = uint32(i + 1)
	}
}
