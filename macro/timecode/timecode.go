// Package timecode is rates, durations and SMPTE ST 12-1 labels.
//
// All arithmetic is exact: a rate is a fraction, a duration is whole
// microseconds, and a conversion rounds once. Nothing here reads a clock.
package timecode

import "fmt"

// Rate is a frame rate: Num/Den frames in a second, and whether its labels
// drop frame numbers.
type Rate struct {
	Num, Den int32
	Drop     bool
}

// Micros is a time or a duration in microseconds.
type Micros int64

// Day is the longest duration that can be written: 24 hours.
const Day Micros = 24 * 60 * 60 * second

const second = 1_000_000

// rates are the rates that a plan can name. The fractions with 1001 are those
// of SMPTE ST 12-1 (30 000/1001 and 60 000/1001).
var rates = []struct {
	text string
	rate Rate
}{
	{"24", Rate{24, 1, false}},
	{"25", Rate{25, 1, false}},
	{"29.97", Rate{30000, 1001, false}},
	{"29.97df", Rate{30000, 1001, true}},
	{"30", Rate{30, 1, false}},
	{"50", Rate{50, 1, false}},
	{"59.94", Rate{60000, 1001, false}},
	{"59.94df", Rate{60000, 1001, true}},
	{"60", Rate{60, 1, false}},
}

// ParseRate reads a rate as a plan writes it: one of Rates.
func ParseRate(text string) (Rate, bool) {
	for _, r := range rates {
		if r.text == text {
			return r.rate, true
		}
	}
	return Rate{}, false
}

// Rates lists the rates that ParseRate knows, slowest first.
func Rates() []string {
	var all []string
	for _, r := range rates {
		all = append(all, r.text)
	}
	return all
}

// String is the rate as a plan writes it.
func (r Rate) String() string {
	for _, known := range rates {
		if known.rate == r {
			return known.text
		}
	}
	return fmt.Sprintf("%d/%d", r.Num, r.Den)
}

// Nominal is the number of frame labels in a label second: 30 for 29.97.
func (r Rate) Nominal() int { return int((r.Num + r.Den - 1) / r.Den) }

// Frames is how long n frames last, rounded once to the nearest microsecond
// (half a microsecond away from zero). It is exact for every n whose result
// fits Micros.
func (r Rate) Frames(n int64) Micros {
	return Micros(scale(n, int64(r.Den)*second, int64(r.Num)))
}

// ToFrames is the whole number of frames nearest to m, half a frame counting
// as one.
func (r Rate) ToFrames(m Micros) int64 {
	return scale(int64(m), int64(r.Num), int64(r.Den)*second)
}

// scale is n*mul/div rounded to the nearest, without n*mul ever being formed:
// whole divs are taken out of n first.
func scale(n, mul, div int64) int64 {
	half := div
	if n < 0 {
		half = -div
	}
	return n/div*mul + (n%div*mul*2+half)/(2*div)
}
