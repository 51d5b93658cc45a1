package program

// StandbyVar is the variable that says which cue is on standby, or -1 in a
// Program that has not been through Validate. Its owner is -1.
func (p *Program) StandbyVar() int32 {
	for i, v := range p.Vars {
		if v.Kind == Standby {
			return int32(i)
		}
	}
	return -1
}

// MessageIndex says which of Messages each command sends. Commands that are
// not in it send nothing.
func (p *Program) MessageIndex() map[Command]int32 {
	index := make(map[Command]int32, len(p.Messages))
	for i, m := range p.Messages {
		index[m.Command] = int32(i)
	}
	return index
}

// CodeOf is where a task's code begins and ends. Code lies task by task.
func (p *Program) CodeOf(task int32) (from, to int32) {
	from, to = p.Tasks[task].Entries[0], int32(len(p.Code))
	if int(task)+1 < len(p.Tasks) {
		to = p.Tasks[task+1].Entries[0]
	}
	return from, to
}

// CodeOfEntry is where the code of one entry of a task begins and ends: at the
// next entry, or with the task's.
func (p *Program) CodeOfEntry(task, entry int32) (from, to int32) {
	_, to = p.CodeOf(task)
	entries := p.Tasks[task].Entries
	if int(entry)+1 < len(entries) {
		to = entries[entry+1]
	}
	return entries[entry], to
}
