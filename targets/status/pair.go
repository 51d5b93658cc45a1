package status

import (
	"time"

	"cuewright/targets/metrics"
	"cuewright/targets/surface"
)

// Pair is how two controllers stand to each other, as the one that is asked
// sees it.
type Pair struct {
	Seat    string     `json:"seat"`
	Role    string     `json:"role"` // leads, cut off, listens, follows or nobody leads
	Epoch   uint64     `json:"epoch"`
	Other   string     `json:"other"`
	Heard   bool       `json:"heard"`             // the other one is, now
	Seen    *time.Time `json:"seen,omitempty"`    // when it was last heard; absent if never
	InStep  bool       `json:"inStep"`            // the one that follows knows everything
	Witness *bool      `json:"witness,omitempty"` // it is heard; absent when there is none
	Text    string     `json:"text"`
}

func pairOf(p *surface.Pair) *Pair {
	if p == nil {
		return nil
	}
	r := &Pair{Seat: p.Seat, Role: p.Role(), Epoch: p.Epoch, Other: p.Other, Heard: p.Heard, InStep: p.InStep, Text: p.Words()}
	if seen := p.Seen; !seen.IsZero() {
		r.Seen = &seen
	}
	if judge := p.Judge; !p.Alone {
		r.Witness = &judge
	}
	return r
}

func pairMetrics(w *metrics.Writer, p *surface.Pair) {
	one := func(name, help string, value float64) {
		w.Family("cuewright_pair_"+name, metrics.Gauge, help)
		w.Sample(value)
	}
	one("leads", "1 when it is this controller that leads.", flag(p.Leads))
	one("sends", "1 when it leads and its lease holds.", flag(p.Sends))
	one("epoch", "Rises with each takeover.", float64(p.Epoch))
	one("other_heard", "1 when the other controller is heard.", flag(p.Heard))
	if !p.Seen.IsZero() {
		one("other_seen_seconds", "When the other controller was last heard, since 1970; absent if never.", unixSeconds(p.Seen))
	}
	one("in_step", "1 when the one that follows knows everything that was done.", flag(p.InStep))
	if !p.Alone {
		one("witness_heard", "1 when the witness is heard; absent when there is none.", flag(p.Judge))
	}
}
