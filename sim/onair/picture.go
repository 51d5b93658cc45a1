package onair

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/signal"
	"cuewright/sim/step"
)

// shows names what the picture at a node comes from.
func (w *Watch) shows(g *signal.Graph, node int32) string {
	at := g.Origin(node)
	if at < 0 {
		return "nothing"
	}
	n := &w.p.Nodes[at]
	switch n.Kind {
	case program.SourceNode:
		if n.Owner == 0 {
			return "nothing"
		}
		return "`" + w.p.Sources[n.Owner].Name + "`"
	case program.CleanNode:
		return "`" + w.p.Banks[n.Owner].Name + "` clean"
	case program.PresetNode:
		return "`" + w.p.Banks[n.Owner].Name + "` preset"
	}
	return "`" + w.p.Banks[n.Owner].Name + "`"
}

// crosspoints looks for a crosspoint that changed under a picture on air, when
// nobody asked for another picture there: the destination's own switch still
// looks the same way.
func (w *Watch) crosspoints(on scope) {
	for s := range w.p.Switches {
		sw := &w.p.Switches[s]
		if !on.about(int32(s)) || w.was(sw.Var) == w.is(sw.Var) || w.gb.Origin(sw.Node) == w.ga.Origin(sw.Node) {
			continue
		}
		for d := range w.p.Destinations {
			if on.sees(d) && w.under(int32(s), int32(d)) {
				if w.answered() {
					return
				}
				why := w.blame(func(c program.Command) bool { return c.Verb == program.Crosspoint && c.A == int32(s) })
				w.say("source-changed-on-air", why, fmt.Sprintf("`%s` changes from %s to %s while `%s` shows it on air",
					w.carries(int32(s)), w.shows(w.gb, sw.Node), w.shows(w.ga, sw.Node), w.p.Destinations[d].Name),
					Note{w.p.Destinations[d].At, "the destination"})
				break
			}
		}
	}
}

// carries names a switch by its tie line, if it feeds one.
func (t *tables) carries(sw int32) string {
	for _, tie := range t.p.Ties {
		if tie.Switch == sw {
			return tie.Name
		}
	}
	return t.p.Switches[sw].Name
}

// under says whether destination d is on air all the time and shows switch sw
// all the time, without its having been routed for d.
func (w *Watch) under(sw, d int32) bool {
	to := &w.p.Destinations[d]
	if w.own[d] == sw || !w.gb.OnAirDestination(d) || !w.ga.OnAirDestination(d) {
		return false
	}
	out := w.p.Switches[sw].Node
	return !w.askedFor(sw, d) && w.through(w.gb, to.Node, out) && w.through(w.ga, to.Node, out)
}

// askedFor says whether switch sw was set by a route to destination d.
func (w *Watch) askedFor(sw, d int32) bool {
	return slices.ContainsFunc(w.effects, func(e step.Effect) bool {
		if e.Kind != step.Sent || e.Command.Verb != program.Crosspoint || e.Command.A != sw {
			return false
		}
		if e.Action < 0 { // a safe picture after a power cut
			return w.event.Kind == step.Safe && w.event.A == d
		}
		a := &w.p.Actions[e.Action]
		return a.Verb == program.Route && (a.A == d || w.own[a.A] == w.own[d] && w.own[d] >= 0)
	})
}

// loops looks for feedback loops that were not there before.
func (w *Watch) loops(scope) {
	loops := w.ga.Loops()
	if len(loops) == 0 {
		return
	}
	old := w.gb.Loops()
	for _, loop := range loops {
		fresh := slices.ContainsFunc(loop, func(n int32) bool {
			return !slices.ContainsFunc(old, func(o []int32) bool { _, was := slices.BinarySearch(o, n); return was })
		})
		if fresh {
			w.say("feedback-loop", w.blame(w.onPicture(loop[0])), w.loopInWords(loop))
		}
	}
}

func (w *Watch) loopInWords(loop []int32) string {
	names := w.namesIn(loop)
	if len(names) == 0 {
		return "`" + w.p.Nodes[loop[0]].Label + "` is in its own picture"
	}
	if len(names) == 1 {
		return names[0] + " is in its own picture"
	}
	return names[0] + " is in its own picture, through " + strings.Join(names[1:], ", ")
}

