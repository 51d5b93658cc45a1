package surface

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
)

// Hand turns places of a grid into presses of whoever By is. It remembers
// which button each finger is on: a finger comes up from the button that it
// went down on, though the page may have turned under it. It can be used from
// several goroutines. Its lock is held while the desk is asked, so that one
// hand's presses stay in order; nothing of a desk calls back into a hand.
//
// Where its fingers close Contacts, a finger comes up no sooner than Bounce
// after it went down: a contact that closes opens and closes several times
// before it stays closed, and what opens in between is no finger that comes up.
type Hand struct {
	Desk     Desk
	By       string
	Contacts bool

	mu   sync.Mutex
	down []held // in the order in which they went down; at most one for each place
	took int    // surfaces that were taken over and not given back; somebody else may have taken them since
}

// Bounce is how long a contact may take to come to rest. A finger needs longer
// to come up and down again.
const Bounce = 20 * time.Millisecond

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
	since           time.Time
	lifting         *time.Timer // it opened while it may still bounce; nil else
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
	on := held{at: v.at(surface, row, column), of: v.Program, surface: surface, button: v.ButtonAt(surface, row, column)}
	return h.put(on, number)
}

// DownBefore is Down of who looked at a page of the program that ran before
// the one of v: the desk decides whether the place is still the same button.
func (h *Hand) DownBefore(v *View, surface int32, page string, row, column int32, number uint64) Answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	at := v.at(surface, row, column)
	return h.put(held{at: at, of: v.Before, surface: surfaceNamed(v.Before, at.surface), button: buttonOn(v.Before, page, row, column)}, number)
}

func (h *Hand) put(on held, number uint64) Answer {
	if on.button < 0 {
		return h.judged(Press{Of: on.of, Kind: Down, Surface: on.surface, Number: number},
			Answer{Outcome: Refused, Text: fmt.Sprintf("there is no button at %d.%d now", on.at.row, on.at.column)})
	}
	if i := h.index(on.at); i >= 0 && h.down[i].lifting != nil {
		was := &h.down[i]
		if was.lifting.Stop() {
			was.lifting = nil
			return h.judged(Press{Of: on.of, Kind: Down, Surface: on.surface, Number: number}, Answer{Outcome: Repeated, Text: "it bounced"})
		}
		up := *was // it had come to rest in this moment
		h.forget(on.at)
		h.lift(up, 0)
	}
	on.since = time.Now()
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
	i := h.index(at)
	if i < 0 {
		return Answer{Outcome: Repeated, Text: "no finger was down here"}
	}
	on := &h.down[i]
	left := Bounce - time.Since(on.since)
	switch {
	case on.lifting != nil:
		return Answer{Outcome: Repeated, Text: "it bounced"}
	case h.Contacts && left > 0:
		on.lifting = time.AfterFunc(left, func() { h.rested(at, number) })
		return Answer{}
	}
	up := *on
	h.forget(at)
	return h.lift(up, number)
}

// rested lifts the finger from a contact that has stayed open.
func (h *Hand) rested(at spot, number uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if i := h.index(at); i >= 0 && h.down[i].lifting != nil {
		up := h.down[i]
		h.forget(at)
		h.lift(up, number)
	}
}

// index is where the finger on a place is in down, or -1.
func (h *Hand) index(at spot) int {
	return slices.IndexFunc(h.down, func(on held) bool { return on.at == at })
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
		if on.lifting != nil {
			on.lifting.Stop()
		}
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
