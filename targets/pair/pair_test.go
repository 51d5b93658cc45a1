package pair

import (
	"testing"

	"cuewright/targets/lease"
	"cuewright/targets/surface"
)

// One leads and the other follows it to the letter; the one that follows takes
// no press; one press has it lead, and nothing is sent twice or not at all.
func TestSwitchOver(t *testing.T) {
	d := newDuo(t, false, false)
	leader, follower := d.both()
	if leader != lease.A {
		t.Errorf("%s leads", leader)
	}
	if a := d.tap(leader, "Wide", "1"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
	await(t, "it is sent", func() bool { return len(d.out.heard("cut main to wide")) == 1 })
	if a := d.tap(follower, "Goal", "1"); a.Outcome != surface.Refused {
		t.Errorf("the one that follows takes a press: %+v", a)
	}
	a := d.desks[follower].Press(surface.Press{Kind: surface.SwitchOver, Surface: -1, Cue: -1, By: "me"})
	if a.Outcome != surface.Done {
		t.Errorf("switching over: %+v", a)
	}
	if now, _ := d.inStep(); now != follower {
		t.Errorf("%s leads", now)
	}
	if a := d.tap(follower, "Goal", "2"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
	await(t, "it is sent", func() bool { return len(d.out.heard("cut main to goal")) == 1 })
	if n := len(d.out.heard("cut main to wide")); n != 1 {
		t.Errorf("sent %d times", n)
	}
	d.stop(lease.A)
	d.stop(lease.B)
	d.replays()
}
