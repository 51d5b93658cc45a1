package compare

import (
	"slices"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/simtest"
	"cuewright/sim/step"

	"pgregory.net/rapid"
)

// TestReachIsNeverTooLittle: whatever is pressed, when, and whatever device
// fails, no node ever shows a source that it is said not to reach; nor does it
// in the rack with a part cut out, when the show goes on as if it were there.
func TestReachIsNeverTooLittle(t *testing.T) {
	shown := 0
	rapid.Check(t, func(t *rapid.T) {
		k := simtest.Rack(t)
		simtest.Show(t, k)
		p := k.Done(t)
		parts := newVersion(p).allParts()
		x := rapid.SampledFrom(parts).Draw(t, "dead")
		dead := cutOff(p, x.cut)
		m := step.New(p)
		whole, cut := reachOf(p, everything), reachIn(newWayBook(p), dead.Nodes, everything)
		looks := []*signal.Graph{m.Graph, signal.New(dead, m.L)}
		s := m.Start()
		check := func() {
			for i, r := range []*reach{whole, cut} {
				looks[i].Look(s)
				for n := range p.Nodes {
					looks[i].At(int32(n)).Each(func(source int32) bool {
						if shown++; !r.has(int32(n), source) {
							t.Fatalf("%s: node %d (%s) shows %s", x.name, n, p.Nodes[n].Label, p.Sources[source].Name)
						}
						return true
					})
				}
			}
		}
		check()
		events, gaps := simtest.Events(t, p)
		for i, e := range events {
			m.Advance(s, s.Now+gaps[i], func(step.Event, []step.Effect) { check() })
			e.At = s.Now
			m.Apply(s, e, nil)
			check()
		}
	})
	if shown == 0 {
		t.Error("nothing was ever shown")
	}
}

// TestWays: every crosspoint that the stepper sends for a route is of a switch
// on its ways.
func TestWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := simtest.Rack(t)
		simtest.Show(t, k)
		p := k.Done(t)
		m := step.New(p)
		s := m.Start()
		events, _ := simtest.Events(t, p)
		for _, e := range events {
			for _, f := range m.Apply(s, e, nil) {
				if f.Kind != step.Sent || f.Command.Verb != program.Crosspoint {
					continue
				}
				a := &p.Actions[f.Action]
				to := int32(0)
				if a.Verb == program.Route {
					to = p.Destinations[a.A].Node
				} else {
					to = p.Switches[p.Ties[a.A].Switch].Node
				}
				if !slices.Contains(ways(p, to, a.B), f.Command.A) {
					t.Fatalf("switch %s is on no way of %s", p.Switches[f.Command.A].Name, p.Nodes[a.B].Label)
				}
			}
		}
	})
}
