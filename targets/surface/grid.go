package surface

import "time"

import (
	"slices"

	"cuewright/macro/program"
)

// silence is how long a controller may say nothing before what it showed last is
// old.
const silence = 2 * time.Second

// Stale says that v is too old to be relied on: the controller does not turn.
func (v *View) Stale(now time.Time) bool { return now.Sub(v.At) > silence }

// ButtonAt is the button at a place of a surface, as v shows it, or -1. Rows and
// columns count from 1.
func (v *View) ButtonAt(surface, row, column int32) int32 {
	if surface < 0 || int(surface) >= len(v.Page) || v.Page[surface] < 0 {
		return -1
	}
	for _, b := range v.Program.Pages[v.Page[surface]].Buttons {
		if at := &v.Program.Buttons[b]; at.Row == row && at.Column == column {
			return b
		}
	}
	return -1
}

// Grid is the buttons of a surface as v shows it, row by row, with -1 where a
// place has none.
func (v *View) Grid(surface int32) []int32 {
	s := &v.Program.Surfaces[surface]
	grid := make([]int32, s.Rows*s.Columns)
	for i := range grid {
		grid[i] = -1
	}
	if v.Page[surface] < 0 {
		return grid
	}
	for _, b := range v.Program.Pages[v.Page[surface]].Buttons {
		at := &v.Program.Buttons[b]
		if at.Row <= s.Rows && at.Column <= s.Columns {
			grid[(at.Row-1)*s.Columns+at.Column-1] = b
		}
	}
	return grid
}

// PageName is the name of the page on a surface, "" where it has none.
func (v *View) PageName(surface int32) string {
	if v.Page[surface] < 0 {
		return ""
	}
	return v.Program.Pages[v.Page[surface]].Name
}

// AlertsAfter is the alerts that came after last, which was told before; all
// of them when it is not among them any more.
func (v *View) AlertsAfter(last Alert) []Alert {
	for i := len(v.Alerts) - 1; i >= 0; i-- {
		if v.Alerts[i] == last {
			return v.Alerts[i+1:]
		}
	}
	return v.Alerts
}

// SurfaceNamed is the index of a surface, or -1.
func (v *View) SurfaceNamed(name string) int32 { return surfaceNamed(v.Program, name) }

func surfaceNamed(p *program.Program, name string) int32 {
	return int32(slices.IndexFunc(p.Surfaces, func(s program.Surface) bool { return s.Name == name }))
}

// buttonOn is the button at a place of a page, or -1.
func buttonOn(p *program.Program, page string, row, column int32) int32 {
	return int32(slices.IndexFunc(p.Buttons, func(b program.Button) bool {
		return p.Pages[b.Page].Name == page && b.Row == row && b.Column == column
	}))
}

// CueNumbered is the index of a cue, or -1.
func (v *View) CueNumbered(number string) int32 {
	for i := range v.Program.Cues {
		if v.Program.Cues[i].Number == number {
			return int32(i)
		}
	}
	return -1
}

// StandbyCue is the number and label of the cue on standby, both "" at the end
// of the rundown.
func (v *View) StandbyCue() (number, label string) {
	if v.Standby < 0 || int(v.Standby) >= len(v.Program.Cues) {
		return "", ""
	}
	c := &v.Program.Cues[v.Standby]
	return c.Number, c.Label
}

// Cover is "none" for a button that has none, else "open" or "shut".
func (v *View) Cover(button int32) string {
	switch {
	case !v.Program.Buttons[button].Guarded:
		return "none"
	case v.Open[button]:
		return "open"
	}
	return "shut"
}

var outcomeWords = [Outcomes]string{"done", "repeated", "refused", "held", "busy"}

// String is the word for it in every protocol.
func (o Outcome) String() string { return outcomeWords[o] }
