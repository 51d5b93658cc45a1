package timecode

import (
	"fmt"
	"strconv"
)

// SecondsPerDay is how many seconds a clock shows from midnight to midnight.
const SecondsPerDay = 24 * 60 * 60

// ParseClock reads a time of the day, "HH:MM:SS", and gives the seconds that a
// clock shows since midnight, from 0 to SecondsPerDay-1. The error is a
// *Mistake.
func ParseClock(text string) (int64, error) {
	if len(text) != len("00:00:00") || text[2] != ':' || text[5] != ':' || !number(text[:2]+text[3:5]+text[6:]) {
		return 0, &Mistake{What: fmt.Sprintf("`%s` is not a time of the day; those are like `19:30:00`", text)}
	}
	var field [3]int64
	for i := range field {
		field[i], _ = strconv.ParseInt(text[3*i:3*i+2], 10, 64)
	}
	for i, name := range [3]string{"hours", "minutes", "seconds"} {
		if limit := [3]int64{24, 60, 60}[i]; field[i] >= limit {
			m := &Mistake{What: fmt.Sprintf("`%s` has %d %s; they go from 00 to %02d", text, field[i], name, limit-1)}
			if text == "24:00:00" {
				m.Write = []string{"00:00:00"}
			}
			return 0, m
		}
	}
	return (field[0]*60+field[1])*60 + field[2], nil
}

// Clock writes seconds since midnight as "HH:MM:SS".
func Clock(seconds int64) string {
	return fmt.Sprintf("%02d:%02d:%02d", seconds/3600, seconds/60%60, seconds%60)
}

// Code is the rate of the timecode that runs beside pictures of rate r: LTC and
// MIDI Time Code have no labels beyond 30 in a second, so at 50, 59.94 and 60
// one label stands for two pictures (SMPTE ST 12-1, frame pairs).
func (r Rate) Code() Rate {
	if r.Nominal() > 30 {
		r.Num /= 2
	}
	return r
}
