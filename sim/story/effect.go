package story

import (
	"fmt"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
)

// effect tells one effect. That a task started or ended is told by its
// variable, unless it ran all along.
func (t *Teller) effect(b *Beat, before *state.State, e *step.Effect) {
	p := t.m.P
	switch e.Kind {
	case step.Sent:
		b.Sent = append(b.Sent, t.message(e))
		if e.Reason == step.RecorderFull {
			b.Failures = append(b.Failures, p.Recorders[e.Command.A].Name+" is full and will not roll")
		}
	case step.Failed, step.Blocked:
		b.Failures = append(b.Failures, Failure(p, e))
	case step.Missed:
		b.Failures = append(b.Failures, running(p, e.Task)+"an expectation did not come true"+where(p, e))
	case step.Alerted:
		b.Alerts = append(b.Alerts, e.Text)
	case step.Noted:
		b.Notes = append(b.Notes, e.Text)
	case step.Timed:
		b.Notes = append(b.Notes, running(p, e.Task)+"it waits no longer"+where(p, e))
	case step.Ignored:
		b.Notes = append(b.Notes, t.Ignored(e))
	case step.Fired:
		b.Notes = append(b.Notes, cueWords(p, e.A)+" is fired")
	case step.Started:
		k := &p.Tasks[e.A]
		if k.Kind == program.MacroTask && k.At >= 0 && t.m.L.Get(before, k.At) != 0 {
			b.Notes = append(b.Notes, k.Name+" starts again")
		}
	}
}

func (t *Teller) message(e *step.Effect) Message {
	m := Message{Command: Command(t.m.P, e.Command), Group: e.Group}
	if e.Device >= 0 {
		m.Device = t.m.P.Devices[e.Device].Name
	}
	if i, ok := t.messages[e.Command]; ok {
		m.Text = t.m.P.Messages[i].Text
	}
	return m
}

// running is the task that speaks: "replay: ".
func running(p *program.Program, task int32) string {
	if task < 0 {
		return ""
	}
	return p.Tasks[task].Name + ": "
}

// where is the line of an effect's instruction: " (small.show:12)".
func where(p *program.Program, e *step.Effect) string {
	if e.Instr >= 0 {
		if at := Place(p, p.Code[e.Instr].At); at != "" {
			return " (" + at + ")"
		}
	}
	return ""
}

// Failure says what was not done, and why, of an effect that is Failed or
// Blocked: "cameras 2.1: play deck was not done: no clip is cued (small.show:37)".
func Failure(p *program.Program, e *step.Effect) string {
	if e.Reason == step.TooLong {
		return running(p, e.Task) + "it ran on and on and was ended"
	}
	return running(p, e.Task) + Command(p, e.Command) + " was not done: " + why(p, e) + where(p, e)
}

func why(p *program.Program, e *step.Effect) string {
	switch e.Reason {
	case step.DeviceAway:
		return p.Devices[e.Device].Name + " does not answer"
	case step.DeviceRefuses:
		return p.Devices[e.Device].Name + " answered no"
	case step.NothingToDo:
		return "no clip is cued"
	case step.IsProtected:
		return p.Destinations[e.Command.A].Name + " is protected"
	case step.NoPath:
		return "there is no way through the rack"
	case step.TiesTaken:
		if len(e.Holders) == 0 {
			return "the switches on the way are taken"
		}
		var names []string
		for _, tie := range e.Holders {
			names = append(names, p.Ties[tie].Name)
		}
		return strings.Join(names, " and ") + " taken"
	}
	return "it could not be done"
}

// Ignored says why a press or run changed nothing, of an effect that is Ignored.
func (t *Teller) Ignored(e *step.Effect) string {
	p := t.m.P
	switch e.Reason {
	case step.NotShowing:
		return buttonWords(p, e.A) + " is not showing: nothing happens"
	case step.CoverOpened:
		return fmt.Sprintf("the cover is open for %s: press again to fire", Length(p, program.CoverOpen))
	case step.StillDown:
		return buttonWords(p, e.A) + " is down already: nothing happens"
	case step.AlreadyRunning:
		return p.Tasks[e.A].Name + " is running already: it is not run again"
	case step.WasQueued:
		return p.Tasks[e.A].Name + " is running: it will run again after that"
	case step.Passed:
		return "the rundown is past " + cueWords(p, e.A) + ": it is not fired"
	}
	return "there is nothing on standby"
}
