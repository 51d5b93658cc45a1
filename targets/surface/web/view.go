package web

import (
	"encoding/json"
	"net/http"
	"time"

	"cuewright/targets/surface"
)

// snapshot is a View in JSON: all that the page shows.
type snapshot struct {
	Serial   uint64       `json:"serial"`
	Age      int64        `json:"age"` // milliseconds since the controller's last turn, when this was written
	You      string       `json:"you"` // what you are called in the log, and as a holder
	Show     string       `json:"show"`
	Running  string       `json:"running"`
	OnDisk   string       `json:"onDisk"`
	Held     bool         `json:"held"`
	Trial    *trial       `json:"trial"` // null: the show is there to stay
	Pair     *pairWords   `json:"pair"`  // null: there is but one controller
	Standby  cueWords     `json:"standby"`
	Alerts   []alertWords `json:"alerts"`
	Away     []string     `json:"away"`
	Drifted  []string     `json:"drifted"`
	Outputs  []output     `json:"outputs"`
	Surfaces []grid       `json:"surfaces"`
	moments
}

type cueWords struct {
	Number string `json:"number"`
	Label  string `json:"label"`
}

type alertWords struct {
	At   int64  `json:"at"` // milliseconds since 1970
	Text string `json:"text"`
}

// output is a row of the table of outputs.
type output struct {
	Name         string `json:"name"`
	Field        bool   `json:"field"`  // it is a field that a device reports, no destination
	Wanted       string `json:"wanted"` // "" when the show never set it
	Sent         column `json:"sent"`
	Acknowledged column `json:"acknowledged"`
	Observed     column `json:"observed"`
	Drifted      bool   `json:"drifted"`
	NeedsLook    bool   `json:"needsLook"`
	AfterCut     string `json:"afterCut"` // what became of the plan's wish after a power cut, or ""
}

type column struct {
	State string `json:"state"` // one of the words of surface.State
	Words string `json:"words"`
	Text  string `json:"text"` // both on one line
	At    int64  `json:"at"`   // milliseconds since 1970, or 0
}

func rowOf(o *surface.Output) output {
	of := func(c surface.Column) column {
		x := column{State: c.State.String(), Words: c.Words, Text: c.String()}
		if !c.At.IsZero() {
			x.At = c.At.UnixMilli()
		}
		return x
	}
	return output{Name: o.Name, Field: o.Field >= 0, Wanted: o.Wanted, Sent: of(o.Sent), Acknowledged: of(o.Acknowledged), Observed: of(o.Observed),
		Drifted: o.Drifted, NeedsLook: o.NeedsLook(), AfterCut: o.AfterCut}
}

// trial is a show on trial.
type trial struct {
	Left    int64    `json:"left"` // milliseconds, when this was written
	By      string   `json:"by"`
	Before  string   `json:"before"`  // digest of the show that comes back unless this one is kept
	Returns []string `json:"returns"` // what would then be sent, if it were now
	Stays   []string `json:"stays"`   // changed, and cannot be sent back
}

func trialOf(v *surface.View) *trial {
	t := v.Trial
	if t == nil {
		return nil
	}
	return &trial{left(v), t.By, t.Before, append([]string{}, t.Returns...), append([]string{}, t.Stays...)}
}

// pairWords is how two controllers stand to each other.
type pairWords struct {
	Seat   string `json:"seat"`
	Leads  bool   `json:"leads"`
	Sends  bool   `json:"sends"` // it leads, and its lease holds
	Epoch  uint64 `json:"epoch"`
	Other  string `json:"other"`
	Heard  bool   `json:"heard"` // the other one is
	Seen   int64  `json:"seen"`  // milliseconds since the other one was last heard, -1 for never
	InStep bool   `json:"inStep"`
	Text   string `json:"text"`
}

func pairOf(v *surface.View) *pairWords {
	p := v.Pair
	if p == nil {
		return nil
	}
	seen := int64(-1)
	if !p.Seen.IsZero() {
		seen = v.At.Sub(p.Seen).Milliseconds()
	}
	return &pairWords{p.Seat, p.Leads, p.Sends, p.Epoch, p.Other, p.Heard, max(seen, -1), p.InStep, p.Words()}
}

// left is how long a trial lasts, in milliseconds.
func left(v *surface.View) int64 {
	if v.Trial == nil {
		return 0
	}
	return max(0, time.Until(v.Trial.Until).Milliseconds())
}

// grid is a surface and the page that is on it.
type grid struct {
	Name    string   `json:"name"`
	Rows    int32    `json:"rows"`
	Columns int32    `json:"columns"`
	Page    string   `json:"page"`
	Holder  string   `json:"holder"` // whose presses alone count here, "" when everybody's do
	Buttons []button `json:"buttons"`
}

// button is a button of the page. Live means that something runs when it goes
// down, is held or comes up, so that it must be told when the finger does.
type button struct {
	Row    int32  `json:"row"`
	Column int32  `json:"column"`
	Label  string `json:"label"`
	Lamp   string `json:"lamp"`
	Cover  string `json:"cover"`
	Hold   int64  `json:"hold"` // milliseconds after which it does something else, or 0
	Live   bool   `json:"live"`
}

func snapshotOf(v *surface.View, you string) snapshot {
	s := snapshot{You: you, Serial: v.Serial, Age: age(v), Show: v.Show, Running: v.Running, OnDisk: v.OnDisk, Held: v.Held, Trial: trialOf(v), Pair: pairOf(v),
		Alerts: []alertWords{}, Away: []string{}, Drifted: []string{}, Outputs: []output{}, Surfaces: []grid{}}
	s.Standby.Number, s.Standby.Label = v.StandbyCue()
	for _, a := range v.Alerts {
		s.Alerts = append(s.Alerts, alertWords{a.At.UnixMilli(), a.Text})
	}
	for _, d := range v.Away {
		s.Away = append(s.Away, v.Program.Devices[d].Name)
	}
	for _, x := range v.Drifted {
		s.Drifted = append(s.Drifted, v.Program.Vars[x].Name)
	}
	for i := range v.Outputs {
		s.Outputs = append(s.Outputs, rowOf(&v.Outputs[i]))
	}
	s.moments = momentsOf(v)
	for i := range v.Program.Surfaces {
		s.Surfaces = append(s.Surfaces, gridOf(v, int32(i)))
	}
	return s
}

func gridOf(v *surface.View, at int32) grid {
	s := &v.Program.Surfaces[at]
	g := grid{Name: s.Name, Rows: s.Rows, Columns: s.Columns, Page: v.PageName(at), Holder: v.Holder[at], Buttons: []button{}}
	for _, i := range v.Grid(at) {
		if i < 0 {
			continue
		}
		b := &v.Program.Buttons[i]
		x := button{Row: b.Row, Column: b.Column, Label: b.Label, Lamp: v.Lamps[i].String(), Cover: v.Cover(i), Live: b.Hold >= 0 || b.Release >= 0}
		if b.Hold >= 0 {
			x.Hold = b.HoldAfter / 1000
		}
		g.Buttons = append(g.Buttons, x)
	}
	return g
}

// age is how long ago the controller made its last turn, in milliseconds.
func age(v *surface.View) int64 { return max(0, time.Since(v.At).Milliseconds()) }

func (s *Surface) view(w http.ResponseWriter, r *http.Request) {
	answerJSON(w, http.StatusOK, snapshotOf(s.desk.View(), s.door.key(r)))
}

func answerJSON(w http.ResponseWriter, status int, what any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(what) // who has gone does not need it
}
