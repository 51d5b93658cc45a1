package timecode

import (
	"fmt"
	"strings"
)

// units are the units of a duration, longest word first so that "ms" is not
// taken for "s".
var units = []struct {
	word   string
	micros int64
}{{"ms", 1000}, {"s", second}, {"m", 60 * second}}

// Duration reads `12f 500ms 1.5s 2m 00:00:05:12`: whole frames, or
// milliseconds, seconds or minutes with or without decimals, rounded to the
// nearest microsecond; a timecode is that many frames. From 0 to Day. The
// error is a *Mistake.
func (r Rate) Duration(text string) (Micros, error) {
	if strings.ContainsAny(text, ":;") {
		frame, err := r.ParseLabel(text)
		if err == nil && r.Frames(frame) > Day { // a late label of 29.97 or 59.94
			return 0, tooLong(text)
		}
		return r.Frames(frame), err
	}
	if strings.HasPrefix(text, "-") {
		return 0, &Mistake{What: fmt.Sprintf("`%s` is less than no time", text)}
	}
	if digits, frames := strings.CutSuffix(text, "f"); frames {
		whole, part, ok := decimal(digits)
		switch {
		case !ok:
			return 0, notATime(text)
		case part != 0:
			return 0, &Mistake{What: fmt.Sprintf("`%s` is not a whole number of frames", text)}
		case whole > r.ToFrames(Day):
			return 0, tooLong(text)
		}
		return r.Frames(whole), nil
	}
	for _, unit := range units {
		digits, ok := strings.CutSuffix(text, unit.word)
		if !ok {
			continue
		}
		whole, part, ok := decimal(digits)
		if !ok {
			return 0, notATime(text)
		}
		if whole > int64(Day)/unit.micros {
			return 0, tooLong(text)
		}
		m := Micros(whole*unit.micros + (part*unit.micros+billion/2)/billion)
		if m > Day {
			return 0, tooLong(text)
		}
		return m, nil
	}
	return 0, notATime(text)
}

const billion = 1_000_000_000

// decimal reads digits with at most one point among them: the whole number,
// and the rest in billionths; digits behind the ninth are too small to count.
// A whole number of more than 15 digits is read as 10^15.
func decimal(text string) (whole, part int64, ok bool) {
	digits, fraction, point := strings.Cut(text, ".")
	if digits == "" || point && fraction == "" || !number(digits) || !number(fraction) {
		return 0, 0, false
	}
	for _, d := range digits {
		whole = min(whole*10+int64(d-'0'), 1e15)
	}
	for i := range 9 {
		part *= 10
		if i < len(fraction) {
			part += int64(fraction[i] - '0')
		}
	}
	return whole, part, true
}

func number(text string) bool {
	for i := range len(text) {
		if text[i] < '0' || text[i] > '9' {
			return false
		}
	}
	return true
}

func notATime(text string) *Mistake {
	m := &Mistake{What: fmt.Sprintf("`%s` is not a time; times are like `12f`, `500ms`, `1.5s`, `2m` or a timecode", text)}
	if text != "" && number(text) && len(text) < 16 {
		m.Write = Units(text)
	}
	return m
}

// Units writes a number that has no unit as the times that it may mean, the
// likeliest first: nobody waits for hundreds of seconds in a show.
func Units(number string) []string {
	switch {
	case strings.Contains(number, "."):
		return []string{number + "s"}
	case len(strings.TrimLeft(number, "0")) > 2:
		return []string{number + "ms", number + "f", number + "s"}
	}
	return []string{number + "s", number + "f"}
}

func tooLong(text string) *Mistake {
	return &Mistake{What: fmt.Sprintf("`%s` is longer than a day", text)}
}
