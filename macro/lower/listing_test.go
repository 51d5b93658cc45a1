package lower

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/program"
)

// lister writes the tables of a Program for people to check line by line.
type lister struct{ *program.Program }

// sections are the parts of a listing, by the name of the file in a case.
var sections = map[string]func(lister) []string{
	"vars": lister.vars, "timers": lister.timers, "nodes": lister.nodes, "buses": lister.buses, "things": lister.things,
	"tasks": lister.tasks, "pages": lister.pages, "cues": lister.cues, "rules": lister.rules,
}

func line(format string, args ...any) string {
	return strings.TrimRight(fmt.Sprintf(format, args...), " ")
}

func (p lister) at(a program.Place) string {
	if a.Line == 0 {
		return ""
	}
	return fmt.Sprintf("@%s:%d:%d", p.Files[a.File].Name, a.Line, a.Column)
}

func (p lister) vars() (out []string) {
	for i, v := range p.Vars {
		out = append(out, line("%d %s kind %d of %d: %d, starts %d", i, v.Name, v.Kind, v.Owner, v.Size, v.Start))
	}
	return out
}

func (p lister) timers() (out []string) {
	for i, t := range p.Timers {
		kind := [...]string{"task", "bank", "deck", "machine", "follow", "hold", "cover"}[t.Kind]
		out = append(out, line("%d %s %d", i, kind, t.Owner))
	}
	return out
}

func (p lister) nodes() (out []string) {
	for i, n := range p.Nodes {
		kind := [...]string{"source", "pass", "switch", "bank", "clean", "preset"}[n.Kind]
		s := fmt.Sprintf("%d %s %s", i, kind, n.Label)
		if n.Owner >= 0 {
			s += fmt.Sprintf(" #%d", n.Owner)
		}
		if len(n.Up) > 0 {
			s += " <-" + p.labels(n.Up)
		}
		if n.Tie >= 0 {
			s += " end of " + p.Ties[n.Tie].Name
		}
		out = append(out, s)
	}
	return out
}

func (p lister) labels(nodes []int32) string {
	var b strings.Builder
	for i, n := range nodes {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(" " + p.Nodes[n].Label)
	}
	return b.String()
}

func picksOf(picks []program.Pick) string {
	var words []string
	for _, x := range picks {
		words = append(words, fmt.Sprintf("%d %s", x.Number, x.Label))
	}
	return strings.Join(words, ", ")
}

func (p lister) buses() (out []string) {
	for _, b := range p.Banks {
		out = append(out, line("bank %s number %d of %s, black %s: %s %s", b.Name, b.Number, p.Devices[b.Device].Name,
			p.Sources[b.Black].Name, picksOf(b.Picks), p.at(b.At)))
	}
	for _, k := range p.Keyers {
		out = append(out, line("keyer %s number %d on %s: %s", k.Name, k.Number, p.Banks[k.Bank].Name, p.Nodes[k.Fill].Label))
	}
	for _, s := range p.Switches {
		out = append(out, line("switch %s number %d of %s: %s", s.Name, s.Number, p.Devices[s.Device].Name, picksOf(s.Picks)))
	}
	for _, t := range p.Ties {
		out = append(out, line("tie line %s: %s to %s", t.Name, p.Switches[t.Switch].Name, p.Nodes[t.Node].Label))
	}
	return out
}

