package control

import (
	"slices"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// noDevices is devices that take everything.
func noDevices(program.Device, osc.Handler, func()) (link, error) { return &paper{}, nil }

// A night becomes a rehearsal that says what was pressed and when, to the
// microsecond, and is honest about the rest.
func TestNight(t *testing.T) {
	p := deaf(compiled(t))
	dir := t.TempDir()
	o, hand := byHand(Options{Dir: dir, dial: noDevices})
	c := start(t, p, o)
	after := func(wait time.Duration, x surface.Press) {
		hand.move(wait.Microseconds())
		went(t, c.Press(x))
	}
	up := func(label string) surface.Press {
		x := down(button(t, p, label))
		x.Kind = surface.Up
		return x
	}
	after(time.Second, down(button(t, p, "Wide")))
	after(500*time.Millisecond, down(button(t, p, "Goal")))
	after(1500*time.Microsecond, up("Goal"))
	after(time.Second, down(button(t, p, "Talk")))
	after(time.Second, down(button(t, p, "Wide"))) // while a finger is on Talk
	after(time.Second, up("Talk"))
	after(time.Second, surface.Press{Kind: surface.StopAll, Surface: -1, Button: -1, Cue: -1, By: "test"})
	stop(t, c)
	nights, _, err := Nights(dir)
	if err != nil || len(nights) != 1 {
		t.Fatal(err, nights)
	}
	want := []string{"after 1s", "press cameras 1.1", "after 500ms", "hold cameras 1.2 for 0.0015s", "after 1s",
		"# a rehearsal cannot say this: the finger stays on `Talk` while something else is done",
		"hold cameras 1.3 for 1s", "press cameras 1.1", "after 2s", "# a rehearsal cannot say this: stop everything that runs"}
	if n := nights[0]; !slices.Equal(n.Lines, want) || n.Unsaid != 2 || n.Show != p.Show {
		t.Errorf("%+v\nwant %q", n, want)
	}
}

// A night is skipped where it does not begin at power-on, and ends where another
// show is loaded.
func TestNightThatIsNoRehearsal(t *testing.T) {
	p := deaf(compiled(t))
	dir := t.TempDir()
	o, _ := byHand(Options{Dir: dir, dial: noDevices})
	c := start(t, p, o)
	went(t, c.Press(down(button(t, p, "Wide"))))
	c.flush()
	for { // until the disk has the press
		if nights, _, err := Nights(dir); err != nil {
			t.Fatal(err)
		} else if len(nights) > 0 && len(nights[0].Lines) > 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	left := cut(t, dir)
	stop(t, c)
	o, _ = byHand(Options{Dir: left, dial: noDevices})
	stop(t, start(t, p, o))
	nights, _, err := Nights(left)
	if err != nil || len(nights) != 2 || nights[0].Skipped != "" || nights[1].Skipped == "" {
		t.Errorf("%v %+v", err, nights)
	}
}
