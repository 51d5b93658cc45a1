package signal

import "math/bits"

// Set is a set of pictures: a bit for each of Program.Sources. A Set that a
// Graph hands out belongs to it and is good until its next Look.
type Set []uint64

// Has says whether source i is in the set; no set has a source below 0.
func (s Set) Has(i int32) bool {
	return i >= 0 && int(i>>6) < len(s) && s[i>>6]>>(i&63)&1 != 0
}

// Len is the number of sources in the set.
func (s Set) Len() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// Each calls f with every source of the set, in rising order, until f says
// false.
func (s Set) Each(f func(source int32) bool) {
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			if !f(int32(i*64 + bits.TrailingZeros64(w))) {
				return
			}
		}
	}
}

// Equal says whether two sets hold the same sources.
func (s Set) Equal(t Set) bool {
	if len(s) < len(t) {
		s, t = t, s
	}
	for i, w := range s {
		if i < len(t) && w != t[i] || i >= len(t) && w != 0 {
			return false
		}
	}
	return true
}

// Intersects says whether a source is in both sets.
func (s Set) Intersects(t Set) bool {
	for i := range min(len(s), len(t)) {
		if s[i]&t[i] != 0 {
			return true
		}
	}
	return false
}

func (s Set) add(i int32) {
	if i >= 0 {
		s[i>>6] |= 1 << (i & 63)
	}
}

func (s Set) addAll(t Set) {
	for i, w := range t {
		s[i] |= w
	}
}
