package daytime

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The changes are those of the IANA time zone database: Europe/Vienna by
// directive 2000/84/EC (last Sundays of March and October, 01:00 UTC); Lord
// Howe goes by half an hour; São Paulo's summer began at midnight; Samoa left
// out 30 December 2011.
func TestOn(t *testing.T) {
	for _, c := range []struct{ zone, day, clock, want string }{
		{"Europe/Vienna", "2026-07-04", "19:30:00", "2026-07-04T17:30:00Z"},
		{"Europe/Vienna", "2026-01-04", "19:30:00", "2026-01-04T18:30:00Z"},
		{"UTC", "2026-07-04", "00:00:00", "2026-07-04T00:00:00Z"},

		{"Europe/Vienna", "2026-03-29", "01:59:59", "2026-03-29T00:59:59Z"},
		{"Europe/Vienna", "2026-03-29", "02:00:00", "2026-03-29T01:00:00Z"}, // left out: when clocks go forward
		{"Europe/Vienna", "2026-03-29", "02:30:00", "2026-03-29T01:00:00Z"},
		{"Europe/Vienna", "2026-03-29", "03:00:00", "2026-03-29T01:00:00Z"},
		{"Europe/Vienna", "2026-03-29", "03:00:01", "2026-03-29T01:00:01Z"},

		{"Europe/Vienna", "2026-10-25", "02:30:00", "2026-10-25T00:30:00Z"}, // twice: the first time
		{"Europe/Vienna", "2026-10-25", "02:00:00", "2026-10-25T00:00:00Z"},
		{"Europe/Vienna", "2026-10-25", "03:00:00", "2026-10-25T02:00:00Z"},

		{"Australia/Lord_Howe", "2025-10-05", "02:15:00", "2025-10-04T15:30:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", "01:45:00", "2026-04-04T14:45:00Z"},
		{"America/Sao_Paulo", "2017-10-15", "00:00:00", "2017-10-15T03:00:00Z"}, // the day began at 01:00
		{"America/Sao_Paulo", "2018-02-17", "23:30:00", "2018-02-18T01:30:00Z"}, // 23:00 to midnight twice
		{"America/Sao_Paulo", "2018-02-18", "00:00:00", "2018-02-18T03:00:00Z"},
		{"Pacific/Apia", "2011-12-30", "12:00:00", "never"},
		{"Pacific/Apia", "2011-12-31", "12:00:00", "2011-12-30T22:00:00Z"},
	} {
		day, err := time.Parse(time.DateOnly, c.day)
		if err != nil {
			t.Fatal(err)
		}
		clock, err := time.Parse(time.TimeOnly, c.clock)
		if err != nil {
			t.Fatal(err)
		}
		got := "never"
		if at, ok := On(day.Year(), day.Month(), day.Day(), seconds(clock), zone(t, c.zone)); ok {
			got = at.UTC().Format(time.RFC3339)
		}
		if got != c.want {
			t.Errorf("%s on %s in %s comes at %s, want %s", c.clock, c.day, c.zone, got, c.want)
		}
	}
}

func seconds(t time.Time) int64 { return int64(t.Hour()*3600 + t.Minute()*60 + t.Second()) }

// On is what it says: looked for second by second, the first of the day that
// shows the time or a later one is the same.
func TestOnIsTheFirst(t *testing.T) {
	zones := []string{"Europe/Vienna", "America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "Pacific/Apia", "Asia/Kathmandu", "Africa/Casablanca"}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(zones).Draw(t, "zone")
		z, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		near := time.Unix(rapid.Int64Range(1_300_000_000, 1_900_000_000).Draw(t, "near"), 0).In(z)
		if _, end := near.ZoneBounds(); !end.IsZero() && rapid.Bool().Draw(t, "at a change") {
			near = end.Add(time.Duration(rapid.IntRange(-20, 20).Draw(t, "hours")) * time.Hour)
		}
		year, month, day := near.Date()
		want := int64(rapid.IntRange(0, 86_399).Draw(t, "seconds"))
		from := time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() - 26*3600
		found := "never"
		for at := from; at < from+3*86_400; at++ {
			m := time.Unix(at, 0).In(z)
			if y, mo, d := m.Date(); y == year && mo == month && d == day && seconds(m) >= want {
				found = fmt.Sprint(at)
				break
			}
		}
		got := "never"
		if at, ok := On(year, month, day, want, z); ok {
			got = fmt.Sprint(at.Unix())
		}
		if got != found {
			t.Fatalf("%d seconds into %d-%d-%d in %s: %s, looked for: %s", want, year, month, day, name, got, found)
		}
	})
}

// After is later, and at most a day and a change of the clocks so.
func TestAfter(t *testing.T) {
	z := zone(t, "Europe/Vienna")
	at := time.Date(2026, 3, 27, 2, 30, 0, 0, z)
	var days []string
	for range 4 {
		at = After(at, 2*3600+1800, z)
		days = append(days, at.Format(time.DateTime))
	}
	want := []string{"2026-03-28 02:30:00", "2026-03-29 03:00:00", "2026-03-30 02:30:00", "2026-03-31 02:30:00"}
	if fmt.Sprint(days) != fmt.Sprint(want) {
		t.Errorf("it comes at %q, want %q", days, want)
	}
	if next := After(time.Date(2011, 12, 29, 13, 0, 0, 0, zone(t, "Pacific/Apia")), 12*3600, zone(t, "Pacific/Apia")); next.Format(time.DateOnly) != "2011-12-31" {
		t.Errorf("after noon of 29 December 2011 in Samoa noon comes on %s", next.Format(time.DateOnly))
	}
}

func BenchmarkAfter(b *testing.B) {
	z := zone(b, "Europe/Vienna")
	t := time.Date(2026, 7, 4, 12, 0, 0, 0, z)
	for b.Loop() {
		After(t, 19*3600+1800, z)
	}
}
