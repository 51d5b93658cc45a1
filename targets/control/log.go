package control

import (
	"fmt"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/macro/timecode"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/journal"
	"cuewright/targets/surface"
)

// Entry is a record of a journal in words. Its JSON field names are stable.
// Beat is what an event changed, where the journal says from what; of the first
// snapshot of a session, what is to be seen then.
type Entry struct {
	Seq      uint64      `json:"seq"`
	Time     time.Time   `json:"time"`
	Micros   int64       `json:"micros"` // show time
	Timecode string      `json:"timecode"`
	Kind     string      `json:"kind"`
	Who      string      `json:"who,omitempty"`     // who pressed, or which device
	What     string      `json:"what"`              // what was done, sent, heard or said
	Came     string      `json:"came,omitempty"`    // what became of it
	Program  string      `json:"program,omitempty"` // digest of the show that it happened under
	Beat     *story.Beat `json:"-"`
	Pressed  bool        `json:"-"` // an event that a press makes, whose record follows
	LetGo    bool        `json:"-"` // a press that is a finger coming up
}

// Read gives a journal's entries in words, in order.
func Read(dir string, visit func(Entry) error) ([]journal.Torn, error) {
	r := reader{dir: dir}
	return journal.Read(dir, func(x journal.Record) error { return visit(r.entry(x)) })
}

// reader knows where the show was as it reads on.
type reader struct {
	dir  string
	show *show
	past *show // that was before it, whose last messages may still be answered
	lost bool  // the show's state is not known, its names are
}

var kindWords = map[journal.Kind]string{journal.Session: "start", journal.Snapshot: "snapshot", journal.Press: "press",
	journal.Event: "event", journal.Cue: "cue", journal.Sent: "sent", journal.Outcome: "outcome", journal.Heard: "heard",
	journal.Alert: "alert", journal.Fault: "fault", journal.Mark: "note", journal.Stopped: "stop", journal.Adopted: "adopted", journal.Lost: "lost"}

func (r *reader) entry(x journal.Record) Entry {
	e := Entry{Seq: x.Seq, Time: time.UnixMicro(x.Time), Micros: x.At, Kind: kindWords[x.Kind], Who: x.By, What: x.Text}
	switch x.Kind {
	case journal.Session:
		e.Who, e.What = "", fmt.Sprintf("%q, program %.12s", x.By, x.Text)
		if x.A == 1 {
			e.Came = "goes on after a cut"
		}
		if x.A == sessionFollows {
			e.Came = "follows the other controller"
		}
		r.lost, e.Program = true, x.Text
	case journal.Snapshot:
		begins := r.lost
		r.snapshot(x)
		e.Who, e.What = "", fmt.Sprintf("program %.12s", x.Text)
		if x.By != "" {
			e.Came = "disarmed: " + x.By
		}
		if begins && r.show != nil && !r.lost {
			beat := r.show.tell.PowerOn(r.show.state)
			e.Beat = &beat
		}
	case journal.Lost:
		e.What, r.lost = fmt.Sprintf("%d records could not be kept", x.A), true
	case journal.Stopped:
		e.What = "an orderly end"
	}
	if r.show == nil {
		return e
	}
	if e.Program == "" {
		e.Program = r.show.digest
	}
	e.Timecode = timecodeOf(r.show.p, x.At)
	r.words(&e, x)
	return e
}

// timecodeOf is show time as timecode at the program's rate.
func timecodeOf(p *program.Program, micros int64) string {
	rate := timecode.Rate(p.Rate)
	return rate.Label(rate.ToFrames(timecode.Micros(micros)))
}

func (r *reader) snapshot(x journal.Record) {
	if r.show == nil || r.show.digest != x.Text {
		r.past = r.show
		p, err := readProgram(r.dir, x.Text)
		if err != nil {
			r.show = nil
			return
		}
		r.show = newShow(p, x.Text)
	}
	r.lost = r.show.decode(x.Data) != nil
}

