package pair

import (
	"fmt"
	"strings"
	"testing"

	"cuewright/macro/timecode"
	"cuewright/targets/chase"
	"cuewright/targets/surface"
)

// Both hear the timecode, and the one that leads fires; what was disarmed is so
// on both, and both show what comes next.
func TestMomentsOfAPair(t *testing.T) {
	d := newDuo(t, false, false)
	leader, follower := d.both()
	rate, _ := timecode.ParseRate("25")
	at, err := rate.ParseLabel("01:02:03:04")
	if err != nil {
		t.Fatal(err)
	}
	runs := func() {
		for _, s := range []int{int(follower), int(leader)} {
			d.desks[s].Timecode(chase.Move{State: chase.Locked, Rate: rate, Frame: at, Ran: 1, Was: -1})
		}
	}
	press := func(kind surface.Kind) {
		t.Helper()
		if a := d.desks[leader].Press(surface.Press{Kind: kind, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: "me"}); a.Outcome != surface.Done {
			t.Fatalf("%+v", a)
		}
	}
	press(surface.Disarm)
	await(t, "both are disarmed", func() bool {
		return fmt.Sprint(d.desks[leader].View().Disarmed) == "[3 4]" && fmt.Sprint(d.desks[follower].View().Disarmed) == "[3 4]"
	})
	runs()
	await(t, "both have heard it", func() bool {
		return d.desks[leader].View().Code.State == "locked" && d.desks[follower].View().Code.State == "locked"
	})
	press(surface.Arm)
	await(t, "both are armed, and show what comes by the clock", func() bool {
		a, b := d.desks[leader].View(), d.desks[follower].View()
		return len(a.Disarmed)+len(b.Disarmed) == 0 && a.Clock != nil && b.Clock != nil && a.Clock.Due.Equal(b.Clock.Due)
	})
	if n := len(d.out.heard("key logo off")); n != 0 {
		t.Errorf("disarmed, it was sent %d times", n)
	}
	runs()
	await(t, "the cue was fired, and both know", func() bool {
		return len(d.out.heard("key logo off")) == 1 && d.desks[leader].View().Code.Next == -1 && d.desks[follower].View().Code.Next == -1
	})
	press(surface.StopAll) // a turn more, in case anything was to come
	if n := len(d.out.heard("key logo off")); n != 1 {
		t.Errorf("sent %d times", n)
	}
	for _, c := range d.desks {
		if label := c.View().Code.Label; !strings.HasPrefix(label, "01:02:03") {
			t.Errorf("the timecode is shown at %q", label)
		}
	}
	d.inStep()
}
