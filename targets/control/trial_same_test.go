package control

import (
	"context"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/program"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// desk is devices that do at once what they are told: what their buses stand
// at, by variable. It has its own idea of what a message does.
type desk struct {
	paper
	p      *program.Program
	values map[int32]uint32
}

func newDesk(p *program.Program) *desk {
	d := &desk{p: p, values: map[int32]uint32{}}
	for v, x := range p.Vars {
		d.values[int32(v)] = x.Start
	}
	return d
}

func (d *desk) send(_ context.Context, messages []*program.Message) (int, string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, m := range messages {
		switch c := m.Command; c.Verb {
		case program.CutTo:
			d.values[d.p.Banks[c.A].Program] = uint32(c.B)
		case program.PresetTo:
			d.values[d.p.Banks[c.A].Preset] = uint32(c.B)
		case program.Take, program.Mix, program.Wipe:
			b := &d.p.Banks[c.A]
			d.values[b.Program], d.values[b.Preset] = d.values[b.Preset], d.values[b.Program]
		case program.Fade:
			d.values[d.p.Banks[c.A].Faded] = uint32(c.B)
		case program.KeyTo:
			d.values[d.p.Keyers[c.A].On] = uint32(c.B)
		case program.Crosspoint:
			d.values[d.p.Switches[c.A].Var] = uint32(c.B)
		}
	}
	return len(messages), "", nil
}

// Whatever was pressed before and while a show was on trial: when the one
// before is back, every bus of the devices stands as the show had it when the
// trial began, but for those that were said not to come back.
func TestTrialReturnsWhateverWasPressed(t *testing.T) {
	for _, path := range []string{"small/small.show", "league/league.show"} {
		t.Run(path, func(t *testing.T) {
			r := prepare.Show("../../testdata/shows/"+path, prepare.Disk)
			if r.Program == nil {
				t.Fatal(r.Findings)
			}
			returned := 0
			rapid.Check(t, func(t *rapid.T) { returned += triedAndBack(t, deaf(r.Program)) })
			if returned == 0 {
				t.Error("nothing was ever sent back")
			}
		})
	}
}

// triedAndBack gives how many buses were sent back.
func triedAndBack(t *rapid.T, p *program.Program) int {
	var box testBox
	defer box.close()
	told := newDesk(p)
	other := *p
	other.Show = "another"
	dir := box.dir(t)
	o, hand := byHand(Options{Dir: dir, Env: credentials, Load: func() prepare.Result { return prepare.Result{Program: &other} }})
	o.dial = func(program.Device, osc.Handler, func()) (link, error) { return told, nil }
	c := start(t, p, o)
	press := func(what string) {
		for range rapid.IntRange(0, 15).Draw(t, what) {
			hand.move(int64(rapid.IntRange(0, 3000).Draw(t, "milliseconds")) * 1000)
			x := draw(t, p)
			c.Press(x)
		}
	}
	press("before")
	for _, k := range []surface.Kind{surface.StopAll, surface.Skip} { // so that no script brings a transition
		c.Press(surface.Press{Kind: k, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: "ann"})
		hand.move(60_000_000)
	}
	if _, err := c.Load(surface.Load{By: "ann", Trial: surface.LongestTrial}); err != nil {
		t.Fatal(err)
	}
	press("on trial")
	before := make([]uint32, len(p.Vars))
	stays, sent := map[int32]bool{}, 0
	look(c, func(tried *show) {
		for v := range before {
			before[v] = c.trial.old.m.L.Get(c.trial.old.state, int32(v))
		}
		for _, b := range c.trial.buses {
			stays[b.v] = c.trial.comeback(b).why != ""
		}
		for _, b := range c.trial.moved(tried) {
			if b.why == "" {
				sent++
			}
		}
	})
	if rapid.Bool().Draw(t, "by a press") {
		went(t, c.Press(surface.Press{Kind: surface.Return, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: "bob"}))
	} else {
		hand.move(surface.LongestTrial.Microseconds())
		await(t, "it is back", func() bool {
			hand.move(viewEvery) // until there is a new view
			return c.View().Program == p
		})
	}
	look(c, func(old *show) {
		for v, x := range old.p.Vars {
			if got := old.m.L.Get(old.state, int32(v)); isBus(x.Kind) && got != before[v] && !stays[int32(v)] {
				t.Errorf("%s is taken to be %s, and was %s", x.Name, old.tell.Value(int32(v), got), old.tell.Value(int32(v), before[v]))
			}
		}
	})
	stop(t, c)
	for v, x := range p.Vars {
		if got := told.values[int32(v)]; isBus(x.Kind) && got != before[v] && !stays[int32(v)] && reachable(p, int32(v)) {
			t.Errorf("%s of its device is %d, and was %d", x.Name, got, before[v])
		}
	}
	replays(t, dir)
	return sent
}