// words says the records that name things of the program.
func (r *reader) words(e *Entry, x journal.Record) {
	p := r.show.p
	switch x.Kind {
	case journal.Press:
		e.What, e.Came = r.show.pressed(surface.Kind(x.A), x.B, x.C), outcomeWord(x)
		e.LetGo = surface.Kind(x.A) == surface.Up
	case journal.Event:
		r.event(e, x)
	case journal.Cue:
		if index(x.A, len(p.Cues)) {
			e.What = fmt.Sprintf("cue %s %q", p.Cues[x.A].Number, p.Cues[x.A].Label)
		}
	case journal.Sent:
		e.Who = deviceName(p, x.A)
		if index(x.B, len(p.Messages)) {
			m := &p.Messages[x.B]
			e.What = story.Command(p, m.Command) + "  [" + m.Text + "]"
		}
	case journal.Outcome:
		switch {
		case r.past != nil && x.C == r.past.mark[0]:
			p, e.Program = r.past.p, r.past.digest
		case x.C != r.show.mark[0]:
			return // of a show that is long gone
		}
		e.Who, e.Came = deviceName(p, x.A), "done"
		if index(x.B, len(p.Messages)) {
			e.What = story.Command(p, p.Messages[x.B].Command)
		}
		if x.D == 1 {
			e.Came = "failed"
		}
		e.Came = strings.TrimSuffix(e.Came+": "+x.Text, ": ")
	case journal.Adopted:
		if index(x.B, len(p.Vars)) && x.C >= 0 && uint32(x.C) < p.Vars[x.B].Size {
			e.What = p.Vars[x.B].Name + " is wanted as " + r.show.tell.Value(x.B, uint32(x.C))
		}
	case journal.Heard:
		e.Who = deviceName(p, x.A)
		if index(x.B, len(p.Vars)) && x.C >= 0 && uint32(x.C) < p.Vars[x.B].Size {
			e.What = p.Vars[x.B].Name + " is " + r.show.tell.Value(x.B, uint32(x.C))
		}
	case journal.Fault:
		e.Who, e.What = deviceName(p, x.A), "answers again"
		if uint32(x.B) != program.Well {
			e.What = "away: " + x.Text
		}
	}
}

func index(i int32, n int) bool { return i >= 0 && int(i) < n }

// event applies an event, so that it can be told.
func (r *reader) event(e *Entry, x journal.Record) {
	v, ok := event(r.show.p, x)
	if !ok || r.lost {
		return
	}
	s := r.show
	s.before.CopyFrom(s.state)
	s.effects = s.m.Apply(s.state, v, s.effects[:0])
	beat := s.tell.Tell(s.before, v, s.effects, s.state)
	e.What, e.Beat = beat.Title, &beat
	switch v.Kind {
	case step.Down, step.Up, step.Go, step.StopAll, step.Stand:
		e.Pressed = true
	}
}

var pressWords = map[surface.Kind]string{surface.Down: "press", surface.Up: "let go", surface.Go: "go", surface.Back: "back", surface.Skip: "skip",
	surface.StopAll: "stop all", surface.Resume: "resume", surface.Resend: "send again", surface.Adopt: "adopt", surface.SwitchOver: "switch over",
	surface.Keep: "keep the show on trial", surface.Return: "end the trial", surface.TakeOver: "take over", surface.GiveBack: "give back",
	surface.Disarm: "disarm", surface.Arm: "arm"}

var outcomeWords = [...]string{surface.Done: "done", surface.Repeated: "ignored", surface.Refused: "refused",
	surface.Held: "held", surface.Busy: "too busy"}

func outcomeWord(x journal.Record) string {
	word := "?"
	if index(x.D, len(outcomeWords)) {
		word = outcomeWords[x.D]
	}
	if x.Text != "" {
		word += ": " + x.Text
	}
	return word
}
