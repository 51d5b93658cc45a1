package timecode

import "testing"

func TestClock(t *testing.T) {
	for text, want := range map[string]int64{"00:00:00": 0, "00:00:59": 59, "19:30:00": 70_200, "23:59:59": SecondsPerDay - 1} {
		if got, err := ParseClock(text); err != nil || got != want || Clock(got) != text {
			t.Errorf("%s is %d (%v), which reads back as %s; want %d", text, got, err, Clock(got), want)
		}
	}
	for _, c := range []struct{ text, says string }{
		{"", "`` is not a time of the day; those are like `19:30:00`"},
		{"19:30", "`19:30` is not a time of the day; those are like `19:30:00`"},
		{"19:30:0a", "`19:30:0a` is not a time of the day; those are like `19:30:00`"},
		{"19.30.00", "`19.30.00` is not a time of the day; those are like `19:30:00`"},
		{"24:00:00", "`24:00:00` has 24 hours; they go from 00 to 23: write `00:00:00`"},
		{"25:00:00", "`25:00:00` has 25 hours; they go from 00 to 23"},
		{"19:60:00", "`19:60:00` has 60 minutes; they go from 00 to 59"},
		{"19:30:60", "`19:30:60` has 60 seconds; they go from 00 to 59"},
	} {
		if got, err := ParseClock(c.text); err == nil || err.Error() != c.says {
			t.Errorf("%q: %d, %v\nwant %s", c.text, got, err, c.says)
		}
	}
}

// A timecode has no more labels in a second than 30: LTC and MIDI Time Code (from
// memory, SMPTE ST 12-1 and MIDI 1.0), so half of 50, 59.94 and 60.
func TestCode(t *testing.T) {
	for rate, want := range map[string]string{"24": "24", "25": "25", "29.97": "29.97", "29.97df": "29.97df", "30": "30",
		"50": "25", "59.94": "29.97", "59.94df": "29.97df", "60": "30"} {
		r, _ := ParseRate(rate)
		if got := r.Code().String(); got != want {
			t.Errorf("the timecode beside %s is at %s, want %s", rate, got, want)
		}
	}
}
