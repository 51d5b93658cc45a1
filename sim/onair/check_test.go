package onair_test

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/step"

	"pgregory.net/rapid"
)

// byHistory are the codes that a single event cannot decide.
var byHistory = []string{"rival-macros", "operators-collide", "flashing"}

// One meaning: on any rack, with any show, pressed in any way, what Look finds
// is what its checks find one by one; what a check is sure cannot be, is not;
// and a state that a check calls wrong is one that Look called so when it came.
func TestChecksAreLook(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		m := simtest.Rack(t)
		simtest.Show(t, m)
		for i := range m.P.Destinations {
			m.P.Destinations[i].Refuses = rapid.SliceOfNDistinct(rapid.Int32Range(1, int32(len(m.P.Sources)-1)), 0, 3, rapid.ID).Draw(t, "refuses")
		}
		p := m.Done(t)
		events, gaps := simtest.Events(t, p)
		r := start(p)
		asked := onair.NewWatch(p, r.m.L)
		each := func(e step.Event, effects []step.Effect) {
			before := onair.Side{Layout: r.m.L, State: r.before, Graph: signal.New(p, r.m.L)}
			after := onair.Side{Layout: r.m.L, State: r.s, Graph: signal.New(p, r.m.L)}
			before.Graph.Look(r.before)
			after.Graph.Look(r.s)
			for _, code := range onair.Codes() {
				found := slices.ContainsFunc(r.lastAlone, func(f onair.Finding) bool { return f.Code == code })
				seen[code] += map[bool]int{true: 1}[found]
				if slices.Contains(byHistory, code) {
					collides := slices.ContainsFunc(asked.Rivals(), func(x onair.Rival) bool {
						return x.Code == code && asked.Collides(x, before, after, e, effects)
					})
					if found && code != "flashing" && !collides {
						t.Fatalf("%s is found, and no rival collides: %+v", code, r.lastAlone)
					}
					continue
				}
				asks := false
				for _, c := range asked.Checks(code) {
					yes := asked.Asks(c, before, after, e, effects)
					if said := len(asked.Finds(c, before, after, e, effects)) > 0; said != yes {
						t.Fatalf("%+v: asked %v, finds %v", c, yes, said)
					}
					wrong, lasting := asked.Stands(c, after)
					was, _ := asked.Stands(c, before)
					if lasting && yes != (wrong && !was) && c.Code != "feedback-loop" {
						t.Fatalf("%+v: asked %v, but stands %v after %v", c, yes, wrong, was)
					}
					if yes && lasting && !wrong {
						t.Fatalf("%+v: found, and does not stand", c)
					}
					asks = asks || yes
				}
				if asks != found {
					t.Fatalf("%s: asked %v, looked %v, after %+v\n%+v", code, asks, found, e, r.lastAlone)
				}
			}
		}
		r.each = each
		for i, e := range events {
			if e.Kind == step.Observe {
				continue // a proof takes devices to do as they are told
			}
			r.pass(gaps[i])
			if r.m.Enabled(r.s, e) {
				r.apply(e)
			}
		}
	})
	t.Log(seen)
}

// A check that the cables or the show rule out is not made.
func TestChecksThatCanMatter(t *testing.T) {
	p := simtest.Compile(t, show("", "recall goal shot 2", "route screens from slides; route side from goal; cut main to goal"), smallRack(t))
	w := onair.NewWatch(p, step.New(p).L)
	for code, want := range map[string]int{
		"camera-moved-on-air":        1, // `goal` on web, by main; the show brings it nowhere else
		"deck-touched-on-air":        0,
		"deck-ran-out-on-air":        0,
		"transition-over-transition": 0,
		"protected-changed":          0,
		"no-path":                    1, // `goal` to side
		"tie-lines-exhausted":        0, // `slides` to screens by a line that nothing else ever uses
		"live-without-recording":     1,
	} {
		if got := w.Checks(code); len(got) != want {
			t.Errorf("%s: %+v, want %d", code, got, want)
		}
	}
	for _, c := range w.Checks("picture-refused") {
		if p.Destinations[c.At].Name == "" || p.Sources[c.Of].Picture == "nothing" {
			t.Errorf("%+v", c)
		}
	}
}

// A loop that cables make possible and that some button could close is a
// circle; one that nothing in the show selects, or no cable leads back, is none.
func TestCircles(t *testing.T) {
	for _, c := range []struct {
		name                       string
		cable, cutsThere, routesIt bool
		want                       int
	}{
		{"all", true, true, true, 1},
		{"no cable", false, true, true, 0},
		{"never cut to the line", true, false, true, 0},
		{"never routed to the line", true, true, false, 0},
	} {
		m := simtest.New()
		cam := m.Source("cam", "live")
		main := m.Bank("main", cam)
		out := m.Switch("router.1", cam, m.BankOut(main))
		line := m.Tie("line1", out)
		if c.cable {
			m.BankTakes(main, line)
		} else {
			m.BankTakes(main, cam)
		}
		m.Destination("screens", m.BankOut(main), program.NeverOnAir)
		if c.cutsThere {
			m.Button("cut", m.Do(program.CutTo, main, 1, 0))
		}
		if c.routesIt {
			m.Button("route", m.Do(program.RouteTie, 0, m.BankOut(main), 0))
		}
		p := m.Done(t)
		if got := onair.NewWatch(p, step.New(p).L).Checks("feedback-loop"); len(got) != c.want {
			t.Errorf("%s: %v, want %d", c.name, got, c.want)
		}
	}
}
