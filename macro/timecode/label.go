package timecode

import (
	"fmt"
	"strings"
)

// Mistake is what is wrong with a time that somebody wrote, in their words.
// Write are the texts that they may have meant, nearest first; it may be empty.
type Mistake struct {
	What  string
	Write []string
}

// Error is What, and what to write instead.
func (m *Mistake) Error() string {
	if len(m.Write) == 0 {
		return m.What
	}
	return m.What + ": write `" + strings.Join(m.Write, "` or `") + "`"
}

// drop is how many labels are left out at the start of a minute (SMPTE ST
// 12-1: two at 29.97, four at 59.94, none in every tenth minute).
func (r Rate) drop() int64 {
	if !r.Drop {
		return 0
	}
	return int64(r.Nominal()) / 15
}

// FramesPerDay is the number of labels from 00:00:00:00 until they repeat.
func (r Rate) FramesPerDay() int64 { return 144 * r.framesPerTen() }

// framesPerTen is the number of frames in ten label minutes.
func (r Rate) framesPerTen() int64 { return 600*int64(r.Nominal()) - 9*r.drop() }

// Label is the timecode of a frame counted from 0, "HH:MM:SS:FF", or
// "HH:MM:SS;FF" at a drop-frame rate. It wraps at 24 hours, both ways.
func (r Rate) Label(frame int64) string {
	day, nominal, drop := r.FramesPerDay(), int64(r.Nominal()), r.drop()
	frame = (frame%day + day) % day
	// Count the labels left out before this frame, and number as if none were.
	tens, rest := frame/r.framesPerTen(), frame%r.framesPerTen()
	frame += 9 * drop * tens
	if minute := 60*nominal - drop; rest >= 60*nominal {
		frame += drop * (1 + (rest-60*nominal)/minute)
	}
	seconds := frame / nominal
	b := []byte("00:00:00:00")
	put(b, 0, seconds/3600)
	put(b, 3, seconds/60%60)
	put(b, 6, seconds%60)
	put(b, 9, frame%nominal)
	if r.Drop {
		b[8] = ';'
	}
	return string(b)
}

// put writes two digits.
func put(b []byte, at int, n int64) { b[at], b[at+1] = byte('0'+n/10), byte('0'+n%10) }

// ParseLabel reads a timecode of this rate and gives the frame, from 0. The
// error is a *Mistake: a field out of range, the separator of the other kind
// of rate, or a number that drop-frame leaves out, with its neighbours.
func (r Rate) ParseLabel(text string) (frame int64, err error) {
	field, shape := split(text)
	if !shape {
		return 0, &Mistake{fmt.Sprintf("`%s` is not a timecode", text), []string{r.Label(0)}}
	}
	if drops := text[8] == ';'; drops != r.Drop {
		return 0, r.otherSeparator(text)
	}
	nominal, drop := int64(r.Nominal()), r.drop()
	limits := [4]int64{24, 60, 60, nominal}
	for i, name := range [4]string{"hours", "minutes", "seconds", "frames"} {
		if field[i] >= limits[i] {
			return 0, &Mistake{What: fmt.Sprintf("`%s` has %d %s; they go from 00 to %02d at %s",
				text, field[i], name, limits[i]-1, r)}
		}
	}
	minutes := 60*field[0] + field[1]
	frame = (60*minutes+field[2])*nominal + field[3] - drop*(minutes-minutes/10)
	if minutes%10 != 0 && field[2] == 0 && field[3] < drop {
		next := frame - field[3] + drop
		return 0, &Mistake{fmt.Sprintf("`%s` is a number that %s leaves out", text, r),
			[]string{r.Label(next - 1), r.Label(next)}}
	}
	return frame, nil
}

// otherSeparator is the mistake of writing a drop-frame timecode for a rate
// that drops nothing, or the other way round.
func (r Rate) otherSeparator(text string) *Mistake {
	right, says := ":", "counts every frame, so its timecodes have `:` before the frames"
	if r.Drop {
		right, says = ";", "drops frame numbers, so its timecodes have `;` before the frames"
	}
	return &Mistake{fmt.Sprintf("%s %s, and `%s` has `%s`", r, says, text, text[8:9]), []string{text[:8] + right + text[9:]}}
}

// split takes "HH:MM:SS:FF" or "HH:MM:SS;FF" apart, and says whether it is one.
func split(text string) (field [4]int64, ok bool) {
	if len(text) != 11 || text[2] != ':' || text[5] != ':' || text[8] != ':' && text[8] != ';' {
		return field, false
	}
	for i := range field {
		tens, ones := text[3*i]-'0', text[3*i+1]-'0'
		if tens > 9 || ones > 9 {
			return field, false
		}
		field[i] = int64(tens)*10 + int64(ones)
	}
	return field, true
}
