package story

import (
	"fmt"
	"io"
	"strings"
	"unicode"
)

// Write prints beats as text for people, in the order given.
func Write(w io.Writer, beats ...Beat) error {
	for i := range beats {
		if _, err := io.WriteString(w, beats[i].String()); err != nil {
			return err
		}
	}
	return nil
}

// String is a beat as text: its number, time and title, then what changed,
// each on a line of its own.
func (b Beat) String() string {
	var w strings.Builder
	fmt.Fprintf(&w, "%3d  %9s  %s  %s", b.Number, b.Time, b.Timecode, Plain(b.Title))
	if b.Place != "" {
		fmt.Fprintf(&w, "  (%s)", Plain(b.Place))
	}
	w.WriteByte('\n')
	line := func(format string, args ...any) { fmt.Fprintf(&w, "       %s\n", Plain(fmt.Sprintf(format, args...))) }
	for _, c := range b.Changes {
		line("%s: %s → %s", c.What, c.From, c.To)
	}
	for _, c := range b.Shows {
		if c.From == "" {
			line("%s shows %s", c.What, c.To)
		} else {
			line("%s shows %s, was %s", c.What, c.To, c.From)
		}
	}
	if len(b.Came) > 0 {
		line("on air: %s", strings.Join(b.Came, ", "))
	}
	if len(b.Left) > 0 {
		line("off air: %s", strings.Join(b.Left, ", "))
	}
	for _, m := range b.Sent {
		line("%s", m)
	}
	for _, text := range b.Alerts {
		line("ALERT %s", text)
	}
	for _, text := range b.Failures {
		line("FAILED %s", text)
	}
	for _, text := range b.Notes {
		line("note: %s", text)
	}
	if len(b.Shows) > 0 && b.Unchanged.Destinations > 0 {
		line("%s unchanged", many(b.Unchanged.Destinations, "destination"))
	}
	return w.String()
}

// Plain is a text on one line with nothing in it that could steer a terminal:
// labels and what is said come from files that anybody may have written.
func Plain(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case unicode.IsControl(r), r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069': // the last two turn text round
			return unicode.ReplacementChar
		}
		return r
	}, text)
}

// String is a message as text: "to mixer: cut main to wide  [/bank/1/program 1]".
func (m Message) String() string {
	words := "to " + m.Device + ": " + m.Command
	if m.Text != "" && m.Text != m.Command {
		words += "  [" + m.Text + "]"
	}
	return words
}

// many is a number of things: "1 destination", "2 destinations".
func many(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}