func (p lister) things() (out []string) {
	for _, d := range p.Devices {
		out = append(out, line("device %s %s %s", d.Name, d.Wire, d.Address))
	}
	for i, s := range p.Sources {
		out = append(out, line("source %d %s %s at %s, camera %d, deck %d", i, s.Name, s.Picture, p.Nodes[s.Node].Label, s.Camera, s.Deck))
	}
	for _, d := range p.Destinations {
		var refuses []string
		for _, r := range d.Refuses {
			refuses = append(refuses, p.Sources[r].Name)
		}
		out = append(out, line("destination %s at %s, on air %d, refuses %v", d.Name, p.Nodes[d.Node].Label, d.OnAir, refuses))
	}
	for _, n := range p.Inputs {
		out = append(out, line("input %s of recorder %d, encoder %d", p.Nodes[n.Node].Label, n.Recorder, n.Encoder))
	}
	for _, d := range p.Decks {
		out = append(out, line("deck %s makes %s, ready in %dµs", d.Name, p.Sources[d.Source].Name, d.Ready))
		for _, c := range d.Clips {
			out = append(out, line("  clip %d %s file %s %dµs", p.Clips[c].Number, p.Clips[c].Name, p.Clips[c].File, p.Clips[c].Length))
		}
	}
	for _, r := range p.Recorders {
		out = append(out, line("recorder %s ready in %dµs", r.Name, r.Ready))
	}
	for _, e := range p.Encoders {
		out = append(out, line("encoder %s ready in %dµs", e.Name, e.Ready))
	}
	for _, c := range p.Cameras {
		out = append(out, line("camera %s robotic %t shots %v", c.Name, c.Robotic, c.Shots))
	}
	for _, o := range p.Outlets {
		out = append(out, line("outlet %s number %d of %s", o.Name, o.Number, p.Devices[o.Device].Name))
	}
	for _, s := range p.Surfaces {
		out = append(out, line("surface %s %dx%d by %s", s.Name, s.Rows, s.Columns, s.By))
	}
	for _, s := range p.Sends {
		out = append(out, line("send %s to %s %v", s.Text, p.Devices[s.Device].Name, s.Values))
	}
	return out
}

func (p lister) tasks() (out []string) {
	kinds := [...]string{"macro", "press", "hold", "release", "cue", "branch"}
	for i, t := range p.Tasks {
		again := [...]string{"", " restart", " queue"}[t.Again]
		out = append(out, line("task %d %s %q%s, rests %v %s", i, kinds[t.Kind], t.Name, again, t.Rests, p.at(t.Place)))
		for e, first := range t.Entries {
			if t.Args[e] != "" {
				out = append(out, line("  with %s", t.Args[e]))
			}
			end := len(p.Code)
			if e+1 < len(t.Entries) {
				end = int(t.Entries[e+1])
			} else if i+1 < len(p.Tasks) {
				end = int(p.Tasks[i+1].Entries[0])
			}
			for a := int(first); a < end; a++ {
				out = append(out, line("  %3d %-48s %s", a, p.instr(p.Code[a]), p.at(p.Code[a].At)))
			}
		}
	}
	return out
}

func (p lister) instr(in program.Instr) string {
	switch in.Op {
	case program.End:
		return "end"
	case program.Do:
		return p.action(in.A)
	case program.Fire:
		var all []string
		for _, a := range p.Salvos[in.A].Actions {
			all = append(all, p.action(a))
		}
		return "fire " + p.Salvos[in.A].Name + ": " + strings.Join(all, "; ")
	case program.Sleep:
		return fmt.Sprintf("sleep %dµs", in.Micros)
	case program.Until:
		return fmt.Sprintf("%s %s within %dµs else %d", [...]string{"until", "expect"}[in.C], p.cond(in.A), in.Micros, in.B)
	case program.Unless:
		return fmt.Sprintf("unless %s go to %d", p.cond(in.A), in.B)
	case program.Jump:
		return fmt.Sprintf("go to %d", in.B)
	case program.Run:
		return fmt.Sprintf("run %q entry %d else %d", p.Tasks[in.A].Name, in.C, in.B)
	case program.Join:
		return fmt.Sprintf("join %q", p.Tasks[in.A].Name)
	case program.Alert, program.Note:
		return map[program.Op]string{program.Alert: "alert ", program.Note: "note "}[in.Op] + strconv.Quote(p.Texts[in.A])
	case program.Abandon:
		if in.A < 0 {
			return "abandon"
		}
		return "abandon " + strconv.Quote(p.Texts[in.A])
	case program.Fail:
		return "fail"
	case program.GoCue:
		if in.A < 0 {
			return "go"
		}
		return "go " + p.Cues[in.A].Number
	case program.Turn:
		s := p.Surfaces[in.A]
		return "turn " + s.Name + " to " + p.Pages[s.Pages[in.B]].Name
	}
	return "?"
}

