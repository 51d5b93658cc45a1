// Package timecode is rates, durations and SMPTE ST 12-1 labels.
package timecode

// Rate is a frame rate: Num/Den frames in a second, and whether its labels
// drop frame numbers.
type Rate struct {
	Num, Den int32
	Drop     bool
}

// Micros is a time or a duration in microseconds.
type Micros int64
