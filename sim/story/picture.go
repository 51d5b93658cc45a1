package story

import (
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/state"
)

// Picture is what is to be seen at a node: "deck over wide (mixing) + logo".
func (t *Teller) Picture(s *state.State, node int32) string { return t.picture(s, node) }

// picture says what is to be seen at a node: "deck over wide (mixing) + logo".
// While a transition runs, what comes stands over what goes.
func (t *Teller) picture(s *state.State, node int32) string {
	return t.seen(s, node, len(t.m.P.Nodes), nil)
}

// deepest is how many banks, one in the other, are told by what they show; one
// deeper is told by its name. A mix tells two pictures, so that without a
// bound the words double with each bank.
const deepest = 2

// seen follows a picture upstream, within the banks of inside, through at most
// left nodes. Coming again to one of these banks, or past more nodes than
// there are, it goes in a circle.
func (t *Teller) seen(s *state.State, node int32, left int, inside []int32) string {
	if node < 0 {
		return "no signal"
	}
	if left == 0 {
		return "a picture of itself"
	}
	p := t.m.P
	switch n := &p.Nodes[node]; n.Kind {
	case program.SourceNode:
		return p.Sources[n.Owner].Name
	case program.SwitchNode:
		sw := &p.Switches[n.Owner]
		return t.seen(s, picked(t.m.L, s, sw.Picks, sw.Var), left-1, inside)
	case program.PresetNode:
		b := &p.Banks[n.Owner]
		return t.seen(s, picked(t.m.L, s, b.Picks, b.Preset), left-1, inside)
	case program.BankNode:
		return t.bank(s, n.Owner, true, left-1, inside)
	case program.CleanNode:
		return t.bank(s, n.Owner, false, left-1, inside)
	default:
		if len(n.Up) == 0 {
			return "no signal"
		}
		return t.seen(s, n.Up[0], left-1, inside)
	}
}

// picked is the node that a bus has picked, or -1.
func picked(l *state.Layout, s *state.State, picks []program.Pick, v int32) int32 {
	if len(picks) == 0 {
		return -1
	}
	return picks[l.Get(s, v)].Node
}

// bank says what a bank puts out, with or without its keyers.
func (t *Teller) bank(s *state.State, bank int32, keyed bool, left int, inside []int32) string {
	l, b := t.m.L, &t.m.P.Banks[bank]
	switch {
	case slices.Contains(inside, bank):
		return "a picture of itself"
	case len(inside) == deepest:
		return b.Name
	}
	inside = append(slices.Clip(inside), bank)
	does := l.Get(s, b.Transition)
	if l.Get(s, b.Faded) == 1 && does != program.FadingIn {
		return t.m.P.Sources[b.Black].Name + " (faded)"
	}
	words := t.seen(s, picked(l, s, b.Picks, b.Program), left, inside)
	switch does {
	case program.Mixing, program.Wiping:
		if comes := t.seen(s, picked(l, s, b.Picks, b.Preset), left, inside); comes != words {
			words = part(comes) + " over " + part(words)
		}
		words += " (" + transitions[does] + ")"
	case program.FadingOut, program.FadingIn:
		words += " (" + transitions[does] + ")"
	}
	if !keyed {
		return words
	}
	for _, k := range b.Keyers {
		if l.Get(s, t.m.P.Keyers[k].On) == 1 {
			words += " + " + t.m.P.Keyers[k].Name
		}
	}
	return words
}

// part is a picture as a part of a mix: in brackets when it is one itself.
func part(words string) string {
	if strings.Contains(words, " over ") {
		return "[" + words + "]"
	}
	return words
}

var transitions = [program.Transitions]string{"none", "mixing", "wiping", "fading to black", "fading from black"}
