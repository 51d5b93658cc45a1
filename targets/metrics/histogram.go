package metrics

import (
	"sync/atomic"
	"time"
)

// Histogram counts durations in ranges. It may be used from several
// goroutines, and costs two atomic additions an observation.
type Histogram struct {
	bounds []time.Duration
	counts []atomic.Uint64 // one more than bounds: what is longer than all
	sum    atomic.Int64    // nanoseconds
}

// NewHistogram has ranges that end at bounds, which rise, and one above.
func NewHistogram(bounds ...time.Duration) *Histogram {
	return &Histogram{bounds: bounds, counts: make([]atomic.Uint64, len(bounds)+1)}
}

// Observe counts a duration; one below zero counts as zero.
func (h *Histogram) Observe(d time.Duration) {
	i := 0
	for i < len(h.bounds) && d > h.bounds[i] {
		i++
	}
	h.counts[i].Add(1)
	h.sum.Add(int64(max(d, 0)))
}

// Read is what has been counted by now.
func (h *Histogram) Read() Spread {
	s := Spread{Bounds: h.bounds, Upto: make([]uint64, len(h.counts)), Sum: time.Duration(h.sum.Load())}
	total := uint64(0)
	for i := range h.counts {
		total += h.counts[i].Load()
		s.Upto[i] = total
	}
	return s
}

// Spread is a histogram at one moment. Upto[i] is how many durations were
// Bounds[i] or less; the last of Upto is how many there were.
type Spread struct {
	Bounds []time.Duration
	Upto   []uint64
	Sum    time.Duration
}

// Count is how many durations there were.
func (s Spread) Count() uint64 { return s.Upto[len(s.Upto)-1] }

// Longest is the end of the range that the longest duration is in; the end of
// the last range when it is longer than that, and 0 when there was none.
func (s Spread) Longest() time.Duration {
	for i, n := range s.Upto[:len(s.Bounds)] {
		if n == s.Count() {
			if n == 0 {
				return 0
			}
			return s.Bounds[i]
		}
	}
	return s.Bounds[len(s.Bounds)-1]
}
