package syntax

import (
	"slices"

	"cuewright/macro/source"
)

// Walk visits every item, button, cue, step, lamp, block, statement and
// condition in the order of the file. Where visit gives false, what is inside
// is not visited.
func Walk(f *File, visit func(n any) bool) {
	for _, item := range f.Items {
		walk(item, visit)
	}
}

func walk(n any, visit func(n any) bool) {
	if !visit(n) {
		return
	}
	switch n := n.(type) {
	case *Macro:
		walk(n.Body, visit)
	case *Salvo:
		walk(n.Body, visit)
	case *Page:
		walkPage(n, visit)
	case *Button:
		walkButton(n, visit)
	case *Rundown:
		for _, c := range n.Cues {
			walk(c, visit)
		}
	case *Cue:
		walk(n.Body, visit)
	case *Rule:
		walkCond(n.Cond, visit)
		walkCond(n.While, visit)
	case *Rehearsal:
		for _, s := range n.Steps {
			walk(s, visit)
		}
	case *Step:
		walkCond(n.Cond, visit)
	case *Lamp:
		walkCond(n.When, visit)
	case *Block:
		for _, s := range n.Statements {
			walk(s, visit)
		}
	case *Until:
		walkCond(n.Cond, visit)
		walkBlock(n.Else, visit)
	case *If:
		walkCond(n.Cond, visit)
		walk(n.Then, visit)
		walkBlock(n.Else, visit)
	case *Together:
		walk(n.Body, visit)
	}
}

func walkCond(c *Cond, visit func(n any) bool) {
	if c != nil {
		visit(c)
	}
}

func walkBlock(b *Block, visit func(n any) bool) {
	if b != nil {
		walk(b, visit)
	}
}

// placed is a node with its place, for putting lists of several kinds into the
// order of the file.
type placed struct {
	at source.Span
	n  any
}

func walkPlaced(list []placed, visit func(n any) bool) {
	slices.SortStableFunc(list, func(a, b placed) int { return int(a.at.Start - b.at.Start) })
	for _, p := range list {
		walk(p.n, visit)
	}
}

func walkPage(n *Page, visit func(n any) bool) {
	var list []placed
	for _, b := range n.Buttons {
		list = append(list, placed{b.At, b})
	}
	for _, a := range n.Allows {
		list = append(list, placed{a.At, a})
	}
	walkPlaced(list, visit)
}

func walkButton(n *Button, visit func(n any) bool) {
	var list []placed
	for _, b := range [...]*Block{n.Press, n.Hold, n.Release} {
		if b != nil {
			list = append(list, placed{b.At, b})
		}
	}
	for _, l := range n.Lamps {
		list = append(list, placed{l.At, l})
	}
	walkPlaced(list, visit)
}
