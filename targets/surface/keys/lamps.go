package keys

import (
	"encoding/binary"
	"sync"
	"time"

	"cuewright/sim/step"
	"cuewright/targets/surface"
)

// The three lamps of a keyboard: a lamp's index is its code, LED_NUML,
// LED_CAPSL and LED_SCROLLL of input-event-codes.h.
const (
	lampWrong   = iota // Num Lock: look at another surface
	lampRefused        // Caps Lock: what is pressed here is not done
	lampOpen           // Scroll Lock: a cover is open here
	lampCount
)

// alertTime is how long an alert lights the lamp.
const alertTime = 10 * time.Second

// picture is what the lamps say of the surface at.
func picture(v *surface.View, at int32, by string, now time.Time) (on [lampCount]bool) {
	if at < 0 || v.Stale(now) {
		on[lampWrong], on[lampRefused] = true, at < 0
		return on
	}
	last := len(v.Alerts) - 1
	on[lampWrong] = len(v.Away)+len(v.Drifted) > 0 || last >= 0 && now.Sub(v.Alerts[last].At) < alertTime
	on[lampRefused] = v.Held || v.Holder[at] != "" && v.Holder[at] != by
	for _, b := range v.Grid(at) {
		if b >= 0 {
			on[lampWrong] = on[lampWrong] || v.Lamps[b] == step.LampFault
			on[lampOpen] = on[lampOpen] || v.Open[b]
		}
	}
	return on
}

// lamps is what a keyboard shows. Its lock is taken under no other and no other
// under it.
type lamps struct {
	mu    sync.Mutex
	known [lampCount]bool
	on    [lampCount]bool
}

// noticed hears that a lamp has changed. When it was somebody else, such as
// the console on the same board, it is set again.
func (l *lamps) noticed(e Event) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if e.Code < lampCount && (e.Value != 0) != l.on[e.Code] {
		l.known[e.Code] = false
	}
}

// Forget says that any lamp may be on.
func (s *keyboard) Forget() {
	s.lamps.mu.Lock()
	defer s.lamps.mu.Unlock()
	s.lamps.known = [lampCount]bool{}
}

// Lamps is the events that set what is not as it should be: one for each lamp,
// and a report.
func (s *keyboard) Lamps(v *surface.View, now time.Time) []byte {
	var on [lampCount]bool
	if v != nil {
		on = picture(v, v.SurfaceNamed(s.Surface), s.hand.By, now)
	}
	l := &s.lamps
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []byte
	for code := range on {
		if !l.known[code] || l.on[code] != on[code] {
			value := int32(0)
			if on[code] {
				value = 1
			}
			out = s.decoder.appendEvent(out, Event{evLED, uint16(code), value})
		}
	}
	l.known, l.on = [lampCount]bool{true, true, true}, on
	if out != nil {
		out = s.decoder.appendEvent(out, Event{Type: evSyn})
	}
	return out
}

// appendEvent appends an event as the decoder reads it. The system sets its
// time.
func (d *Decoder) appendEvent(to []byte, e Event) []byte {
	to = append(to, make([]byte, d.size-8)...)
	to = binary.LittleEndian.AppendUint16(to, e.Type)
	to = binary.LittleEndian.AppendUint16(to, e.Code)
	return binary.LittleEndian.AppendUint32(to, uint32(e.Value))
}
