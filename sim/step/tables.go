package step

import (
	"cuewright/macro/program"
	"cuewright/sim/state"
)

// tables is what follows from a program, found once.
type tables struct {
	standby   int32     // Var
	pageOn    [][]shown // of each page: where it can be
	joins     [][]join  // of each task: who may rest until it has ended
	branches  [][]int32 // of each task: its branches
	followers [][]int32 // of each cue: the cues that follow it
	waits     []uint64  // bit t%64 of word t/64: task t can rest until a condition holds
}

// shown is a surface's variable and the value at which it shows a page.
type shown struct {
	surface int32 // Var
	value   uint32
}

// join is a task and the number of its rest (TaskAt's value) at a Join.
type join struct {
	task int32
	rest uint32
}

func newTables(p *program.Program) tables {
	x := tables{
		standby:   p.StandbyVar(),
		pageOn:    make([][]shown, len(p.Pages)),
		joins:     make([][]join, len(p.Tasks)),
		branches:  make([][]int32, len(p.Tasks)),
		followers: make([][]int32, len(p.Cues)),
		waits:     make([]uint64, (len(p.Tasks)+63)/64),
	}
	for _, surface := range p.Surfaces {
		for i, page := range surface.Pages {
			x.pageOn[page] = append(x.pageOn[page], shown{surface.Page, uint32(i)})
		}
	}
	for i, cue := range p.Cues {
		if cue.Follow >= 0 {
			x.followers[cue.Follow] = append(x.followers[cue.Follow], int32(i))
		}
	}
	for i := range p.Tasks {
		x.addTask(p, int32(i))
	}
	return x
}

func (x *tables) addTask(p *program.Program, t int32) {
	task := &p.Tasks[t]
	if task.Kind == program.BranchTask {
		x.branches[task.Owner] = append(x.branches[task.Owner], t)
	}
	waits := false
	for i, at := range task.Rests {
		switch in := &p.Code[at]; in.Op {
		case program.Join:
			x.joins[in.A] = append(x.joins[in.A], join{t, uint32(i + 1)})
		case program.Until:
			waits = true
		}
	}
	if waits {
		x.waits[t/64] |= 1 << (t % 64)
	}
}

// Holds says whether a condition holds in s.
func (m *Machine) Holds(s *state.State, cond int32) bool {
	m.Graph.Look(s)
	return m.Graph.Holds(cond)
}

func (m *Machine) holds(cond int32) bool {
	m.look()
	return m.Graph.Holds(cond)
}

// look shows the graph the state, unless it has seen it.
func (m *Machine) look() {
	if !m.looked {
		m.Graph.Look(m.s)
		m.looked = true
	}
}
