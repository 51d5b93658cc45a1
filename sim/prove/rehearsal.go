package prove

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/story"
)

// Rehearsal writes a finding's story as a rehearsal of the show, which expects
// the finding after its last step. It says false when no rehearsal can do the
// story.
func (f *Finding) Rehearsal(p *program.Program, name string) (string, bool) {
	if f.Steps == nil {
		return "", false
	}
	var w strings.Builder
	fmt.Fprintf(&w, "rehearsal %s {\n", quoted(name))
	for _, line := range f.Words(p) {
		fmt.Fprintf(&w, "  %s\n", line)
	}
	fmt.Fprintf(&w, "  expect finding %s\n}\n", f.Code)
	return w.String(), true
}

// Words are the steps of a finding's story in the words of a rehearsal, which
// are also those of `cuewright rehearse --step`.
func (f *Finding) Words(p *program.Program) []string {
	var lines []string
	for i := range f.Steps {
		lines = append(lines, stepWords(p, &f.Steps[i]))
	}
	return lines
}

func stepWords(p *program.Program, s *program.Step) string {
	switch s.Op {
	case program.StepGo:
		if s.A >= 0 {
			return "go " + p.Cues[s.A].Number
		}
		return "go"
	case program.StepMoment:
		word := "clock "
		if p.Cues[s.A].By == program.ByTimecode {
			word = "timecode "
		}
		return word + story.MomentOf(p, s.A)
	case program.StepPress:
		return "press " + cell(p, s.A)
	case program.StepHold:
		return "hold " + cell(p, s.A) + " for " + duration(s.Micros)
	case program.StepFault:
		return "fault " + p.Devices[s.A].Name + " " + [program.Healths]string{"well", "away", "refuses", "slow", "full"}[s.B]
	}
	return "after " + duration(s.Micros)
}

func cell(p *program.Program, button int32) string {
	b := &p.Buttons[button]
	return fmt.Sprintf("%s %d.%d", p.Pages[b.Page].Name, b.Row, b.Column)
}

// duration is a time as the language reads it, exact to the microsecond.
func duration(micros int64) string {
	if micros%1000 == 0 && micros < 1_000_000 {
		return strconv.FormatInt(micros/1000, 10) + "ms"
	}
	text := fmt.Sprintf("%d.%06d", micros/1_000_000, micros%1_000_000)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + "s"
}

// quoted is a text of the language.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(text) + `"`
}
