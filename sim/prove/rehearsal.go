package prove

import (
	"cuewright/macro/program"
	"cuewright/sim/rehearse"
)

// Rehearsal writes a finding's story as a rehearsal of the show, which expects
// the finding after its last step. It says false when no rehearsal can do the
// story.
func (f *Finding) Rehearsal(p *program.Program, name string) (string, bool) {
	if f.Steps == nil {
		return "", false
	}
	return rehearse.Block(name, append(f.Words(p), "expect finding "+f.Code)), true
}

// Words are the steps of a finding's story in the words of a rehearsal.
func (f *Finding) Words(p *program.Program) []string { return rehearse.Words(p, f.Steps) }
