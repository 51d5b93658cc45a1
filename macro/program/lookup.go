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
