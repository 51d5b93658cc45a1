package standin

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"cuewright/targets/osc"
)

// entry is one message, as a line of JSON. Credential is "login", "token" or
// "none": what it was is not kept. Exactly one of OSC, Method and Fault is set.
type entry struct {
	Time       string   `json:"time"` // RFC 3339, to the microsecond
	Device     string   `json:"device"`
	Wire       string   `json:"wire"`
	From       string   `json:"from,omitempty"` // who sent it …
	To         string   `json:"to,omitempty"`   // … or whom the stand-in told
	OSC        string   `json:"osc,omitempty"`
	Args       []string `json:"args,omitempty"`
	Tags       string   `json:"tags,omitempty"`
	Method     string   `json:"method,omitempty"`
	Target     string   `json:"target,omitempty"`
	Body       string   `json:"body,omitempty"` // at most maxShown bytes
	Credential string   `json:"credential,omitempty"`
	Status     int      `json:"status,omitempty"`
	Fault      string   `json:"fault,omitempty"` // why it could not be read
	Means      string   `json:"means,omitempty"` // the show's words, when it knows the message
	Hex        string   `json:"hex,omitempty"`
}

// maxShown is how much of a body is logged, in bytes.
const maxShown = 2048

// journal writes entries; the rack's loop alone uses it.
type journal struct {
	lines, json io.Writer
	hex         bool
}

func (l *journal) write(e entry, raw []byte) {
	e.Time = time.Now().Format("2006-01-02T15:04:05.000000Z07:00")
	if l.hex {
		e.Hex = hex.EncodeToString(raw)
	}
	if l.lines != nil {
		fmt.Fprintln(l.lines, e.line())
	}
	if l.json != nil {
		_ = json.NewEncoder(l.json).Encode(e) // a log that cannot be written stops nothing
	}
}

// line is the entry for people.
func (e entry) line() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  %s", e.Time[11:23], e.Device)
	if e.To != "" {
		fmt.Fprintf(&b, " tells %s ", e.To)
	} else {
		fmt.Fprintf(&b, " hears %s ", e.From)
	}
	switch {
	case e.Fault != "":
		fmt.Fprintf(&b, " what cannot be read: %s", e.Fault)
	case e.Method != "":
		fmt.Fprintf(&b, " %s %s", printable(e.Method), printable(e.Target))
		if e.Body != "" {
			fmt.Fprintf(&b, " %s", printable(e.Body))
		}
		if e.Credential != "none" {
			fmt.Fprintf(&b, " with a %s", e.Credential)
		}
		fmt.Fprintf(&b, " -> %d", e.Status)
	default:
		fmt.Fprintf(&b, " %s", printable(e.OSC))
		for _, a := range e.Args {
			b.WriteByte(' ')
			b.WriteString(a)
		}
	}
	if e.Means != "" {
		fmt.Fprintf(&b, "  = %s", e.Means)
	}
	if e.Hex != "" {
		fmt.Fprintf(&b, "  %s", e.Hex)
	}
	return b.String()
}

// printable keeps what came over the wire from steering a terminal.
func printable(text string) string {
	if q := strconv.Quote(text); q[1:len(q)-1] != text && strings.ReplaceAll(q[1:len(q)-1], `\"`, `"`) != text {
		return q
	}
	return text
}

func (e *entry) message(m osc.Message) {
	e.OSC = m.Path
	var tags strings.Builder
	for _, a := range m.Args {
		tags.WriteByte(a.Tag)
		e.Args = append(e.Args, a.String())
	}
	e.Tags = tags.String()
}