func (p lister) action(i int32) string {
	a := p.Actions[i]
	name := func(names ...string) string { return strings.Join(names, " ") }
	switch a.Verb {
	case program.CutTo, program.PresetTo:
		b := p.Banks[a.A]
		return name([...]string{"cut", "preset"}[a.Verb], b.Name, "to", b.Picks[a.B].Label)
	case program.Take, program.Mix, program.Wipe, program.Fade:
		return fmt.Sprintf("%s %s %d %dµs", [...]string{"take", "mix", "wipe", "fade"}[a.Verb-program.Take], p.Banks[a.A].Name, a.B, a.Micros)
	case program.KeyTo:
		return fmt.Sprintf("key %s %d", p.Keyers[a.A].Name, a.B)
	case program.Route:
		return name("route", p.Destinations[a.A].Name, "from", p.Nodes[a.B].Label)
	case program.RouteTie:
		return name("route", p.Ties[a.A].Name, "from", p.Nodes[a.B].Label)
	case program.Load:
		return name("load", p.Decks[a.A].Name, "with", p.Clips[p.Decks[a.A].Clips[a.B]].Name)
	case program.Play, program.Pause, program.StopDeck:
		return name([...]string{"play", "pause", "stop"}[a.Verb-program.Play], p.Decks[a.A].Name)
	case program.Record, program.StopRecorder:
		return name([...]string{"record", "stop"}[a.Verb-program.Record], p.Recorders[a.A].Name)
	case program.Start, program.StopEncoder:
		return name([...]string{"start", "stop"}[a.Verb-program.Start], p.Encoders[a.A].Name)
	case program.Recall:
		return fmt.Sprintf("recall %s shot %d", p.Cameras[a.A].Name, p.Cameras[a.A].Shots[a.B].Number)
	case program.SwitchTo:
		return fmt.Sprintf("switch %s %d", p.Outlets[a.A].Name, a.B)
	case program.SendTo:
		return "send " + p.Sends[a.A].Text
	case program.Protect:
		return fmt.Sprintf("protect %s %d", p.Destinations[a.A].Name, a.B)
	}
	return "?"
}

func (p lister) cond(i int32) string {
	if i < 0 {
		return "-"
	}
	c := p.Conds[i]
	switch c.Op {
	case program.Const:
		return [...]string{"never", "always"}[c.A]
	case program.Not:
		return "not " + p.cond(c.L)
	case program.And, program.Or:
		return "(" + p.cond(c.L) + [...]string{" and ", " or "}[c.Op-program.And] + p.cond(c.R) + ")"
	case program.In:
		return p.Vars[c.A].Name + " in {" + strings.Join(p.values(c), " ") + "}"
	case program.Shows:
		return p.Destinations[c.A].Name + " shows " + p.Sources[c.B].Name
	case program.ShowsNode:
		return p.Destinations[c.A].Name + " through " + strconv.Quote(p.Nodes[c.B].Label)
	case program.SourceOnAir:
		return p.Sources[c.A].Name + " on air"
	case program.Running:
		return p.Tasks[c.A].Name + " running"
	}
	return "?"
}

// values are the values of a set, picks by their labels.
func (p lister) values(c program.Cond) (out []string) {
	v := p.Vars[c.A]
	for x := range v.Size {
		if !has(p.Sets[c.B], x) {
			continue
		}
		switch v.Kind {
		case program.BankProgram, program.BankPreset:
			out = append(out, p.Banks[v.Owner].Picks[x].Label)
		case program.SwitchPick:
			out = append(out, p.Switches[v.Owner].Picks[x].Label)
		default:
			out = append(out, strconv.Itoa(int(x)))
		}
	}
	return out
}

