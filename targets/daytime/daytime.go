// Package daytime says when a time of the day comes, in a time zone with its
// changes.
//
// A time of the day comes once a day at most: at the first moment of the day at
// which the clocks of the zone show it or later. So a time that comes twice,
// when clocks are set back, comes the first time; one that is left out, when
// they are set forward, comes at the moment when they are; and on a day that a
// zone leaves out altogether none comes.
package daytime

import "time"

// On is the moment at which the clocks of a zone come to so many seconds since
// midnight on a day. It says false when they do not.
func On(year int, month time.Month, day int, seconds int64, zone *time.Location) (time.Time, bool) {
	shown := time.Date(year, month, day, 0, 0, int(seconds), 0, time.UTC).Unix() // as if the zone were UTC
	const widest = 26 * 60 * 60                                                  // no zone is further from UTC
	for at := time.Unix(shown-widest, 0).In(zone); ; {
		start, end := at.ZoneBounds()
		_, offset := at.Zone()
		first := shown - int64(offset)
		if !start.IsZero() {
			first = max(first, start.Unix())
		}
		if end.IsZero() || first < end.Unix() {
			moment := time.Unix(first, 0).In(zone)
			if y, m, d := moment.Date(); y == year && m == month && d == day {
				return moment, true
			}
		}
		if end.IsZero() || end.Unix() > shown+widest {
			return time.Time{}, false
		}
		at = end
	}
}

// After is the first moment after t at which the clocks of a zone come to so
// many seconds since midnight.
func After(t time.Time, seconds int64, zone *time.Location) time.Time {
	year, month, day := t.In(zone).Date()
	for n := -1; ; n++ { // from the day before: a zone may go back over midnight
		y, m, d := time.Date(year, month, day+n, 12, 0, 0, 0, time.UTC).Date()
		if at, ok := On(y, m, d, seconds, zone); ok && at.After(t) {
			return at
		}
	}
}
