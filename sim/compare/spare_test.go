package compare_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/compare"
	"cuewright/sim/simtest"
	"cuewright/sim/step"

	"pgregory.net/rapid"
)

// loss is what a part of the small rack takes with it.
func loss(t *testing.T, part string) compare.Loss {
	t.Helper()
	p := simtest.Compile(t, read(t, "small/small.show"), read(t, "small/rack.yaml"))
	for _, l := range compare.Spare(p) {
		if slices.Contains(l.Parts, part) {
			return l
		}
	}
	t.Fatalf("nothing is said of %s", part)
	return compare.Loss{}
}

func words(l compare.Loss) string {
	var b strings.Builder
	put := func(head string, names []string) {
		if len(names) > 0 {
			fmt.Fprintf(&b, "%s: %s\n", head, strings.Join(names, ", "))
		}
	}
	put("any of", l.Parts)
	put("nothing", l.Nothing)
	put("no picture", l.NoPicture)
	for _, x := range l.InPart {
		put(x.Name+" does not", x.Fails)
	}
	for _, x := range l.Lost {
		if x.All {
			put("dark", []string{x.Name})
		} else {
			put(x.Name+" loses", x.Sources)
		}
	}
	put("works", l.Works)
	for _, x := range l.Instead {
		put("for "+x.For, append(x.Salvo, x.Press))
	}
	return b.String()
}

func TestSpare(t *testing.T) {
	for _, c := range []struct{ part, want string }{
		{"goal", `
any of: goal
no picture: cameras 1.2 "Goal"
screens loses: goal
web loses: goal
iso loses: goal
works: cameras 1.1 "Wide", cameras 2.1 "Replay", cameras 2.2 "Quiet", cue 2 "Titles", cue 3 "Kick-off"
`},
		{"hall", `
any of: hall
nothing: crew 2.3 "Lights"
`},
		{"tie line line1", `
any of: tie line line1
no picture: crew 2.4 "Tie"
works: cameras 2.2 "Quiet"
for slides on line1: route line2 from slides, cut effects to line2, 
`},
		{"bay", `
any of: bay, right_screen, cable router.4 → bay input 1, cable bay output 1 → right_screen input 1
crew 1.3 "Doors" does not: route side from slides
crew 1.4 "Again" does not: route side from slides
cue 1 "Doors" does not: route side from slides
dark: side
`},
		{"cable split output 1 → mixer input 1", `
any of: cable split output 1 → mixer input 1
no picture: cameras 1.1 "Wide", cue 3 "Kick-off"
cameras 2.1 "Replay" does not: preset main to wide
cue 2 "Titles" does not: preset main to wide
screens loses: wide
web loses: wide
iso loses: wide
dark: safety
works: cameras 1.2 "Goal", cameras 2.2 "Quiet"
for wide on main: route line2 from wide, cut main to line2, 
`},
	} {
		if got := words(loss(t, c.part)); got != strings.TrimPrefix(c.want, "\n") {
			t.Errorf("%s: got\n%s\nwant%s", c.part, got, c.want)
		}
	}
}

// TestPressInstead: a button that brings the same picture another way is named
// before a salvo is.
func TestPressInstead(t *testing.T) {
	m := simtest.New()
	cam := m.Source("cam", "live")
	far := m.Device("far")
	m.P.Sources[m.SourceOf(cam)].Device, m.P.Nodes[cam].Device = far, far
	one, two := m.Tie("one", m.Switch("r.1", 1, cam)), m.Tie("two", m.Switch("r.2", 1, cam))
	for _, n := range []int32{one, two} {
		m.P.Nodes[n].Device = m.Device(fmt.Sprint("end", n))
	}
	m.Destination("screen", m.Out(m.Switch("aux", 1, one, two)), program.AlwaysOnAir)
	m.Button("first", m.Do(program.Route, 0, cam, 0))
	m.Button("second", m.Do(program.RouteTie, 1, cam, 0), m.Do(program.Route, 0, two, 0))
	for _, l := range compare.Spare(m.Done(t)) {
		if slices.Contains(l.Parts, "tie line one") {
			if len(l.Instead) != 1 || l.Instead[0].Press != `page 1.2 "second"` {
				t.Errorf("%+v", l)
			}
			return
		}
	}
	t.Error("nothing is said of the line")
}

// TestDeadDevice: with a device away, what is said to do nothing sends nothing
// but routes that lead nowhere, and what is said to work fails at nothing that
// the device does.
func TestDeadDevice(t *testing.T) {
	presses := 0
	rapid.Check(t, func(t *rapid.T) {
		k := simtest.Rack(t)
		simtest.Show(t, k)
		p := k.Done(t)
		m := step.New(p)
		losses := compare.Spare(p)
		for d := range p.Devices {
			i := slices.IndexFunc(losses, func(l compare.Loss) bool { return slices.Contains(l.Parts, p.Devices[d].Name) })
			if i < 0 {
				t.Fatalf("nothing is said of %s", p.Devices[d].Name)
			}
			for b := range p.Buttons {
				name := fmt.Sprintf("page %d.%d %q", p.Buttons[b].Row, p.Buttons[b].Column, p.Buttons[b].Label)
				dead := slices.Contains(losses[i].Nothing, name)
				partly := slices.ContainsFunc(losses[i].InPart, func(x compare.Partly) bool { return x.Name == name })
				dark := slices.Contains(losses[i].NoPicture, name)
				s := m.Start()
				m.Apply(s, step.Event{Kind: step.Fault, A: int32(d), B: int32(program.Away)}, nil)
				effects := m.Apply(s, step.Event{Kind: step.Down, A: int32(b)}, nil)
				m.Advance(s, 600*simtest.Second, func(_ step.Event, more []step.Effect) { effects = append(effects, more...) })
				if slices.ContainsFunc(effects, func(e step.Effect) bool { return e.Kind == step.Fired }) {
					continue // go: what the cue does is said of the cue
				}
				presses++
				for _, e := range effects {
					switch {
					case e.Kind == step.Failed && e.Reason == step.DeviceAway && e.Command.Verb != program.Crosspoint && !dead && !partly && !dark:
						t.Fatalf("%s is away and %s is said to work", p.Devices[d].Name, name)
					case e.Kind == step.Sent && e.Command.Verb != program.Crosspoint && dead:
						t.Fatalf("%s is away and %s is said to do nothing", p.Devices[d].Name, name)
					}
				}
			}
		}
	})
	if presses == 0 {
		t.Error("nothing was pressed")
	}
}
