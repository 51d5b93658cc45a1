package program

import (
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

func TestTinyIsSound(t *testing.T) {
	if err := Validate(tiny()); err != nil {
		t.Fatal(err)
	}
}

// What Validate promises beyond indexes in range.
func TestValidateRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func(p *Program)
	}{
		{"no source 0", func(p *Program) { p.Sources, p.Nodes = nil, nil }},
		{"source 0 makes a picture", func(p *Program) { p.Sources[0].Picture = "live" }},
		{"a rate of nothing", func(p *Program) { p.Rate.Num = 0 }},
		{"an unknown wire", func(p *Program) { p.Devices[0].Wire = "smoke" }},
		{"two banks with one variable", func(p *Program) { p.Banks[0].Preset = p.Banks[0].Program }},
		{"a variable of nothing", func(p *Program) { p.Vars = append(p.Vars, Var{Kind: KeyerOn, Size: 2}) }},
		{"a second standby", func(p *Program) { p.Vars = append(p.Vars, Var{Kind: Standby, Owner: -1, Size: 3}) }},
		{"a timer of nothing", func(p *Program) { p.Timers = append(p.Timers, Timer{BankTimer, 0}) }},
		{"a bus that picks nothing", func(p *Program) { p.Switches[0].Picks, p.Nodes[7].Up = nil, nil }},
		{"a bus that picks less than comes in", func(p *Program) { p.Switches[0].Picks = p.Switches[0].Picks[:1] }},
		{"a pick that is not what comes in", func(p *Program) { p.Switches[0].Picks[0].Node = 4 }},
		{"a fill that is not what comes in", func(p *Program) { p.Keyers[0].Fill = 3 }},
		{"a keyer of no bank", func(p *Program) { p.Banks[0].Keyers = nil; p.Nodes[4].Up = p.Nodes[4].Up[:2] }},
		{"a port with two pictures", func(p *Program) { p.Nodes[3].Up = []int32{1, 2} }},
		{"a camera that depends on another", func(p *Program) { p.Nodes[1].Up = []int32{2} }},
		{"a tie line that ends nowhere", func(p *Program) { p.Nodes[8].Tie = -1 }},
		{"an input of two", func(p *Program) { p.Inputs[0].Encoder = 0 }},
		{"a start beyond the size", func(p *Program) { p.Vars[0].Start = Healths }},
		{"a clip out of order", func(p *Program) { p.Clips[0].Number = 2 }},
		{"a time below nothing", func(p *Program) { p.Decks[0].Ready = -1 }},
		{"a time that would overflow", func(p *Program) { p.Actions[1].Micros = Longest + 1 }},
		{"a cut that takes time", func(p *Program) { p.Actions[0].Micros = 1 }},
		{"a page that lists another's button", func(p *Program) { p.Pages[1].Buttons = []int32{0} }},
		{"a button on no page", func(p *Program) { p.Pages[0].Buttons = nil }},
		{"a lamp of another colour", func(p *Program) { p.Buttons[0].Lamps[0].State = "green" }},
		{"a cover without a guard", func(p *Program) { p.Buttons[0].Guarded = false }},
		{"a press that is a cue", func(p *Program) { p.Buttons[0].Press = 5 }},
		{"a cue that follows itself", func(p *Program) { p.Cues[1].Follow = 1 }},
		{"a moment beyond the day", func(p *Program) { p.Cues[0].Moment = 86_400 }},
		{"a moment before midnight", func(p *Program) { p.Cues[0].Moment = -1 }},
		{"a timecode beyond the day", func(p *Program) { p.Cues[0].By, p.Cues[0].Moment = ByTimecode, 30*86_400 }},
		{"a moment that nothing tells", func(p *Program) { p.Cues[0].By = NoMoment }},
		{"a moment told by something else", func(p *Program) { p.Cues[0].By = ByTimecode + 1 }},
		{"a cue that follows and has a moment", func(p *Program) { p.Cues[1].By = ByClock }},
		{"a rehearsal of another cue's moment", func(p *Program) { p.Rehearsals[0].Steps[6].A = 2 }},
		{"a cue without a script", func(p *Program) { p.Cues[0].Task = -1 }},
		{"a cue that fires a cue by number", func(p *Program) { p.Code[23].A = 1 }},
		{"a branch after its owner", func(p *Program) { p.Tasks[0].Owner = 0 }},
		{"a task that runs itself", func(p *Program) { p.Code[13].A = 2 }},
		{"a task that runs another's branch", func(p *Program) { p.Code[13].A, p.Code[13].C = 0, 0 }},
		{"a jump back", func(p *Program) { p.Code[4].B = 3 }},
		{"a jump on the spot", func(p *Program) { p.Code[4].B = 4 }},
		{"a jump into another task", func(p *Program) { p.Code[4].B = 13 }},
		{"a task without an end", func(p *Program) { p.Code[len(p.Code)-1].Op = Fail }},
		{"a forgotten rest", func(p *Program) { p.Tasks[0].Rests = nil }},
		{"a rest that is none", func(p *Program) { p.Tasks[0].Rests[0] = 1 }},
		{"entries out of order", func(p *Program) { e := p.Tasks[1].Entries; e[0], e[1] = e[1], e[0] }},
		{"entries without arguments", func(p *Program) { p.Tasks[1].Args = nil }},
		{"a wait without a timer", func(p *Program) { p.Tasks[0].Timer = -1 }},
		{"a condition made of itself", func(p *Program) { p.Conds[7].R = 7 }},
		{"a condition made of a later one", func(p *Program) { p.Conds[6].L = 8 }},
		{"conditions that double forty times", func(p *Program) {
			for range 40 {
				last := int32(len(p.Conds) - 1)
				p.Conds = append(p.Conds, Cond{Op: And, L: last, R: last})
			}
		}},
		{"a line that no file has", func(p *Program) { p.Code[0].At.Line = 1 << 30 }},
		{"a surface that fills the wall", func(p *Program) { p.Surfaces[0].Rows = 1 << 30 }},
		{"a set with a bit too many", func(p *Program) { p.Sets[0][0] = 4 }},
		{"a set with a word too many", func(p *Program) { p.Sets[0] = []uint32{1, 0} }},
		{"a set with no words", func(p *Program) { p.Sets[0] = nil }},
		{"a message for two wires", func(p *Program) { p.Messages[1].OSC = []byte{1} }},
		{"a message for none", func(p *Program) { p.Messages[0].OSC = nil }},
		{"two messages for one command", func(p *Program) { p.Messages[1].Command = p.Messages[0].Command }},
		{"a message for a route", func(p *Program) { p.Messages[0].Command = Command{Verb: Route} }},
		{"a meaning beyond the size", func(p *Program) { p.Observations[0].Means[1].Value = 2 }},
		{"an unknown operation", func(p *Program) { p.Code[0].Op = Turn + 1 }},
		{"an unknown verb", func(p *Program) { p.Actions[0].Verb = Protect + 1 }},
		{"an unknown condition", func(p *Program) { p.Conds[0].Op = ShowsNode + 1 }},
		{"an unknown step", func(p *Program) { p.Rehearsals[0].Steps[0].Op = 99 }},
	} {
		p := tiny()
		if c.damage(p); Validate(p) == nil {
			t.Errorf("%s is taken for sound", c.name)
		}
	}
}

