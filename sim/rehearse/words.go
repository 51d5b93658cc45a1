package rehearse

import (
	"fmt"
	"strconv"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/story"
)

// Words are steps that do something, as they stand in a rehearsal, a line
// each. They are also those of `cuewright rehearse --step`.
func Words(p *program.Program, steps []program.Step) []string {
	var lines []string
	for i := range steps {
		lines = append(lines, words(p, &steps[i]))
	}
	return lines
}

// Words are the lines of a retold rehearsal, what it cannot say as comments.
func (r *Retold) Words(p *program.Program) []string {
	var lines []string
	for i := range len(r.Steps) + 1 {
		for _, what := range r.Unsaid[i] {
			lines = append(lines, "# a rehearsal cannot say this: "+strings.ReplaceAll(what, "\n", " "))
		}
		if i < len(r.Steps) {
			lines = append(lines, words(p, &r.Steps[i]))
		}
	}
	return lines
}

// Block is a rehearsal as it stands in a show.
func Block(name string, lines []string) string {
	var w strings.Builder
	fmt.Fprintf(&w, "rehearsal %s {\n", quoted(name))
	for _, line := range lines {
		fmt.Fprintf(&w, "  %s\n", line)
	}
	w.WriteString("}\n")
	return w.String()
}

func words(p *program.Program, s *program.Step) string {
	switch s.Op {
	case program.StepGo:
		return withCue(p, "go", s.A)
	case program.StepStand:
		return withCue(p, "standby", s.A)
	case program.StepMoment:
		word := "clock "
		if p.Cues[s.A].By == program.ByTimecode {
			word = "timecode "
		}
		return word + story.MomentOf(p, s.A)
	case program.StepPress:
		return "press " + cell(p, s.A)
	case program.StepHold:
		return "hold " + cell(p, s.A) + " for " + Duration(s.Micros)
	case program.StepFault:
		return "fault " + p.Devices[s.A].Name + " " + [program.Healths]string{"well", "away", "refuses", "slow", "full"}[s.B]
	}
	return "after " + Duration(s.Micros)
}

// withCue is a word with the number of a cue, if it is one.
func withCue(p *program.Program, word string, cue int32) string {
	if cue < 0 || int(cue) >= len(p.Cues) {
		return word
	}
	return word + " " + p.Cues[cue].Number
}

func cell(p *program.Program, button int32) string {
	b := &p.Buttons[button]
	return fmt.Sprintf("%s %d.%d", p.Pages[b.Page].Name, b.Row, b.Column)
}

// Duration is a time as the language reads it, exact to the microsecond.
func Duration(micros int64) string {
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
