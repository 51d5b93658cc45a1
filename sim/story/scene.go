package story

import (
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// Scene is how everything stands at one moment. Its JSON field names are stable.
type Scene struct {
	Micros   int64    `json:"micros"`
	Time     string   `json:"time"`
	Timecode string   `json:"timecode"`
	Shows    []Shown  `json:"shows"` // every destination, in the plan's order
	OnAir    []string `json:"on_air"`
	Values   []Value  `json:"values"`  // buses, keyers, machines: not the scripts' own
	Running  []Script `json:"running"` // scripts that have not ended
	Standby  string   `json:"standby"`
	Faults   []string `json:"faults"` // "iso is away"
	Pages    []Page   `json:"pages"`  // one for each surface that has any
}

// Shown is a destination and what is to be seen there.
type Shown struct {
	Destination string `json:"destination"`
	Picture     string `json:"picture"`
	OnAir       bool   `json:"on_air"`
}

// Value is a thing and how it stands: "main program", "wide".
type Value struct {
	What string `json:"what"`
	Is   string `json:"is"`
}

// Script is a script that runs, and how long its wait still takes, 0 when it
// does not wait for a time.
type Script struct {
	Name   string `json:"name"`
	Place  string `json:"place,omitempty"` // where it waits
	Micros int64  `json:"micros,omitempty"`
}

// Page is what a surface shows.
type Page struct {
	Surface string   `json:"surface"`
	Page    string   `json:"page"`
	Buttons []Button `json:"buttons"`
}

// Button is a button and its lamp.
type Button struct {
	Row    int32  `json:"row"`
	Column int32  `json:"column"`
	Label  string `json:"label"`
	Lamp   string `json:"lamp"`
}

// Scene describes a state.
func (t *Teller) Scene(s *state.State) Scene {
	t.is.Look(s)
	stamp := t.stamp(s.Now)
	x := Scene{Micros: s.Now, Time: stamp.Time, Timecode: stamp.Timecode, OnAir: []string{}, Running: []Script{}, Faults: []string{}}
	for i := range t.m.P.Destinations {
		d := &t.m.P.Destinations[i]
		x.Shows = append(x.Shows, Shown{d.Name, t.picture(s, d.Node), t.is.OnAirDestination(int32(i))})
	}
	t.is.OnAir().Each(func(source int32) bool {
		x.OnAir = append(x.OnAir, t.m.P.Sources[source].Name)
		return true
	})
	t.values(&x, s)
	t.scripts(&x, s)
	t.pages(&x, s)
	return x
}

func (t *Teller) values(x *Scene, s *state.State) {
	for i := range t.m.P.Vars {
		v := int32(i)
		value := t.m.L.Get(s, v)
		switch t.m.P.Vars[i].Kind {
		case program.TaskAt, program.TaskFailed, program.TaskQueued, program.SurfacePage, program.CueFollow,
			program.ButtonDown, program.ButtonCover:
		case program.Standby:
			x.Standby = t.Value(v, value)
		case program.DeviceHealth:
			if value != program.Well {
				x.Faults = append(x.Faults, t.m.P.Devices[t.m.P.Vars[i].Owner].Name+" is "+t.Value(v, value))
			}
		default:
			x.Values = append(x.Values, Value{t.what(v), t.Value(v, value)})
		}
	}
}

func (t *Teller) scripts(x *Scene, s *state.State) {
	for i := range t.m.P.Tasks {
		k := &t.m.P.Tasks[i]
		if k.At < 0 || t.m.L.Get(s, k.At) == 0 {
			continue
		}
		r := Script{Name: k.Name, Place: Place(t.m.P, t.m.P.Code[k.Rests[t.m.L.Get(s, k.At)-1]].At)}
		if k.Timer >= 0 && s.Due[k.Timer] != state.Off {
			r.Micros = s.Due[k.Timer] - s.Now
		}
		x.Running = append(x.Running, r)
	}
}

func (t *Teller) pages(x *Scene, s *state.State) {
	for i := range t.m.P.Surfaces {
		f := &t.m.P.Surfaces[i]
		if len(f.Pages) == 0 {
			continue
		}
		page := &t.m.P.Pages[f.Pages[t.m.L.Get(s, f.Page)]]
		y := Page{Surface: f.Name, Page: page.Name, Buttons: []Button{}}
		for _, b := range page.Buttons {
			k := &t.m.P.Buttons[b]
			y.Buttons = append(y.Buttons, Button{k.Row, k.Column, k.Label, t.m.Lamp(s, b).String()})
		}
		x.Pages = append(x.Pages, y)
	}
}

// String is a scene as text.
func (x Scene) String() string {
	var w strings.Builder
	fmt.Fprintf(&w, "%s  %s\n", x.Time, x.Timecode)
	for _, d := range x.Shows {
		air := ""
		if d.OnAir {
			air = "  (on air)"
		}
		fmt.Fprintf(&w, "  %s shows %s%s\n", d.Destination, d.Picture, air)
	}
	for _, v := range x.Values {
		fmt.Fprintf(&w, "  %s: %s\n", v.What, Plain(v.Is))
	}
	for _, r := range x.Running {
		fmt.Fprintf(&w, "  %s is running", r.Name)
		if r.Micros > 0 {
			fmt.Fprintf(&w, ", for %s more at most", Seconds(r.Micros))
		}
		w.WriteByte('\n')
	}
	fmt.Fprintf(&w, "  on standby: %s\n", Plain(x.Standby))
	for _, f := range x.Faults {
		fmt.Fprintf(&w, "  %s\n", f)
	}
	for _, p := range x.Pages {
		fmt.Fprintf(&w, "  %s shows page %s:", p.Surface, p.Page)
		for _, b := range p.Buttons {
			fmt.Fprintf(&w, " [%d.%d %s: %s]", b.Row, b.Column, Plain(b.Label), b.Lamp)
		}
		w.WriteByte('\n')
	}
	return w.String()
}

// PowerOn is the beat that a story begins with: what there is to see at the
// start, and nothing done yet.
func (t *Teller) PowerOn(s *state.State) Beat {
	t.is.Look(s)
	b := t.stamp(s.Now)
	b.Title = "power-on"
	for i := range t.m.P.Destinations {
		d := &t.m.P.Destinations[i]
		b.Shows = append(b.Shows, Change{What: d.Name, To: t.picture(s, d.Node)})
	}
	t.is.OnAir().Each(func(source int32) bool {
		b.Came = append(b.Came, t.m.P.Sources[source].Name)
		return true
	})
	return b
}

// Seen says how the things stand that a condition asks about: "main program
// is wide, screens shows wide + logo".
func (t *Teller) Seen(s *state.State, cond int32) string {
	t.is.Look(s)
	var said []string
	t.leaves(cond, func(c *program.Cond) {
		words := t.leaf(s, c)
		for _, w := range said {
			if w == words {
				return
			}
		}
		if words != "" {
			said = append(said, words)
		}
	})
	return strings.Join(said, ", ")
}

func (t *Teller) leaves(cond int32, visit func(*program.Cond)) {
	switch c := &t.m.P.Conds[cond]; c.Op {
	case program.Not:
		t.leaves(c.L, visit)
	case program.And, program.Or:
		t.leaves(c.L, visit)
		t.leaves(c.R, visit)
	default:
		visit(c)
	}
}

func (t *Teller) leaf(s *state.State, c *program.Cond) string {
	p := t.m.P
	switch c.Op {
	case program.In:
		return t.what(c.A) + " is " + t.Value(c.A, t.m.L.Get(s, c.A))
	case program.Shows, program.ShowsNode:
		return p.Destinations[c.A].Name + " shows " + t.picture(s, p.Destinations[c.A].Node)
	case program.SourceOnAir:
		if t.is.OnAir().Has(c.A) {
			return p.Sources[c.A].Name + " is on air"
		}
		return p.Sources[c.A].Name + " is not on air"
	case program.Running:
		if at := p.Tasks[c.A].At; at >= 0 && t.m.L.Get(s, at) != 0 {
			return p.Tasks[c.A].Name + " is running"
		}
		return p.Tasks[c.A].Name + " is not running"
	}
	return ""
}

// Did says whether anything of an event is worth telling.
func (b *Beat) Did() bool {
	return len(b.Changes)+len(b.Shows)+len(b.Sent)+len(b.Alerts)+len(b.Failures)+len(b.Notes) > 0
}

// Showing says what the surfaces show where a button's page is not: "desk
// shows crew".
func (t *Teller) Showing(s *state.State, button int32) string {
	var said []string
	for i := range t.m.P.Surfaces {
		f := &t.m.P.Surfaces[i]
		for _, page := range f.Pages {
			if page == t.m.P.Buttons[button].Page {
				said = append(said, f.Name+" shows "+t.m.P.Pages[f.Pages[t.m.L.Get(s, f.Page)]].Name)
			}
		}
	}
	return strings.Join(said, ", ")
}

// ButtonName is a button with its page and label: `cameras 2.1 "Replay"`.
func (t *Teller) ButtonName(button int32) string { return buttonWords(t.m.P, button) }