// free are the numbers that are not checked: the plan's own numbers, and
// operands that an operation does not have.
var free = map[string]bool{
	"Pick.Number": true, "Bank.Number": true, "Keyer.Number": true, "Switch.Number": true, "Outlet.Number": true, "Shot.Number": true,
	"Observation.Arg": true, "Instr.A": true, "Instr.B": true, "Instr.C": true,
	"Cond.A": true, "Cond.B": true, "Cond.L": true, "Cond.R": true, "Step.A": true, "Step.B": true,
}

// numbers lists every int32 of a Program with a name like "Bank.Program".
func numbers(v reflect.Value, name string, each func(name string, n reflect.Value)) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			numbers(v.Elem(), name, each)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			numbers(v.Field(i), v.Type().Name()+"."+v.Type().Field(i).Name, each)
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			numbers(v.Index(i), name, each)
		}
	case reflect.Int32:
		each(name, v)
	}
}

// No index escapes: every number of a sound Program, set far out of range, is
// noticed, but for those that are known to be free.
func TestEveryIndexIsChecked(t *testing.T) {
	p, seen := tiny(), 0
	numbers(reflect.ValueOf(p), "", func(name string, n reflect.Value) {
		seen++
		was := n.Int()
		for _, wrong := range []int64{1 << 30, -1 << 30, -3} {
			n.SetInt(wrong)
			if Validate(p) == nil && !free[name] {
				t.Errorf("%s can be %d", name, wrong)
			}
		}
		n.SetInt(was)
	})
	if seen < 300 {
		t.Errorf("only %d numbers were looked at", seen)
	}
}

