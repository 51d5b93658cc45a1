package surface

import (
	"slices"
	"sync"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// Hand turns places of a grid into presses of whoever By is. It remembers
// which button each finger is on: a finger comes up from the button that it
// went down on, though the page may have turned under it. It can be used from
// several goroutines. Its lock is held while the desk is asked, so that one
// hand's presses stay in order; nothing of a desk calls back into a hand.
type Hand struct {
	Desk Desk
	By   string

	mu   sync.Mutex
	down []held // in the order in which they went down; at most one for each place
}

// spot is a place under a finger.
type spot struct{ surface, row, column int32 }

// held is the button that a finger is on.
type held struct {
	at     spot
	of     *program.Program
	button int32
}

// Down puts a finger on a place. number is the sender's running number, or 0.
func (h *Hand) Down(surface, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	v := h.Desk.View()
	button := v.ButtonAt(surface, row, column)
	if button < 0 {
		return Answer{Outcome: Refused, Text: "there is no button at this place now"}
	}
	at := spot{surface, row, column}
	answer := h.Desk.Press(Press{Of: v.Program, Kind: Down, Surface: surface, Button: button, Cue: -1, Destination: -1, By: h.By, Number: number})
	if answer.Outcome == Done || answer.Reason == step.CoverOpened {
		h.forget(at)
		h.down = append(h.down, held{at, v.Program, button})
	}
	return answer
}

// Up lifts the finger from a place. Where none is down nothing happens.
func (h *Hand) Up(surface, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := spot{surface, row, column}
	for _, on := range h.down {
		if on.at == at {
			h.forget(at)
			return h.lift(on, number)
		}
	}
	return Answer{Outcome: Repeated, Text: "no finger was down here"}
}

func (h *Hand) forget(at spot) {
	h.down = slices.DeleteFunc(h.down, func(on held) bool { return on.at == at })
}

func (h *Hand) lift(on held, number uint64) Answer {
	return h.Desk.Press(Press{Of: on.of, Kind: Up, Surface: on.at.surface, Button: on.button, Cue: -1, Destination: -1, By: h.By, Number: number})
}

// Gone lifts every finger: whoever it was is not there any more, and nothing
// may stay held down.
func (h *Hand) Gone() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, on := range h.down {
		h.lift(on, 0)
	}
	h.down = nil
}

// Give does what is not about a button: Go, Back, Skip, StopAll, Resume and
// Resend. cue and destination are -1 where there is none.
func (h *Hand) Give(kind Kind, surface, cue, destination int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.Desk.Press(Press{Of: h.Desk.View().Program, Kind: kind, Surface: surface, Button: -1, Cue: cue, Destination: destination, By: h.By, Number: number})
}