func (p lister) pages() (out []string) {
	for _, s := range p.Surfaces {
		names := []string{}
		for _, g := range s.Pages {
			names = append(names, p.Pages[g].Name)
		}
		out = append(out, line("surface %s: %s", s.Name, strings.Join(names, ", ")))
	}
	for _, g := range p.Pages {
		out = append(out, line("page %s %s", g.Name, p.at(g.At)))
		for _, i := range g.Buttons {
			b := p.Buttons[i]
			out = append(out, line("  %d.%d %q guarded %t, press %d hold %d after %dµs release %d %s", b.Row, b.Column, b.Label, b.Guarded,
				b.Press, b.Hold, b.HoldAfter, b.Release, p.at(b.At)))
			out = append(out, line("      lit %s", p.cond(b.Lit)), line("      air %s", p.cond(b.Air)))
			for _, l := range b.Lamps {
				out = append(out, line("      %s when %s", l.State, p.cond(l.Cond)))
			}
			var uses []string
			for _, d := range b.Uses {
				uses = append(uses, p.Devices[d].Name)
			}
			out = append(out, line("      runs %v, uses %v", b.Runs, uses))
		}
	}
	return out
}

func (p lister) cues() (out []string) {
	for _, c := range p.Cues {
		moment := ""
		if c.By != program.NoMoment {
			moment = fmt.Sprintf("moment %s %d ", [...]string{program.ByClock: "clock", program.ByTimecode: "timecode"}[c.By], c.Moment)
		}
		out = append(out, line("cue %s %q task %d follows %d after %dµs %s%s", c.Number, c.Label, c.Task, c.Follow, c.After, moment, p.at(c.At)))
	}
	for _, m := range p.Macros {
		out = append(out, line("macro %s task %d %s", m.Name, m.Task, p.at(m.At)))
	}
	return out
}

func (p lister) rules() (out []string) {
	for _, r := range p.Rules {
		kind := [...]string{"never", "always", "possible"}[r.Kind]
		out = append(out, line("%s %q: %s while %s %s", kind, r.Name, p.cond(r.Cond), p.cond(r.While), p.at(r.At)))
	}
	for _, r := range p.Rehearsals {
		out = append(out, line("rehearsal %q", r.Name))
		for _, s := range r.Steps {
			out = append(out, line("  %s", p.step(s)))
		}
	}
	for _, a := range p.Allows {
		out = append(out, line("allow %s %q until %q task %d page %d %s", a.Code, a.Reason, a.Until, a.Task, a.Page, p.at(a.At)))
	}
	return out
}

func (p lister) step(s program.Step) string {
	button := func() string {
		b := p.Buttons[s.A]
		return fmt.Sprintf("%s %d.%d", p.Pages[b.Page].Name, b.Row, b.Column)
	}
	switch s.Op {
	case program.StepGo:
		return fmt.Sprintf("go %d", s.A)
	case program.StepPress:
		return "press " + button()
	case program.StepHold:
		return fmt.Sprintf("hold %s for %dµs", button(), s.Micros)
	case program.StepAfter:
		return fmt.Sprintf("after %dµs", s.Micros)
	case program.StepExpect:
		return fmt.Sprintf("expect %s: %s", s.Text, p.cond(s.A))
	case program.StepStand:
		return fmt.Sprintf("stand on cue %d", s.A)
	case program.StepMoment:
		return fmt.Sprintf("moment of cue %d", s.A)
	case program.StepFault:
		return fmt.Sprintf("fault %s %d", p.Devices[s.A].Name, s.B)
	}
	return "expect " + strconv.Quote(s.Text)
}
