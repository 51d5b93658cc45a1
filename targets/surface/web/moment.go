package web

import (
	"time"

	"cuewright/targets/surface"
)

// moments is what fires by itself, in JSON.
type moments struct {
	Clock    *clockCue `json:"clock"`    // the cue that the clock fires next; null: none
	Timecode *code     `json:"timecode"` // null where none is followed and no cue goes by it
	Disarmed []string  `json:"disarmed"` // numbers of cues that would fire by themselves and do not
}

// momentCue is a cue and its moment, as the show has it; all "" where there is none.
type momentCue struct {
	Number string `json:"number"`
	Label  string `json:"label"`
	At     string `json:"at"`
}

type clockCue struct {
	momentCue
	Left int64 `json:"left"` // milliseconds, when this was written
}

// code is the timecode.
type code struct {
	State string    `json:"state"` // silent, still, locked, coasting, or "" where none is followed
	Label string    `json:"label"`
	Back  bool      `json:"back"` // it runs backwards
	Next  momentCue `json:"next"` // the cue that it fires next
}

func momentsOf(v *surface.View) moments {
	m := moments{Disarmed: append([]string{}, v.DisarmedNumbers()...)}
	if c := v.Clock; c != nil {
		m.Clock = &clockCue{momentCueOf(v, c.Cue), max(0, time.Until(c.Due).Milliseconds())}
	}
	if c := v.Code; c.State != "" || c.Next >= 0 {
		m.Timecode = &code{c.State, c.Label, c.Back, momentCueOf(v, c.Next)}
	}
	return m
}

func momentCueOf(v *surface.View, cue int32) momentCue {
	if cue < 0 {
		return momentCue{}
	}
	q := &v.Program.Cues[cue]
	return momentCue{q.Number, q.Label, v.MomentOf(cue)}
}
