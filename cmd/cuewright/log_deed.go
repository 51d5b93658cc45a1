package main

import (
	"slices"
	"strings"

	"cuewright/targets/control"
)

// deed is what happened at once: what was pressed or came by itself, and what
// that set off. In a journal the press comes after what it did, and what became
// of its messages later still.
type deed struct {
	head  control.Entry
	event *control.Entry
	rest  []control.Entry // sent with its outcome, cues, notes, alerts …
	open  int             // messages of rest of which no outcome is known
	press bool            // head is the press
}

// mostDeeds is how many deeds wait for their outcomes: a device that never
// answers holds nothing up for long.
const mostDeeds = 200

// deeds puts entries together.
type deeds struct {
	write func(deed) error
	all   []*deed
	early []control.Entry // outcomes that came before the journal has their message, as a quick answer may
}

func (d *deeds) add(e control.Entry) error {
	last := d.last()
	switch {
	case e.Kind == "outcome":
		if !d.became(e) {
			d.early = append(d.early, e)
		}
	case e.Kind == "event":
		d.begin(e).event = &e
	case e.Kind == "press" && last != nil && !last.press && last.event != nil && last.event.Pressed && last.event.Micros == e.Micros:
		last.head, last.press = e, true
	case last != nil && last.event != nil && !last.press && last.event.Micros == e.Micros && follows[e.Kind]:
		d.append(last, e)
	default:
		x := d.begin(e)
		x.press = e.Kind == "press"
		if e.Kind == "sent" {
			d.append(x, e)
		}
	}
	return d.flush(mostDeeds)
}

// follows are the kinds of record that tell what an event set off.
var follows = map[string]bool{"sent": true, "cue": true, "note": true, "alert": true}

func (d *deeds) last() *deed {
	if len(d.all) == 0 {
		return nil
	}
	return d.all[len(d.all)-1]
}

func (d *deeds) begin(e control.Entry) *deed {
	x := &deed{head: e}
	d.all = append(d.all, x)
	return x
}

// append adds what a deed set off.
func (d *deeds) append(x *deed, e control.Entry) {
	if e.Kind == "sent" {
		x.open++
		for i, early := range d.early {
			if early.Who == e.Who && strings.HasPrefix(e.What, early.What) {
				e.Came = early.Came
				x.open--
				d.early = slices.Delete(d.early, i, i+1)
				break
			}
		}
	}
	x.rest = append(x.rest, e)
}

// end writes what is left. Outcomes of messages that the journal does not have
// come last.
func (d *deeds) end() error {
	for _, e := range d.early {
		d.begin(e)
	}
	d.early = nil
	return d.flush(0)
}

// became gives the oldest message of a device its outcome.
func (d *deeds) became(outcome control.Entry) bool {
	for _, x := range d.all {
		for i := range x.rest {
			if e := &x.rest[i]; e.Kind == "sent" && e.Who == outcome.Who && e.Came == "" {
				e.Came = outcome.Came
				x.open--
				return true
			}
		}
	}
	return false
}

// flush writes the deeds of which all is known, in order, and the oldest of
// more than may wait. The last may still have more to come.
func (d *deeds) flush(most int) error {
	for len(d.all) > most || len(d.all) > 1 && d.all[0].open == 0 {
		if err := d.write(*d.all[0]); err != nil {
			return err
		}
		d.all = d.all[1:]
	}
	return nil
}

// idle says that a finger came up and nothing came of it.
func (x *deed) idle() bool {
	return x.press && x.head.LetGo && x.head.Came == "done" && len(x.rest) == 0
}
