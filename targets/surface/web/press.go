package web

import (
	"encoding/json"
	"net/http"

	"cuewright/sim/step"
	"cuewright/targets/surface"
)

// request is what a client wants done. Page and Running say what it was
// looking at: where that is not so any more, nothing is pressed.
type request struct {
	ID          string `json:"id"`   // comes back with the answer
	Kind        string `json:"kind"` // down up tap go back skip stop resume resend keep return take give
	Surface     string `json:"surface"`
	Page        string `json:"page"`
	Running     string `json:"running"`
	Row         int32  `json:"row"`
	Column      int32  `json:"column"`
	Cue         string `json:"cue"`         // for go: its number, or "" for the one on standby
	Destination string `json:"destination"` // for resend and adopt: a destination, or
	Field       string `json:"field"`       // a field that a device reports
	Number      uint64 `json:"number"`      // a running number, or 0
}

// reply is what became of it. Opened: it only opened the cover.
type reply struct {
	ID      string `json:"id"`
	Outcome string `json:"outcome"`
	Text    string `json:"text"`
	Opened  bool   `json:"opened"`
}

const maxID = 64 // characters that are given back

// do does what a client wants.
func (c *client) do(q request) reply {
	a := c.ask(&q)
	if len(q.ID) > maxID {
		q.ID = q.ID[:maxID]
	}
	return reply{q.ID, a.Outcome.String(), a.Text, a.Reason == step.CoverOpened}
}

var giving = map[string]surface.Kind{"go": surface.Go, "back": surface.Back, "skip": surface.Skip, "stop": surface.StopAll,
	"resume": surface.Resume, "resend": surface.Resend, "adopt": surface.Adopt, "disarm": surface.Disarm, "arm": surface.Arm, "keep": surface.Keep, "return": surface.Return, "take": surface.TakeOver, "give": surface.GiveBack, "switch": surface.SwitchOver}

// touching are the kinds that are about a button.
var touching = map[string]surface.Kind{"down": surface.Down, "up": surface.Up, "tap": surface.Down}

func (c *client) ask(q *request) surface.Answer {
	v := c.hand.Desk.View()
	at := v.SurfaceNamed(q.Surface)
	kind, touches := touching[q.Kind]
	if !touches {
		var ok bool
		if kind, ok = giving[q.Kind]; !ok {
			return surface.Answer{Outcome: surface.Refused, Text: "not understood"}
		}
	}
	refused := func(text string) surface.Answer {
		return c.hand.Judged(kind, at, q.Number, surface.Answer{Outcome: surface.Refused, Text: text})
	}
	late := q.Running != "" && q.Running != v.Running
	switch {
	case late && q.Running != v.RanBefore && kind != surface.Up && kind != surface.StopAll && kind != surface.Resume:
		return refused("the show has changed")
	case q.Surface != "" && at < 0:
		return refused("there is no surface of that name")
	case touches && at < 0:
		return refused("no surface was named")
	case kind == surface.Up:
		return c.hand.Up(at, q.Row, q.Column, q.Number)
	case touches:
		return c.finger(v, at, q, late, refused)
	case late && (kind == surface.Keep || kind == surface.Return):
		return refused("the show has changed")
	}
	cue, destination := int32(-1), int32(-1)
	switch {
	case (kind == surface.Go || kind == surface.Disarm || kind == surface.Arm) && q.Cue != "":
		if cue = v.CueNumbered(q.Cue); cue < 0 {
			return refused("there is no cue of that number")
		}
	case kind == surface.Resend || kind == surface.Adopt:
		if destination = outputOf(v, q); destination < 0 {
			return refused("there is no destination or field of that name")
		}
	}
	return c.hand.Give(kind, at, cue, destination, q.Number)
}

// outputOf is the output that a request names, or -1.
func outputOf(v *surface.View, q *request) int32 {
	at := v.OutputNamed(q.Destination + q.Field)
	if isField := int(at) >= len(v.Program.Destinations); q.Destination != "" && q.Field != "" || isField != (q.Field != "") {
		return -1
	}
	return at
}

// finger is a finger going down, or down and up again. One that went down on
// the page of the show before is looked at by the desk.
func (c *client) finger(v *surface.View, at int32, q *request, late bool, refused func(string) surface.Answer) surface.Answer {
	var a surface.Answer
	switch {
	case late && q.Page != "":
		a = c.hand.DownBefore(v, at, q.Page, q.Row, q.Column, q.Number)
	case late:
		return refused("the show has changed")
	case q.Page != "" && q.Page != v.PageName(at):
		return refused("the page has changed under the finger")
	default:
		a = c.hand.Down(at, q.Row, q.Column, q.Number)
	}
	if q.Kind == "tap" {
		c.hand.Up(at, q.Row, q.Column, 0)
	}
	return a
}

// press is one press by HTTP.
func (s *Surface) press(w http.ResponseWriter, r *http.Request) {
	var q request
	if c := s.asks(w, r, &q); c != nil {
		answerJSON(w, http.StatusOK, c.do(q))
	}
}

// asks reads what a client asks for in JSON, and gives who it is: nil when it
// was answered that it cannot be.
func (s *Surface) asks(w http.ResponseWriter, r *http.Request, q any) *client {
	if !isJSON(r) {
		plain(w, http.StatusUnsupportedMediaType, "JSON is wanted")
		return nil
	}
	if err := json.NewDecoder(r.Body).Decode(q); err != nil {
		plain(w, http.StatusBadRequest, "not understood")
		return nil
	}
	c := s.client(r)
	if c == nil {
		plain(w, http.StatusServiceUnavailable, "too many are here")
	}
	return c
}
