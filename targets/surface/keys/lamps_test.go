package keys

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

var lampWords = [lampCount]string{lampWrong: "wrong", lampRefused: "refused", lampOpen: "open"}

// lit is the lamps that are on, in words.
func lit(on [lampCount]bool) string {
	var words []string
	for code, is := range on {
		if is {
			words = append(words, lampWords[code])
		}
	}
	return strings.Join(words, " ")
}

// TestPicture: what lights a lamp, and what does not.
func TestPicture(t *testing.T) {
	const me = "keys /dev/input/event3"
	p := surfacetest.Show(t)
	for _, c := range []struct {
		name string
		make func(d *surfacetest.Desk, v *surface.View)
		want string
	}{
		{"all is well", func(*surfacetest.Desk, *surface.View) {}, ""},
		{"held", func(_ *surfacetest.Desk, v *surface.View) { v.Held = true }, "refused"},
		{"a device is away", func(d *surfacetest.Desk, v *surface.View) {
			d.Event(step.Fault, surfacetest.Device(t, p, "mixer"), int32(program.Away))
			*v = *d.View()
		}, "wrong"},
		{"one has drifted", func(_ *surfacetest.Desk, v *surface.View) { v.Drifted = []int32{0} }, "wrong"},
		{"an alert now", func(_ *surfacetest.Desk, v *surface.View) {
			v.Alerts = []surface.Alert{{At: v.At, Text: "the clip did not cue"}}
		}, "wrong"},
		{"an alert a while ago", func(_ *surfacetest.Desk, v *surface.View) {
			v.Alerts = []surface.Alert{{At: v.At.Add(-time.Minute), Text: "the clip did not cue"}}
		}, ""},
		{"a button here shows fault", func(_ *surfacetest.Desk, v *surface.View) { v.Lamps[v.Grid(0)[0]] = step.LampFault }, "wrong"},
		{"a cover is open", func(_ *surfacetest.Desk, v *surface.View) { v.Open[surfacetest.Guarded(t, p)] = true }, "open"},
		{"somebody has taken it over", func(_ *surfacetest.Desk, v *surface.View) { v.Holder[0] = "web 192.0.2.7" }, "refused"},
		{"this keyboard has taken it over", func(_ *surfacetest.Desk, v *surface.View) { v.Holder[0] = me }, ""},
		{"the controller does not turn", func(_ *surfacetest.Desk, v *surface.View) { v.At = v.At.Add(-time.Minute) }, "wrong"},
		{"a show without the surface", func(_ *surfacetest.Desk, v *surface.View) { v.Program = &program.Program{} }, "wrong refused"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := surfacetest.New(t, p)
			v := *d.View()
			c.make(d, &v)
			if got := lit(picture(&v, v.SurfaceNamed("desk"), me, time.Now())); got != c.want {
				t.Errorf("lit: %q, want %q", got, c.want)
			}
		})
	}
}

// events is what was written to a keyboard, in words.
func events(data []byte, bits int) string {
	var words []string
	NewDecoder(bits).Decode(data, func(e Event) {
		switch {
		case e.Type == evLED && e.Code < lampCount:
			words = append(words, lampWords[e.Code]+map[int32]string{0: " off", 1: " on"}[e.Value])
		case e == (Event{Type: evSyn}):
			words = append(words, "report")
		default:
			words = append(words, "?")
		}
	})
	return strings.Join(words, ", ")
}

// TestLampsOnChange: all at first, then what changes, again what somebody else
// has changed, and at the end none is on.
func TestLampsOnChange(t *testing.T) {
	for _, bits := range []int{32, 64} {
		d := surfacetest.New(t, surfacetest.Show(t))
		s := Config{Surface: "desk", Bits: bits}.speak(nil, &surface.Hand{Desk: d}).(*keyboard)
		next := func(what, want string) {
			t.Helper()
			if got := events(s.Lamps(d.View(), time.Now()), bits); got != want {
				t.Errorf("%s: %q, want %q", what, got, want)
			}
		}
		next("at first", "wrong off, refused off, open off, report")
		next("the same again", "")
		d.Hold()
		next("held", "refused on, report")
		s.Hear(recorded(bits, Event{evLED, lampRefused, 1}))
		next("its own echo", "")
		s.Hear(recorded(bits, Event{evLED, lampRefused, 0}, Event{evLED, 7, 1}))
		next("a console has put it out", "refused on, report")
		s.Forget()
		next("nobody knows what is on", "wrong off, refused on, open off, report")
		if got := events(s.Lamps(nil, time.Now()), bits); got != "refused off, report" {
			t.Errorf("at the end: %q", got)
		}
	}
}

// TestWrittenIsRead: what is written for a lamp is what the decoder reads, on
// both sizes of machine.
func TestWrittenIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := NewDecoder(rapid.SampledFrom([]int{32, 64}).Draw(t, "bits"))
		want := Event{rapid.Uint16().Draw(t, "type"), rapid.Uint16().Draw(t, "code"), rapid.Int32().Draw(t, "value")}
		var got []Event
		d.Decode(d.appendEvent(nil, want), func(e Event) { got = append(got, e) })
		if len(got) != 1 || got[0] != want {
			t.Fatalf("%v came back as %v", want, got)
		}
	})
}
