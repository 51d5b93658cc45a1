package timecode

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

func rate(t interface{ Fatalf(string, ...any) }, text string) Rate {
	r, ok := ParseRate(text)
	if !ok {
		t.Fatalf("no rate %s", text)
	}
	return r
}

// Every label of a day, one a line. Source: SMPTE ST 12-1 drop-frame counting,
// the digests agreed on by the implementations named (C library libltc, npm
// smpte-timecode) and a formula.
func TestEveryLabelOfTheDay(t *testing.T) {
	for _, day := range []struct {
		rate   string
		frames int64
		digest string
	}{
		{"29.97df", 2589408, "bbf838324cc97798b79d8ef820bc63a106e9e2f4c6d8236bd96930b4f77adc80"}, // libltc, smpte-timecode, formula
		{"59.94df", 5178816, "6396f440a0e4464f3b0a9ae6f1e154fa43eeea0c879657884455e4ceb3091d13"}, // smpte-timecode, formula
		{"24", 2073600, "85a2d5539317c7207252a340937af6ad42c4d30b7efc54e476325931ace1bdef"},      // libltc, formula
		{"25", 2160000, "aabffb6157c181394563d5880f615c7d27bd66f537ea49834c2384b5cf3d1b89"},      // libltc, smpte-timecode, formula
		{"30", 2592000, "dadf3597af0db8345ec201f110ec8eb53f61e24cb4fca391ace5781f67f329dc"},      // libltc, formula
		{"29.97", 2592000, "dadf3597af0db8345ec201f110ec8eb53f61e24cb4fca391ace5781f67f329dc"},   // labels count as at 30
		{"50", 4320000, "fd2241fd250f32caa30859eff94a60c38aea26994794e29132e647d7c1c273fc"},      // smpte-timecode, formula
	} {
		t.Run(day.rate, func(t *testing.T) {
			r := rate(t, day.rate)
			if r.FramesPerDay() != day.frames {
				t.Fatalf("%d frames a day, want %d", r.FramesPerDay(), day.frames)
			}
			sum := sha256.New()
			for f := range day.frames {
				fmt.Fprintln(sum, r.Label(f))
			}
			if got := fmt.Sprintf("%x", sum.Sum(nil)); got != day.digest {
				t.Errorf("labels have digest %s, want %s", got, day.digest)
			}
			if r.Label(day.frames) != r.Label(0) || r.Label(-1) != r.Label(day.frames-1) {
				t.Error("the day does not wrap")
			}
		})
	}
}

// Single frames; source as above.
func TestLabels(t *testing.T) {
	for _, c := range []struct {
		rate  string
		frame int64
		label string
	}{
		{"29.97df", 0, "00:00:00;00"}, {"29.97df", 1799, "00:00:59;29"}, {"29.97df", 1800, "00:01:00;02"},
		{"29.97df", 3597, "00:01:59;29"}, {"29.97df", 3598, "00:02:00;02"}, {"29.97df", 17981, "00:09:59;29"},
		{"29.97df", 17982, "00:10:00;00"}, {"29.97df", 19782, "00:11:00;02"}, {"29.97df", 107892, "01:00:00;00"},
		{"29.97df", 2589407, "23:59:59;29"},
		{"59.94df", 3599, "00:00:59;59"}, {"59.94df", 3600, "00:01:00;04"}, {"59.94df", 7195, "00:01:59;59"},
		{"59.94df", 7196, "00:02:00;04"}, {"59.94df", 35963, "00:09:59;59"}, {"59.94df", 35964, "00:10:00;00"},
		{"59.94df", 39564, "00:11:00;04"}, {"59.94df", 215784, "01:00:00;00"}, {"59.94df", 5178815, "23:59:59;59"},
		{"25", 1499, "00:00:59:24"}, {"25", 1500, "00:01:00:00"}, {"25", 90000, "01:00:00:00"},
		{"25", 900024, "10:00:00:24"}, {"25", 2159999, "23:59:59:24"}, {"24", 1440, "00:01:00:00"},
		{"30", 108000, "01:00:00:00"}, {"29.97", 108000, "01:00:00:00"}, {"50", 180049, "01:00:00:49"},
	} {
		r := rate(t, c.rate)
		if got := r.Label(c.frame); got != c.label {
			t.Errorf("%s: frame %d is %s, want %s", c.rate, c.frame, got, c.label)
		}
		if got, err := r.ParseLabel(c.label); err != nil || got != c.frame {
			t.Errorf("%s: %s is frame %d (%v), want %d", c.rate, c.label, got, err, c.frame)
		}
	}
}