// A few numbers changed to others that may just fit: either it is noticed, or
// what runs the Program meets nothing that is not there.
func TestWhatPassesCanBeUsed(t *testing.T) {
	passed := 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny()
		var all []reflect.Value
		numbers(reflect.ValueOf(p), "", func(_ string, n reflect.Value) { all = append(all, n) })
		for range rapid.IntRange(1, 3).Draw(t, "changes") {
			n := all[rapid.IntRange(0, len(all)-1).Draw(t, "which")]
			n.SetInt(int64(rapid.IntRange(-2, 12).Draw(t, "value")))
		}
		if Validate(p) == nil {
			passed++
			use(p)
		}
	})
	if passed == 0 {
		t.Error("nothing passed, so nothing was tried")
	}
}

// use reaches for everything by its index, as those do who run a Program. It
// panics where something is not there, or where a walk does not end.
func use(p *Program) {
	values := make([]uint32, len(p.Vars))
	for i, v := range p.Vars {
		values[i] = v.Size - 1
	}
	for _, n := range p.Nodes {
		for _, up := range n.Up {
			_ = p.Nodes[up]
		}
		switch n.Kind {
		case SwitchNode:
			_ = n.Up[values[p.Switches[n.Owner].Var]]
		case BankNode, CleanNode, PresetNode:
			_ = n.Up[values[p.Banks[n.Owner].Program]]
		}
	}
	for _, b := range p.Banks {
		_ = p.Nodes[b.Picks[values[b.Preset]].Node]
	}
	for _, d := range p.Destinations {
		_ = p.Nodes[d.Node]
	}
	for _, c := range p.Conds {
		useCond(p, c, values)
	}
	for _, s := range p.Surfaces {
		if len(s.Pages) > 0 {
			_ = p.Pages[s.Pages[values[s.Page]]]
		}
	}
	for i := range p.Tasks {
		useTask(p, int32(i), 0)
	}
}

func useCond(p *Program, c Cond, values []uint32) {
	switch c.Op {
	case In:
		v := values[c.A]
		_ = p.Sets[c.B][v/32] >> (v % 32)
	case Not:
		useCond(p, p.Conds[c.L], values)
	case And, Or:
		useCond(p, p.Conds[c.L], values)
		useCond(p, p.Conds[c.R], values)
	case Running:
		_ = p.Tasks[c.A]
	}
}

// useTask walks every way through a task and those it runs.
func useTask(p *Program, task int32, depth int) {
	if depth > len(p.Tasks) {
		panic(fmt.Sprintf("task %d runs in circles", task))
	}
	for _, entry := range p.Tasks[task].Entries {
		for at := entry; ; at++ {
			in := p.Code[at]
			switch in.Op {
			case End, Abandon:
			case Do:
				_ = p.Actions[in.A]
			case Run:
				_ = p.Tasks[in.A].Entries[in.C]
				useTask(p, in.A, depth+1)
			case Until, Unless:
				_, _ = p.Conds[in.A], p.Code[in.B]
			case Jump:
				at = in.B - 1
			}
			if in.Op == End || in.Op == Abandon {
				break
			}
		}
	}
}
