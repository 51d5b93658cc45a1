package status

import (
	"time"

	"cuewright/targets/metrics"
	"cuewright/targets/surface"
)

// Output is what a destination, or a field that a device reports, should show,
// was told, and is known to show.
type Output struct {
	Name         string `json:"name"`
	Field        bool   `json:"field"`  // it is a field that a device reports
	Wanted       string `json:"wanted"` // "" when the show never set it
	Sent         Column `json:"sent"`
	Acknowledged Column `json:"acknowledged"`
	Observed     Column `json:"observed"`
	Drifted      bool   `json:"drifted"`
	NotTaken     bool   `json:"notTaken"` // its newest message was refused, or could not be sent
	NeedsLook    bool   `json:"needsLook"`
	AfterCut     string `json:"afterCut,omitempty"` // what became of the plan's wish after a power cut
}

// Column is one thing that is known of an output.
type Column struct {
	State string     `json:"state"` // one of the words of surface.State
	Words string     `json:"words"`
	Text  string     `json:"text"` // both on one line
	At    *time.Time `json:"at,omitempty"`
}

func columnOf(c surface.Column) Column {
	x := Column{State: c.State.String(), Words: c.Words, Text: c.String()}
	if !c.At.IsZero() {
		x.At = &c.At
	}
	return x
}

func notTaken(o *surface.Output) bool {
	return o.Acknowledged.State == surface.No || o.Acknowledged.State == surface.Undone
}

func outputsOf(v *surface.View) []Output {
	all := []Output{}
	for i := range v.Outputs {
		o := &v.Outputs[i]
		all = append(all, Output{Name: o.Name, Field: o.Field >= 0, Wanted: o.Wanted, Sent: columnOf(o.Sent), Acknowledged: columnOf(o.Acknowledged),
			Observed: columnOf(o.Observed), Drifted: o.Drifted, NotTaken: notTaken(o), NeedsLook: o.NeedsLook(), AfterCut: o.AfterCut})
	}
	return all
}

// trouble says what is wrong with an output, in words; "" when nothing is. What
// has drifted is said by what drifted, once.
func (o *Output) trouble() string {
	switch {
	case o.NotTaken:
		return o.Name + ": " + o.Sent.Text + ": " + o.Acknowledged.Text
	case o.NeedsLook && o.AfterCut != "":
		return o.Name + ": after the power cut, " + o.AfterCut
	}
	return ""
}

func outputMetrics(w *metrics.Writer, all []surface.Output) {
	w.Family("cuewright_output_drifted", metrics.Gauge, "1 when it was seen to be otherwise than wanted.", "output")
	for i := range all {
		w.Sample(flag(all[i].Drifted), all[i].Name)
	}
	w.Family("cuewright_output_not_taken", metrics.Gauge, "1 when its newest message was refused or could not be sent.", "output")
	for i := range all {
		w.Sample(flag(notTaken(&all[i])), all[i].Name)
	}
	w.Family("cuewright_output_sent_seconds", metrics.Gauge, "When it was last told something, since 1970; absent if never.", "output")
	for i := range all {
		if at := all[i].Sent.At; !at.IsZero() {
			w.Sample(unixSeconds(at), all[i].Name)
		}
	}
}
