package control

import (
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/story"
)

// sameTask says whether a script does the same in two shows: its code, written
// down in names, is the same to the letter. Indexes and places are not looked
// at, and neither is what the scripts do that it runs: they are scripts of
// their own.
func sameTask(a *show, task int32, b *show, other int32) bool {
	x, y := &a.p.Tasks[task], &b.p.Tasks[other]
	return x.Again == y.Again && strings.Join(x.Args, "\n") == strings.Join(y.Args, "\n") &&
		a.listing(task) == b.listing(other)
}

// listing is a script's code in names.
func (s *show) listing(task int32) string {
	var b strings.Builder
	from, to := s.p.CodeOf(task)
	for _, e := range s.p.Tasks[task].Entries {
		fmt.Fprintln(&b, "entry", e-from)
	}
	for at := from; at < to; at++ {
		s.instruction(&b, from, &s.p.Code[at])
	}
	return b.String()
}

func (s *show) instruction(b *strings.Builder, from int32, in *program.Instr) {
	fmt.Fprint(b, in.Op, " ", in.Micros)
	switch in.Op {
	case program.Do:
		s.action(b, in.A)
	case program.Fire:
		for _, a := range s.p.Salvos[in.A].Actions {
			s.action(b, a)
		}
	case program.Until:
		fmt.Fprint(b, " to ", in.B-from, " ", in.C)
		s.condition(b, in.A)
	case program.Unless:
		fmt.Fprint(b, " to ", in.B-from)
		s.condition(b, in.A)
	case program.Jump:
		fmt.Fprint(b, " to ", in.B-from)
	case program.Run:
		t := &s.p.Tasks[in.A]
		fmt.Fprint(b, " ", t.Name, " ", t.Args[in.C], " to ", in.B-from)
	case program.Join:
		fmt.Fprint(b, " ", s.p.Tasks[in.A].Name)
	case program.GoCue:
		if in.A >= 0 {
			fmt.Fprint(b, " ", s.p.Cues[in.A].Number)
		}
	case program.Turn:
		f := &s.p.Surfaces[in.A]
		fmt.Fprint(b, " ", f.Name, " ", s.p.Pages[f.Pages[in.B]].Name)
	case program.Alert, program.Note, program.Abandon:
		if in.A >= 0 {
			fmt.Fprintf(b, " %q", s.p.Texts[in.A])
		}
	}
	b.WriteByte('\n')
}

func (s *show) action(b *strings.Builder, action int32) {
	a := &s.p.Actions[action]
	fmt.Fprint(b, " ", a.Verb, " ", a.Micros, " ", story.Command(s.p, program.Command{Verb: a.Verb, A: a.A, B: a.B, Micros: a.Micros}), ";")
}

// condition writes a condition with the values that make it true.
func (s *show) condition(b *strings.Builder, cond int32) {
	c := &s.p.Conds[cond]
	fmt.Fprint(b, " (", c.Op)
	switch c.Op {
	case program.Const:
		fmt.Fprint(b, " ", c.A)
	case program.Not:
		s.condition(b, c.L)
	case program.And, program.Or:
		s.condition(b, c.L)
		s.condition(b, c.R)
	case program.In:
		fmt.Fprint(b, " ", s.p.Vars[c.A].Name)
		for value := range s.p.Vars[c.A].Size {
			if set := s.p.Sets[c.B]; int(value/32) < len(set) && set[value/32]>>(value%32)&1 == 1 {
				fmt.Fprint(b, " ", s.tell.Value(c.A, value))
			}
		}
	case program.Shows:
		fmt.Fprint(b, " ", s.p.Destinations[c.A].Name, " ", s.p.Sources[c.B].Name)
	case program.SourceOnAir:
		fmt.Fprint(b, " ", s.p.Sources[c.A].Name)
	case program.Running:
		fmt.Fprint(b, " ", s.p.Tasks[c.A].Name)
	case program.ShowsNode:
		fmt.Fprint(b, " ", s.p.Destinations[c.A].Name, " ", s.p.Nodes[c.B].Label)
	}
	b.WriteByte(')')
}
