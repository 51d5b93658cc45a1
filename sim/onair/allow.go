package onair

import (
	"slices"

	"cuewright/macro/program"
)

// Allowed is the allowance in Program.Allows that accepts a finding, or -1.
// today is the date as 2027-01-31: an allowance with an end holds up to and
// with that day; without a today, all hold. An allowance in a script covers
// what it and its branches do, one on a page what its buttons do themselves.
func Allowed(p *program.Program, f Finding, today string) int {
	return slices.IndexFunc(p.Allows, func(a program.Allow) bool {
		if a.Code != f.Code || a.Until != "" && today != "" && today > a.Until {
			return false
		}
		return a.Task < 0 && a.Page < 0 || a.Task >= 0 && within(p, f.Task, a.Task) || a.Page >= 0 && onPage(p, f.Task, a.Page)
	})
}

// within says whether a task is the other one or a branch of it.
func within(p *program.Program, task, of int32) bool {
	for task >= 0 && task != of && p.Tasks[task].Kind == program.BranchTask {
		task = p.Tasks[task].Owner
	}
	return task >= 0 && task == of
}

// onPage says whether a task is that of a button on a page.
func onPage(p *program.Program, task, page int32) bool {
	for task >= 0 && p.Tasks[task].Kind == program.BranchTask {
		task = p.Tasks[task].Owner
	}
	if task < 0 {
		return false
	}
	switch t := &p.Tasks[task]; t.Kind {
	case program.PressTask, program.HoldTask, program.ReleaseTask:
		return p.Buttons[t.Owner].Page == page
	}
	return false
}
