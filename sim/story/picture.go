package story

import (
	"cuewright/macro/program"
	"cuewright/sim/state"
)

// picture says what is to be seen at a node: "deck over wide (mixing) + logo".
// While a transition runs, what comes stands over what goes.
func (t *Teller) picture(s *state.State, node int32) string {
	return t.seen(s, node, len(t.m.P.Nodes))
}

// seen follows a picture upstream through at most left nodes: more than there
// are is a circle.
func (t *Teller) seen(s *state.State, node int32, left int) string {
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
		return t.seen(s, picked(t.m.L, s, sw.Picks, sw.Var), left-1)
	case program.PresetNode:
		b := &p.Banks[n.Owner]
		return t.seen(s, picked(t.m.L, s, b.Picks, b.Preset), left-1)
	case program.BankNode:
		return t.bank(s, &p.Banks[n.Owner], true, left-1)
	case program.CleanNode:
		return t.bank(s, &p.Banks[n.Owner], false, left-1)
	default:
		if len(n.Up) == 0 {
			return "no signal"
		}
		return t.seen(s, n.Up[0], left-1)
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
func (t *Teller) bank(s *state.State, b *program.Bank, keyed bool, left int) string {
	l := t.m.L
	does := l.Get(s, b.Transition)
	if l.Get(s, b.Faded) == 1 && does != program.FadingIn {
		return t.m.P.Sources[b.Black].Name + " (faded)"
	}
	words := t.seen(s, picked(l, s, b.Picks, b.Program), left)
	switch does {
	case program.Mixing, program.Wiping:
		if comes := t.seen(s, picked(l, s, b.Picks, b.Preset), left); comes != words {
			words = comes + " over " + words
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

var transitions = [program.Transitions]string{"none", "mixing", "wiping", "fading to black", "fading from black"}
