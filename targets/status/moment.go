package status

import (
	"time"

	"cuewright/targets/metrics"
	"cuewright/targets/surface"
)

// Moment is a cue that fires by itself, and when, as the show has it; all ""
// where there is none.
type Moment struct {
	Cue
	At string `json:"at"`
}

// ClockCue is the cue that the clock fires next.
type ClockCue struct {
	Moment
	Due  time.Time `json:"due"`
	Left int64     `json:"left"` // until then
}

// Timecode is what is known of the timecode. State is silent, still, locked or
// coasting; "" where none is followed.
type Timecode struct {
	State string `json:"state"`
	Label string `json:"label"` // where it is, "" when nobody knows
	Back  bool   `json:"back"`
	Next  Moment `json:"next"`
}

func momentOf(v *surface.View, cue int32) Moment {
	if cue < 0 {
		return Moment{}
	}
	q := &v.Program.Cues[cue]
	return Moment{Cue{q.Number, q.Label}, v.MomentOf(cue)}
}

// moments adds what fires by itself, counted down to now: the view of a
// controller that hangs is old.
func (r *Report) moments(v *surface.View, now time.Time) {
	if c := v.Clock; c != nil {
		r.Clock = &ClockCue{momentOf(v, c.Cue), c.Due, max(c.Due.Sub(now), 0).Milliseconds()}
	}
	if v.Code.State != "" || v.Code.Next >= 0 {
		r.Timecode = &Timecode{v.Code.State, v.Code.Label, v.Code.Back, momentOf(v, v.Code.Next)}
	}
	r.Disarmed = append([]string{}, v.DisarmedNumbers()...)
	at := *v
	at.At = now
	r.ByItself = append([]string{}, at.ByItself()...)
}

func momentMetrics(w *metrics.Writer, v *surface.View) {
	if v.Clock != nil {
		w.Family("cuewright_clock_cue_due_seconds", metrics.Gauge, "When the clock fires a cue next, since 1970; absent when it fires none.")
		w.Sample(unixSeconds(v.Clock.Due))
	}
	if v.Code.State != "" {
		w.Family("cuewright_timecode_locked", metrics.Gauge, "1 when the timecode runs and is followed; absent when none is to be.")
		w.Sample(flag(v.Code.State == "locked"))
	}
	w.Family("cuewright_cues_disarmed", metrics.Gauge, "Cues that would fire by themselves and do not.")
	w.Count(uint64(len(v.Disarmed)))
}
