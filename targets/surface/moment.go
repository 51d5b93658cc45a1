package surface

import (
	"fmt"
	"strings"
	"time"

	"cuewright/sim/story"
)

// ClockCue is a cue that fires by the clock.
type ClockCue struct {
	Cue int32     // Program.Cues
	At  string    // the time of the day, as the show has it
	Due time.Time // when that comes
}

// Left is how long it is from now until the cue is due: whole seconds, rounded
// up, at least 0.
func (c *ClockCue) Left(now time.Time) time.Duration {
	return max(0, (c.Due.Sub(now) + time.Second - 1).Truncate(time.Second))
}

// Code is what is known of the timecode. State is silent, still, locked, or
// coasting when it was heard a moment ago; "" where none is followed. Label is
// where it is, "" when nobody knows.
type Code struct {
	State string
	Label string
	Back  bool  // it runs backwards
	Next  int32 // the cue that it fires next, or -1
}

// DisarmedNumbers are the numbers of the cues that would fire by themselves and
// do not.
func (v *View) DisarmedNumbers() []string {
	var all []string
	for _, cue := range v.Disarmed {
		all = append(all, v.Program.Cues[cue].Number)
	}
	return all
}

// MomentOf is the moment of a cue, as the show has it.
func (v *View) MomentOf(cue int32) string { return story.MomentOf(v.Program, cue) }

// ByItself says in words what fires by the clock and the timecode: a line each,
// none where nothing does.
func (v *View) ByItself() []string {
	var lines []string
	cue := func(i int32) string {
		q := &v.Program.Cues[i]
		return fmt.Sprintf("cue %s %q at %s", q.Number, q.Label, v.MomentOf(i))
	}
	if v.Clock != nil {
		lines = append(lines, fmt.Sprintf("by the clock: %s, in %s", cue(v.Clock.Cue), Countdown(v.Clock.Left(v.At))))
	}
	if v.Code.State != "" || v.Code.Next >= 0 {
		line := "timecode: " + strings.TrimSpace(v.Code.State+" "+v.Code.Label)
		if v.Code.State == "" {
			line = "timecode: none is followed"
		}
		if v.Code.Back {
			line += ", backwards"
		}
		if v.Code.Next >= 0 {
			line += "; next is " + cue(v.Code.Next)
		}
		lines = append(lines, line)
	}
	if len(v.Disarmed) > 0 {
		lines = append(lines, "disarmed: "+strings.Join(v.DisarmedNumbers(), ", "))
	}
	return lines
}

// Countdown writes a time that is left: h:mm:ss.
func Countdown(left time.Duration) string {
	seconds := int64(left / time.Second)
	return fmt.Sprintf("%d:%02d:%02d", seconds/3600, seconds/60%60, seconds%60)
}
