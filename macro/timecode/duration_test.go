package timecode

import (
	"math/big"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestRates(t *testing.T) {
	want := []string{"24", "25", "29.97", "29.97df", "30", "50", "59.94", "59.94df", "60"}
	if !slices.Equal(Rates(), want) {
		t.Errorf("rates are %q", Rates())
	}
	for text, nominal := range map[string]int{"24": 24, "29.97": 30, "29.97df": 30, "59.94df": 60, "60": 60} {
		r := rate(t, text)
		if r.String() != text || r.Nominal() != nominal {
			t.Errorf("%s reads back as %s, %d labels a second", text, r, r.Nominal())
		}
	}
	for _, text := range []string{"", "23", "29.97 df", "30df", "25.0"} {
		if _, ok := ParseRate(text); ok {
			t.Errorf("%q passes as a rate", text)
		}
	}
}

func TestDuration(t *testing.T) {
	for _, c := range []struct {
		rate, text string
		micros     Micros
	}{
		{"50", "12f", 240_000},
		{"50", "500ms", 500_000},
		{"50", "1.5s", 1_500_000},
		{"50", "2m", 120_000_000},
		{"25", "00:00:05:12", 5_480_000},
		{"25", "0f", 0},
		{"24", "1f", 41_667},          // 41 666.67
		{"29.97", "1f", 33_367},       // 33 366.67
		{"29.97df", "30f", 1_001_000}, // exact: 30 * 1001/30
		{"29.97df", "00:00:05;12", 5_405_400},
		{"29.97df", "00:01:00;02", 60_060_000},  // 1800 frames
		{"29.97", "01:00:00:00", 3_603_600_000}, // 3603.6 s: SMPTE ST 12-1, non-drop drift
		{"25", "0.0000005s", 1},
		{"25", "0.0000004s", 0},
		{"25", "24m", 1_440_000_000},
		{"25", "1440m", Day},
		{"25", "2160000f", Day},
	} {
		if got, err := rate(t, c.rate).Duration(c.text); err != nil || got != c.micros {
			t.Errorf("%s at %s is %d µs (%v), want %d", c.text, c.rate, got, err, c.micros)
		}
	}
}

func TestDurationMistakes(t *testing.T) {
	for _, c := range []struct{ rate, text, says string }{
		{"50", "", "`` is not a time; times are like `12f`, `500ms`, `1.5s`, `2m` or a timecode"},
		{"50", "soon", "`soon` is not a time; times are like `12f`, `500ms`, `1.5s`, `2m` or a timecode"},
		{"50", "12", "`12` is not a time; times are like `12f`, `500ms`, `1.5s`, `2m` or a timecode: write `12s` or `12f`"},
		{"50", "1.s", "`1.s` is not a time; times are like `12f`, `500ms`, `1.5s`, `2m` or a timecode"},
		{"50", "1.5f", "`1.5f` is not a whole number of frames"},
		{"50", "-3s", "`-3s` is less than no time"},
		{"50", "1441m", "`1441m` is longer than a day"},
		{"50", "1440.0001m", "`1440.0001m` is longer than a day"},
		{"50", "99999999999999999999f", "`99999999999999999999f` is longer than a day"},
		{"29.97", "23:59:59:29", "`23:59:59:29` is longer than a day"}, // 86 486.4 s
		{"29.97df", "00:01:00;00", "`00:01:00;00` is a number that 29.97df leaves out: write `00:00:59;29` or `00:01:00;02`"},
	} {
		if got, err := rate(t, c.rate).Duration(c.text); err == nil || err.Error() != c.says {
			t.Errorf("%q at %s: %d, %v\nwant %s", c.text, c.rate, got, err, c.says)
		}
	}
}

// Frames and ToFrames against rational arithmetic of any size.
func TestRoundedOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRate(t)
		n := rapid.Int64Range(-1<<40, 1<<40).Draw(t, "n")
		exact := big.NewRat(n*int64(r.Den), int64(r.Num))
		exact.Mul(exact, big.NewRat(second, 1))
		if got := int64(r.Frames(n)); got != nearest(exact) {
			t.Fatalf("%d frames at %s are %d µs, want %d", n, r, got, nearest(exact))
		}
		if got := r.ToFrames(Micros(n)); got != nearest(big.NewRat(n, 1).Mul(big.NewRat(n, second), big.NewRat(int64(r.Num), int64(r.Den)))) {
			t.Fatalf("%d µs at %s are %d frames", n, r, got)
		}
		if r.ToFrames(r.Frames(n)) != n {
			t.Fatalf("%d frames at %s do not come back", n, r)
		}
	})
}

// nearest rounds half away from zero.
func nearest(x *big.Rat) int64 {
	two := big.NewInt(2)
	n := new(big.Int).Mul(new(big.Int).Abs(x.Num()), two)
	n.Add(n, x.Denom()).Quo(n, new(big.Int).Mul(x.Denom(), two))
	return int64(x.Sign()) * n.Int64()
}

// A day of drop-frame labels is 86 399.9136 s long (SMPTE ST 12-1 drift).
func TestDropFrameDrift(t *testing.T) {
	r := rate(t, "29.97df")
	if got := r.Frames(r.FramesPerDay()); got != 86_399_913_600 {
		t.Errorf("a day of labels is %d µs", got)
	}
}
