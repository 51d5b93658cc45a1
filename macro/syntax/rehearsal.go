package syntax

import "cuewright/macro/diag"

var stepWords = []string{"go", "standby", "press", "hold", "after", "clock", "timecode", "expect", "fault"}

var stepExamples = map[string]string{
	"go":       "go 1",
	"standby":  "standby 1",
	"press":    "press cameras 2.1",
	"hold":     "hold cameras 1.2 for 1s",
	"after":    "after 3s",
	"clock":    "clock 19:30:00",
	"timecode": "timecode 01:00:05:00",
	"expect":   "expect iso.rolling",
	"fault":    "fault iso away",
}

func (p *parser) rehearsal(start int32) *Rehearsal {
	r := &Rehearsal{}
	indent := p.indent
	r.Name = p.quoted("the rehearsal's name", examples["rehearsal"])
	o := p.opener("rehearsal", "", start)
	o.indent = indent
	p.headEnd("a rehearsal's block follows its name")
	if p.enter(&o) {
		p.within(o, func(p *parser) { p.stepLine(r) }, func(_ *parser, word string) bool { return isStep(word) })
	}
	r.At = p.since(start)
	return r
}

func isStep(word string) bool { return stepExamples[word] != "" }

func (p *parser) stepLine(r *Rehearsal) {
	w := p.lineWord(stepWords, "step-unknown", "a rehearsal", examples["rehearsal"])
	if w == "" {
		return
	}
	r.Steps = append(r.Steps, p.step(w))
	if !p.isEnd() && isStep(p.word()) {
		p.separatorMissing()
		return
	}
	p.lineDone("the step ends before it")
}

// step reads one step. Times that a step does not have are of kind Bad.
func (p *parser) step(verb string) *Step {
	start := p.tok.Start
	s := &Step{Verb: verb, Time: Operand{Kind: Bad}}
	example := stepExamples[verb]
	p.next()
	switch verb {
	case "go", "standby":
		if !p.isEnd() && !isStep(p.word()) {
			s.Cue = p.cueNumber("the number of the cue", example)
		}
	case "press", "hold":
		s.Page = p.name("the page's name", example)
		if s.Page.Text != "" || !p.isEnd() {
			s.Cell = p.cell(example)
		}
		if verb == "hold" && p.fixed("for", nil, example) {
			s.Time = p.time("the time to hold", example, false)
		}
	case "after":
		s.Time = p.time("the time to wait", example, false)
	case "clock":
		s.Time = p.clock(example)
	case "timecode":
		s.Time = p.timecode(example)
	case "expect":
		p.stepExpect(s, example)
	case "fault":
		s.Device = p.name("the device's name", example)
		if s.Device.Text != "" || !p.isEnd() {
			s.Fault = p.oneOf(FaultWords, "fault-unknown", "a fault that a device can have", example)
		}
	}
	s.At = p.since(start)
	return s
}

func (p *parser) stepExpect(s *Step, example string) {
	switch next := p.peek(); {
	case p.isWord("alert") && next.Kind != Symbol:
		p.next()
		s.Verb, s.Text = "expect alert", p.quoted("the alert's text", `expect alert "a recorder is not rolling"`)
	case p.isWord("finding") && next.Kind != Symbol:
		p.next()
		s.Verb, s.Code = "expect finding", p.kebab("expect finding camera-moved-on-air")
	default:
		s.Cond = p.cond("expect", example)
	}
}

// separatorMissing reports two statements or steps on one line with nothing
// between them.
func (p *parser) separatorMissing() {
	p.report(diag.New("separator-missing", p.here(), "a `;` is missing before `%s`", p.textOf(p.tok)).
		Replace(p.span(p.end, p.end), ";", true, "write a `;` between them, or begin a new line"))
}
