package main

import (
	"fmt"
	"strings"
	"time"

	"cuewright/macro/source"
	"cuewright/sim/story"
	"cuewright/targets/control"
)

// margins writes lines under the time and timecode of a moment, which stand at the
// first only. Each day begins with its date. On a terminal they are broken.
type margins struct {
	s   streams
	day string
}

// margin is what stands before a line: a time, a timecode and the spaces after
// each.
const margin = 27

// labelled is how many characters of each line are its label.
const labelled = 7

func (l *margins) write(e control.Entry, texts ...string) error {
	if today := e.Time.Format(time.DateOnly); today != l.day {
		if _, err := fmt.Fprintf(l.s.out, "%s%s\n%-12s  %-11s  what\n", map[bool]string{true: "\n"}[l.day != ""], today, "time", "timecode"); err != nil {
			return err
		}
		l.day = today
	}
	before := fmt.Sprintf("%s  %11s  ", e.Time.Format("15:04:05.000"), e.Timecode)
	for _, text := range texts {
		for _, line := range l.broken(story.Plain(text)) {
			if _, err := fmt.Fprintln(l.s.out, strings.TrimRight(before+line, " ")); err != nil {
				return err
			}
			before = strings.Repeat(" ", margin)
		}
	}
	return nil
}

// broken is a text in as many lines as the terminal needs.
func (l *margins) broken(text string) []string {
	const least = margin + 30 // below that, breaking makes it worse
	width := 0
	if l.s.width != nil {
		width = l.s.width()
	}
	if width < least || margin+source.Width(text) <= width {
		return []string{text}
	}
	label := text[:labelled]
	broken := wrap(text[labelled:], width-margin-labelled, "  ")
	for i := range broken {
		broken[i] = label + broken[i]
		label = strings.Repeat(" ", labelled)
	}
	return broken
}

// table writes what happened, a deed at a time.
func table(s streams) (writer, func() error) {
	l := &margins{s: s}
	d := &deeds{write: func(x deed) error {
		if x.idle() || x.head.Kind == "snapshot" && x.head.Came == "" {
			return nil
		}
		texts := []string{headline(&x)}
		for i := range x.rest {
			if e := &x.rest[i]; e.Kind == "sent" && x.head.Kind == "sent" {
				texts[0] = "sent   " + sentence(e)
			} else {
				texts = append(texts, "       "+sentence(e))
			}
		}
		return l.write(x.head, texts...)
	}}
	return d.add, d.end
}

// headline is the first line of a deed.
func headline(x *deed) string {
	e := &x.head
	if x.press {
		return fmt.Sprintf("%-6s %s%s, by %s", e.Kind, e.What, after("  -> ", e.Came), e.Who)
	}
	kind := e.Kind
	if kind == "event" {
		kind = "" // it came by itself
	}
	return fmt.Sprintf("%-6s %s", kind, sentence(e))
}

// sentence is an entry in a line.
func sentence(e *control.Entry) string {
	came := strings.TrimPrefix(e.Came, "done: ")
	switch e.Kind {
	case "sent":
		if came == "" {
			came = "nobody knows"
		}
		return fmt.Sprintf("%s: %s  -> %s", e.Who, e.What, came)
	case "cue":
		return e.What + " is fired" + after(", ", e.Who)
	case "alert":
		return "ALERT: " + e.What
	case "note":
		return "note: " + e.What
	}
	return strings.TrimPrefix(e.Who+": ", ": ") + e.What + after("  -> ", came)
}

// sheet writes what went to air, and what was done for it.
func sheet(s streams) (writer, func() error) {
	l := &margins{s: s}
	d := &deeds{write: func(x deed) error {
		var texts []string
		switch {
		case x.head.Kind == "start" || x.head.Kind == "stop":
			texts = []string{fmt.Sprintf("%-6s %s%s", x.head.Kind, x.head.What, after(", ", x.head.Came))}
		case x.press && !x.idle():
			texts = []string{"PRESS  " + x.head.What + after("  -> ", strings.TrimPrefix(strings.TrimPrefix(x.head.Came, "done"), ": ")) + ", by " + x.head.Who}
		case x.head.Kind == "alert":
			texts = []string{"ALERT  " + x.head.What}
		}
		for i := range x.rest {
			switch e := &x.rest[i]; e.Kind {
			case "cue":
				texts = append(texts, "CUE    "+e.What+after(", ", e.Who))
			case "alert":
				texts = append(texts, "ALERT  "+e.What)
			}
		}
		return l.write(x.head, append(texts, seen(&x)...)...)
	}}
	return d.add, d.end
}

// seen is what destinations show after a deed, those that show the same
// together, and what came on air and left it.
func seen(x *deed) (texts []string) {
	beat := x.head.Beat
	if x.event != nil {
		beat = x.event.Beat
	}
	if beat == nil {
		return nil
	}
	where := map[string][]string{}
	var pictures []string
	for _, c := range beat.Shows {
		if where[c.To] == nil {
			pictures = append(pictures, c.To)
		}
		where[c.To] = append(where[c.To], c.What)
	}
	for _, picture := range pictures {
		verb := "shows"
		if len(where[picture]) > 1 {
			verb = "show"
		}
		texts = append(texts, fmt.Sprintf("       %s %s %s", strings.Join(where[picture], ", "), verb, picture))
	}
	if len(beat.Came) > 0 {
		texts = append(texts, "       on air: "+strings.Join(beat.Came, ", "))
	}
	if len(beat.Left) > 0 {
		texts = append(texts, "       off air: "+strings.Join(beat.Left, ", "))
	}
	return texts
}