// The labels that smpte-timecode refuses too, and what we say.
func TestLabelMistakes(t *testing.T) {
	for _, c := range []struct{ rate, label, says string }{
		{"29.97df", "00:01:00;00", "`00:01:00;00` is a number that 29.97df leaves out: write `00:00:59;29` or `00:01:00;02`"},
		{"29.97df", "00:01:00;01", "`00:01:00;01` is a number that 29.97df leaves out: write `00:00:59;29` or `00:01:00;02`"},
		{"59.94df", "00:01:00;03", "`00:01:00;03` is a number that 59.94df leaves out: write `00:00:59;59` or `00:01:00;04`"},
		{"25", "00:00:00:25", "`00:00:00:25` has 25 frames; they go from 00 to 24 at 25"},
		{"25", "24:00:00:00", "`24:00:00:00` has 24 hours; they go from 00 to 23 at 25"},
		{"25", "00:00:00;10", "25 counts every frame, so its timecodes have `:` before the frames, and `00:00:00;10` has `;`: write `00:00:00:10`"},
		{"29.97df", "00:00:05:12", "29.97df drops frame numbers, so its timecodes have `;` before the frames, and `00:00:05:12` has `:`: write `00:00:05;12`"},
		{"25", "0:0:0:0", "`0:0:0:0` is not a timecode: write `00:00:00:00`"},
	} {
		_, err := rate(t, c.rate).ParseLabel(c.label)
		var m *Mistake
		if !errors.As(err, &m) || err.Error() != c.says {
			t.Errorf("%s at %s: %v\nwant %s", c.label, c.rate, err, c.says)
		}
	}
}

func anyRate(t *rapid.T) Rate { return rate(t, rapid.SampledFrom(Rates()).Draw(t, "rate")) }

func TestLabelRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRate(t)
		frame := rapid.Int64Range(0, r.FramesPerDay()-1).Draw(t, "frame")
		if back, err := r.ParseLabel(r.Label(frame)); err != nil || back != frame {
			t.Fatalf("%s: frame %d is %s, read back as %d (%v)", r, frame, r.Label(frame), back, err)
		}
	})
}

// An offered label can always be read at that rate.
func TestOfferedLabelsAreRight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := anyRate(t)
		text := fmt.Sprintf("%02d:%02d:%02d%s%02d", rapid.IntRange(0, 30).Draw(t, "h"), rapid.IntRange(0, 61).Draw(t, "m"),
			rapid.IntRange(0, 1).Draw(t, "s"), rapid.SampledFrom([]string{":", ";"}).Draw(t, "mark"), rapid.IntRange(0, 61).Draw(t, "f"))
		_, err := r.ParseLabel(text)
		var m *Mistake
		if !errors.As(err, &m) || text[8:9] != map[bool]string{true: ";", false: ":"}[r.Drop] {
			return
		}
		for _, offer := range m.Write {
			if _, err := r.ParseLabel(offer); err != nil {
				t.Fatalf("%s at %s: offered %s, but %v", text, r, offer, err)
			}
		}
	})
}

func FuzzDuration(f *testing.F) {
	for _, seed := range []string{"12f", "500ms", "1.5s", "2m", "00:00:05:12", "00:01:00;00", "9999999999999999999999s", "-1s", "..s"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, name := range Rates() {
			m, err := rate(t, name).Duration(text)
			if m < 0 || m > Day || err != nil && m != 0 {
				t.Errorf("%q at %s is %d µs, %v", text, name, m, err)
			}
		}
	})
}

func BenchmarkLabel(b *testing.B) {
	r := rate(b, "29.97df")
	for i := range b.N {
		r.Label(int64(i))
	}
}
