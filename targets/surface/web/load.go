package web

import (
	"net/http"
	"time"

	"cuewright/targets/surface"
)

// order asks for the show to be loaded from its file again.
type order struct {
	Trial  *float64 `json:"trial"`  // seconds that it is on trial, 0 the usual time; left out: it is there to stay
	Expect string   `json:"expect"` // the digest that it must have
	Force  bool     `json:"force"`  // scripts that it changes are ended
}

// loaded is what became of it.
type loaded struct {
	Taken  bool     `json:"taken"`
	Digest string   `json:"digest"`
	Waits  []string `json:"waits"` // scripts that it waits for
	Text   string   `json:"text"`  // in words, also why it was refused
}

// load is one by HTTP. It is answered 200 when the show runs, 202 when it
// waits, 409 when it was refused.
func (s *Surface) load(w http.ResponseWriter, r *http.Request) {
	var q order
	c := s.asks(w, r, &q)
	if c == nil {
		return
	}
	how := surface.Load{By: c.key, Force: q.Force, Expect: q.Expect}
	if q.Trial != nil {
		if how.Trial = surface.UsualTrial; *q.Trial != 0 {
			how.Trial = time.Duration(max(min(*q.Trial, 1e6), -1) * float64(time.Second)) // what is too long or too short is for the desk to say
		}
	}
	got, err := s.desk.Load(how)
	switch {
	case err != nil:
		answerJSON(w, http.StatusConflict, loaded{Waits: []string{}, Text: err.Error()})
	case got.Taken:
		answerJSON(w, http.StatusOK, loaded{true, got.Digest, []string{}, got.Words()})
	default:
		answerJSON(w, http.StatusAccepted, loaded{false, got.Digest, got.Waits, got.Words()})
	}
}
