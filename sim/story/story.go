// Package story tells what happened, in the show's words: an event, what it
// changed, what each place shows now, what was sent and what went wrong.
//
// It takes the state before and after an event with its effects, and gives a
// Beat: plain words that can be printed or written as JSON, the same for the
// same input. Only what changed is told; how much did not is counted. There is
// no colour here, and nothing is judged: that is sim/onair.
package story

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/program"
	"cuewright/macro/timecode"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// Beat is one event and what it did. Its JSON field names are stable.
type Beat struct {
	Number    int       `json:"number"` // counted by whoever steps; power-on is 0
	Micros    int64     `json:"micros"` // from power-on
	Time      string    `json:"time"`   // "12.480 s"
	Timecode  string    `json:"timecode"`
	Title     string    `json:"title"`             // `desk: cameras 2.1 "Replay"`
	Place     string    `json:"place,omitempty"`   // "small.show:37"
	Changes   []Change  `json:"changes,omitempty"` // in the order of the program's variables
	Shows     []Change  `json:"shows,omitempty"`   // destinations whose picture changed
	Came      []string  `json:"came_on_air,omitempty"`
	Left      []string  `json:"left_air,omitempty"`
	Sent      []Message `json:"sent,omitempty"`
	Alerts    []string  `json:"alerts,omitempty"`
	Failures  []string  `json:"failures,omitempty"`
	Notes     []string  `json:"notes,omitempty"`
	Unchanged Count     `json:"unchanged"`
}

// Change is one thing that is not what it was.
type Change struct {
	What string `json:"what"` // "main program", "screens"
	From string `json:"from"` // "" at power-on
	To   string `json:"to"`
}

// Message is what a device was told. Text is the rendered message for people,
// "" when messages were not rendered. Group is 0, or the same for messages
// that were sent together.
type Message struct {
	Device  string `json:"device"`
	Command string `json:"command"` // in the words of the language
	Text    string `json:"text,omitempty"`
	Group   int32  `json:"group,omitempty"`
}

// Count is how many things are as they were.
type Count struct {
	Destinations int `json:"destinations"`
}

// Teller tells beats of one program. It holds scratch memory and serves one
// goroutine.
type Teller struct {
	m        *step.Machine
	was, is  *signal.Graph
	messages map[program.Command]int32
}

// New makes a Teller for what m runs.
func New(m *step.Machine) *Teller {
	return &Teller{m: m, was: signal.New(m.P, m.L), is: signal.New(m.P, m.L), messages: m.P.MessageIndex()}
}

// Tell tells what event e did to the state before. Neither state is changed.
func (t *Teller) Tell(before *state.State, e step.Event, effects []step.Effect, after *state.State) Beat {
	t.was.Look(before)
	t.is.Look(after)
	b := t.stamp(after.Now)
	b.Title, b.Place = t.title(before, e)
	t.changes(&b, before, after)
	t.pictures(&b, before, after)
	for i := range effects {
		t.effect(&b, before, &effects[i])
	}
	return b
}

// stamp is an empty beat of a moment.
func (t *Teller) stamp(micros int64) Beat {
	rate := timecode.Rate(t.m.P.Rate)
	return Beat{Micros: micros, Time: Seconds(micros), Timecode: rate.Label(rate.ToFrames(timecode.Micros(micros)))}
}

// Seconds is a time in seconds with milliseconds: "12.480 s".
func Seconds(micros int64) string {
	return fmt.Sprintf("%d.%03d s", micros/1_000_000, micros/1000%1000)
}

// Length is a duration as the language writes it: whole seconds as "1s", other
// whole frames of less than ten seconds as "12f", and else seconds with three
// decimals at most.
func Length(p *program.Program, micros int64) string {
	const second = 1_000_000
	rate := timecode.Rate(p.Rate)
	frames := rate.ToFrames(timecode.Micros(micros))
	if micros%second != 0 && micros < 10*second && rate.Frames(frames) == timecode.Micros(micros) {
		return strconv.FormatInt(frames, 10) + "f"
	}
	text := strconv.FormatFloat(float64(micros)/second, 'f', 3, 64)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + "s"
}

// pictures tells what destinations show now that they did not, and what came
// on air or left it.
func (t *Teller) pictures(b *Beat, before, after *state.State) {
	for i := range t.m.P.Destinations {
		d := &t.m.P.Destinations[i]
		from, to := t.picture(before, d.Node), t.picture(after, d.Node)
		if from == to {
			b.Unchanged.Destinations++
			continue
		}
		b.Shows = append(b.Shows, Change{d.Name, from, to})
	}
	was, is := t.was.OnAir(), t.is.OnAir()
	for i := range t.m.P.Sources {
		switch source := int32(i); {
		case is.Has(source) && !was.Has(source):
			b.Came = append(b.Came, t.m.P.Sources[i].Name)
		case was.Has(source) && !is.Has(source):
			b.Left = append(b.Left, t.m.P.Sources[i].Name)
		}
	}
}