// namesIn names the banks, switches and pictures among nodes, in backticks.
func (w *Watch) namesIn(nodes []int32) []string {
	var names []string
	for _, at := range nodes {
		n := &w.p.Nodes[at]
		name := ""
		switch n.Kind {
		case program.BankNode:
			name = w.p.Banks[n.Owner].Name
		case program.SwitchNode:
			name = w.carries(n.Owner)
		case program.SourceNode:
			name = w.p.Sources[n.Owner].Name
		}
		if name != "" && !slices.Contains(names, "`"+name+"`") {
			names = append(names, "`"+name+"`")
		}
	}
	return names
}

// refused looks for a picture that a destination may not show and did not.
func (w *Watch) refused(on scope) {
	for d := range w.p.Destinations {
		to := &w.p.Destinations[d]
		for _, s := range to.Refuses {
			if on.sees(d) && on.about(s) && w.has(w.ga, to.Node, s) && !w.has(w.gb, to.Node, s) && !w.answered() {
				w.say("picture-refused", w.blame(w.onPicture(to.Node)),
					fmt.Sprintf("`%s` shows `%s`, which it may not", to.Name, w.p.Sources[s].Name), Note{to.At, "the destination"})
			}
		}
	}
}

// recordings looks for another picture on a rolling recorder.
func (w *Watch) recordings(on scope) {
	for _, in := range w.p.Inputs {
		if in.Recorder < 0 || !on.about(in.Recorder) {
			continue
		}
		r := &w.p.Recorders[in.Recorder]
		rolling := w.was(r.State) == program.MachineRunning && w.is(r.State) == program.MachineRunning
		if rolling && w.gb.Origin(in.Node) != w.ga.Origin(in.Node) && !w.answered() {
			w.say("recorder-source-changed", w.blame(w.onPicture(in.Node)), fmt.Sprintf("`%s` is rolling and its picture changes from %s to %s",
				r.Name, w.shows(w.gb, in.Node), w.shows(w.ga, in.Node)), Note{r.At, "the recorder"})
		}
	}
}

// protected looks for another picture on a destination that was and is
// protected.
func (w *Watch) protected(on scope) {
	for i, d := range w.p.Destinations {
		if on.about(int32(i)) && w.was(d.Protect) == 1 && w.is(d.Protect) == 1 && w.gb.Origin(d.Node) != w.ga.Origin(d.Node) && !w.answered() {
			w.say("protected-changed", w.blame(w.onPicture(d.Node)), fmt.Sprintf("`%s` is protected and changes from %s to %s",
				d.Name, w.shows(w.gb, d.Node), w.shows(w.ga, d.Node)), Note{d.At, "the destination"})
		}
	}
}

// flash is when the picture of a destination changed last: the times of the
// last six changes in a ring, and whether the finding has been made.
type flash struct {
	times [6]int64
	count int
	said  bool
}

// flashing counts changes of the picture on air. A flash is a pair of
// opposing changes, so six changes are three flashes, and the seventh within
// one second is more than WCAG 2.2 SC 2.3.1 allows. Brightness is not known:
// every change of the picture at the bottom counts, which errs to the safe
// side.
func (w *Watch) flashing() {
	for d := range w.p.Destinations {
		to := &w.p.Destinations[d]
		if !w.ga.OnAirDestination(int32(d)) || w.gb.Base(to.Node) == w.ga.Base(to.Node) {
			continue
		}
		f, now := &w.flashes[d], w.after.Now
		oldest := f.times[f.count%len(f.times)]
		tooMany := f.count >= len(f.times) && now-oldest <= 1_000_000
		f.times[f.count%len(f.times)] = now
		f.count++
		if tooMany && !f.said {
			w.say("flashing", w.blame(w.onPicture(to.Node)),
				fmt.Sprintf("the picture on `%s` changes %d times within one second", to.Name, len(f.times)+1), Note{to.At, "the destination"})
		}
		f.said = tooMany
	}
}
