package surface

import (
	"fmt"
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
	took int    // surfaces that were taken over and not given back; somebody else may have taken them since
}

// spot is a place under a finger. It has the surface's name, which a reload
// keeps.
type spot struct {
	surface     string
	row, column int32
}

// held is the button that a finger is on, with the indices of its program.
type held struct {
	at              spot
	of              *program.Program
	surface, button int32
}

// at is a place of a surface of a view.
func (v *View) at(surface, row, column int32) spot {
	if surface < 0 || int(surface) >= len(v.Program.Surfaces) {
		return spot{"", row, column}
	}
	return spot{v.Program.Surfaces[surface].Name, row, column}
}

// Down puts a finger on a place. number is the sender's running number, or 0.
func (h *Hand) Down(surface, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	v := h.Desk.View()
	on := held{v.at(surface, row, column), v.Program, surface, v.ButtonAt(surface, row, column)}
	return h.put(on, number)
}

// DownBefore is Down of who looked at a page of the program that ran before
// the one of v: the desk decides whether the place is still the same button.
func (h *Hand) DownBefore(v *View, surface int32, page string, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := v.at(surface, row, column)
	return h.put(held{at, v.Before, surfaceNamed(v.Before, at.surface), buttonOn(v.Before, page, row, column)}, number)
}

func (h *Hand) put(on held, number uint64) Answer {
	if on.button < 0 {
		return h.judged(Press{Of: on.of, Kind: Down, Surface: on.surface, Number: number},
			Answer{Outcome: Refused, Text: fmt.Sprintf("there is no button at %d.%d now", on.at.row, on.at.column)})
	}
	answer := h.Desk.Press(Press{Of: on.of, Kind: Down, Surface: on.surface, Button: on.button, Cue: -1, Destination: -1, By: h.By, Number: number})
	if answer.Outcome == Done || answer.Reason == step.CoverOpened {
		h.forget(on.at)
		h.down = append(h.down, on)
	}
	return answer
}

// Up lifts the finger from a place. Where none is down nothing happens.
func (h *Hand) Up(surface, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := h.Desk.View().at(surface, row, column)
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
	return h.Desk.Press(Press{Of: on.of, Kind: Up, Surface: on.surface, Button: on.button, Cue: -1, Destination: -1, By: h.By, Number: number})
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

// Leave is Gone for good: what the hand has taken over is everybody's again.
func (h *Hand) Leave() {
	h.Gone()
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.took > 0 {
		h.took = 0
		h.Desk.Press(Press{Kind: GiveBack, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: h.By})
	}
}

// Give does what is not about a button. cue and destination are -1 where there
// is none.
func (h *Hand) Give(kind Kind, surface, cue, destination int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	a := h.Desk.Press(Press{Of: h.Desk.View().Program, Kind: kind, Surface: surface, Button: -1, Cue: cue, Destination: destination, By: h.By, Number: number})
	switch {
	case a.Outcome == Done && kind == TakeOver:
		h.took++
	case a.Outcome == Done && kind == GiveBack:
		h.took--
	}
	return a
}

// Judged has the desk log what this kind of surface has decided by itself: a
// press that names nothing that is there, or that came before.
func (h *Hand) Judged(kind Kind, surface int32, number uint64, a Answer) Answer {
	return h.judged(Press{Kind: kind, Surface: surface, Number: number}, a)
}

func (h *Hand) judged(p Press, a Answer) Answer {
	p.Button, p.Cue, p.Destination, p.By, p.Judged = -1, -1, -1, h.By, &a
	return h.Desk.Press(p)
}
