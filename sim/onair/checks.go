package onair

import (
	"slices"

	"cuewright/macro/program"
)

// Codes are the codes of the watch, in the order in which they are told.
func Codes() []string {
	return []string{"camera-moved-on-air", "deck-touched-on-air", "deck-ran-out-on-air", "source-changed-on-air", "feedback-loop",
		"picture-refused", "recorder-source-changed", "protected-changed", "live-without-recording", "transition-over-transition",
		"tie-lines-exhausted", "no-path", "rival-macros", "operators-collide", "flashing", "device-did-not-act"}
}

// Checks are all checks of a code that this rack and this show give reason
// for. What cannot be by the cables, whatever is switched, and what nothing in
// the show does is left out. Codes that need history have none: two running
// scripts are Rivals, flashes need the times.
func (w *Watch) Checks(code string) []Check {
	var list []Check
	each := func(n int, keep func(i int32) bool) {
		for i := range int32(n) {
			if keep(i) {
				list = append(list, Check{code, i, -1})
			}
		}
	}
	done := func(i int32) bool { return len(w.who(w.does(Check{code, i, -1}))) > 0 }
	p := w.p
	switch code {
	case "camera-moved-on-air":
		for i, c := range p.Cameras {
			if c.Robotic && done(int32(i)) {
				list = append(list, w.seen(code, int32(i), c.Source)...)
			}
		}
	case "deck-touched-on-air", "deck-ran-out-on-air":
		for i, d := range p.Decks {
			if code == "deck-ran-out-on-air" && w.ends(int32(i)) || code == "deck-touched-on-air" && done(int32(i)) {
				list = append(list, w.seen(code, int32(i), d.Source)...)
			}
		}
	case "source-changed-on-air":
		list = w.underfoot()
	case "feedback-loop":
		each(len(w.circles()), func(int32) bool { return true })
	case "picture-refused":
		for d, to := range p.Destinations {
			for _, s := range to.Refuses {
				if w.wayOf(s, p.Sources[s].Node).from[to.Node] {
					list = append(list, Check{code, s, int32(d)})
				}
			}
		}
	case "recorder-source-changed":
		each(len(p.Recorders), func(i int32) bool {
			return slices.ContainsFunc(p.Inputs, func(in program.Input) bool { return in.Recorder == i && w.switched(in.Node) })
		})
	case "protected-changed":
		each(len(p.Destinations), w.movesUnder)
	case "live-without-recording":
		each(len(p.Encoders), func(int32) bool { return len(p.Recorders) > 0 })
	case "transition-over-transition":
		each(len(p.Banks), func(i int32) bool {
			return w.acts(func(a *program.Action) bool {
				return a.A == i && (a.Verb == program.Mix || a.Verb == program.Wipe || a.Verb == program.Fade)
			})
		})
	case "tie-lines-exhausted", "no-path":
		each(len(p.Destinations)+len(p.Ties), func(i int32) bool {
			return w.acts(func(a *program.Action) bool {
				return w.does(Check{code, i, -1})(a) && w.pathless(a) == (code == "no-path") && !w.direct(a) && !w.free(a)
			})
		})
	case "device-did-not-act":
		each(len(p.Devices), func(i int32) bool { return w.used(i) })
	}
	return list
}

// seen are the checks of a thing at each place on air that can show its source.
func (w *Watch) seen(code string, of, source int32) []Check {
	var list []Check
	if source < 0 {
		return nil
	}
	can := w.wayOf(source, w.p.Sources[source].Node)
	for d, to := range w.p.Destinations {
		if to.OnAir != program.NeverOnAir && can.from[to.Node] {
			list = append(list, Check{code, of, int32(d)})
		}
	}
	return list
}

// underfoot are the checks of switches that a destination on air may show
// without their being its own.
func (w *Watch) underfoot() []Check {
	var list []Check
	for s, sw := range w.p.Switches {
		if n := 0; !slices.ContainsFunc(w.values()[sw.Var], func(is bool) bool { n += map[bool]int{true: 1}[is]; return n > 1 }) {
			continue // it never changes
		}
		can := w.wayOf(-1, sw.Node)
		for d, to := range w.p.Destinations {
			if to.OnAir != program.NeverOnAir && w.own[d] != int32(s) && can.from[to.Node] {
				list = append(list, Check{"source-changed-on-air", int32(s), int32(d)})
			}
		}
	}
	return list
}

// ends says whether a deck is ever played with a clip that ends by itself.
func (w *Watch) ends(deck int32) bool {
	played := w.who(func(a *program.Action) bool { return a.Verb == program.Play && a.A == deck })
	return len(played) > 0 && slices.ContainsFunc(w.p.Decks[deck].Clips, func(c int32) bool { return w.p.Clips[c].Length > 0 })
}

// movesUnder says whether a destination is ever protected, and its picture can
// change then: by more than routes to itself, which are refused.
func (w *Watch) movesUnder(d int32) bool {
	if !w.acts(func(a *program.Action) bool { return a.Verb == program.Protect && a.A == d && a.B == 1 }) && w.p.Vars[w.p.Destinations[d].Protect].Start == 0 {
		return false
	}
	return w.acts(func(a *program.Action) bool {
		if a.Verb != program.RouteTie && (a.Verb != program.Route || a.A == d) {
			return false
		}
		return slices.ContainsFunc(w.routed(a), func(s int32) bool { return w.beforeOrigin(w.p.Destinations[d].Node, s) })
	})
}

// beforeOrigin says whether a switch can be one of those that lead up from a
// node to where its picture is made.
func (w *Watch) beforeOrigin(node, sw int32) bool {
	been := make([]bool, len(w.p.Nodes))
	for todo := []int32{node}; len(todo) > 0; {
		at := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		n := &w.p.Nodes[at]
		if been[at] || n.Kind != program.PassNode && n.Kind != program.SwitchNode {
			continue
		}
		been[at] = true
		if n.Kind == program.SwitchNode && n.Owner == sw {
			return true
		}
		w.feeds(at, false, func(up int32) { todo = append(todo, up) })
	}
	return false
}

// switched says whether a switch stands before a node, so that its picture can
// come from elsewhere.
func (w *Watch) switched(node int32) bool {
	for range w.p.Nodes {
		n := &w.p.Nodes[node]
		switch {
		case n.Kind == program.SwitchNode:
			return true
		case n.Kind != program.PassNode || len(n.Up) == 0:
			return false
		}
		node = n.Up[0]
	}
	return false
}

// used says whether the show tells a device anything: by an action, or by a
// route through one of its switches.
func (w *Watch) used(device int32) bool {
	if slices.ContainsFunc(w.p.Actions, func(a program.Action) bool { return a.Device == device }) {
		return true
	}
	routes := len(w.who(func(a *program.Action) bool { return a.Verb == program.Route || a.Verb == program.RouteTie })) > 0
	return routes && slices.ContainsFunc(w.p.Switches, func(s program.Switch) bool { return s.Device == device })
}
