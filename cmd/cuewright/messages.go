package main

import (
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

func newMessages(s streams) *cobra.Command {
	var t trigger
	var asJSON bool
	c := &cobra.Command{
		Use:   "messages SHOW|PROGRAM",
		Short: "List exactly what would be sent, to the byte",
		Long: `List every message that a show can send; or, with --button, --cue or --macro, what that
one thing sends, in order and with the waits between, from the state at power-on.
The bytes are those that are sent on the night. Nothing is sent here.

` + exitHelp,
		Example: `  cuewright messages final.show --button "cameras 2.1"
  cuewright messages final.show --cue 2
  cuewright messages final.show --macro roll --json
  cuewright messages final.show                      every message of the show`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if t.given() > 0 || t.hold {
				if err := t.one(c); err != nil {
					return err
				}
			}
			r, err := load(s, args[0], asJSON)
			if err != nil {
				return err
			}
			list, err := listMessages(r.Program, &t)
			if err != nil {
				return err
			}
			if asJSON {
				list.Document = report.NewDocument(r.Findings)
				return report.Write(s.out, list)
			}
			return list.text(s.out, r.Program)
		},
	}
	t.flags(c)
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

// messageList is what is sent, in JSON and as text. Of is what sends it, "" for
// all messages of the show.
type messageList struct {
	report.Document
	Of       string    `json:"of,omitempty"`
	Messages []message `json:"messages"`
	Waits    []string  `json:"waits_for_ever,omitempty"`
	Failures []string  `json:"failures,omitempty"`
}

// message is one message. At is microseconds after the start. A command
// without a message has neither OSC nor HTTP.
type message struct {
	At      int64    `json:"at_micros"`
	Group   int32    `json:"group,omitempty"` // fired together with its neighbours of the same number
	Device  string   `json:"device"`
	Wire    string   `json:"wire,omitempty"`
	Address string   `json:"address,omitempty"`
	Command string   `json:"command"`
	Text    string   `json:"text,omitempty"`
	OSC     string   `json:"osc,omitempty"` // hexadecimal
	HTTP    *request `json:"http,omitempty"`
}

// request is an HTTP request. Body is hexadecimal.
type request struct {
	Method string      `json:"method"`
	Target string      `json:"target"`
	Header [][2]string `json:"header,omitempty"`
	Body   string      `json:"body,omitempty"`
}

// listMessages lists what a trigger sends, or everything when none is given.
func listMessages(p *program.Program, t *trigger) (*messageList, error) {
	list := &messageList{Messages: []message{}}
	if t.given() == 0 {
		for _, m := range p.Messages {
			list.Messages = append(list.Messages, messageOf(p, m.Command, m.Device, &m))
		}
		return list, nil
	}
	w, err := t.find(p)
	if err != nil {
		return nil, err
	}
	list.Of = w.name
	index := p.MessageIndex()
	still := func(int64) error { return nil }
	err = w.run(still, func(now int64, effects []step.Effect) error {
		for _, e := range effects {
			if e.Kind == step.Failed || e.Kind == step.Blocked {
				list.Failures = append(list.Failures, story.Failure(p, &e))
			}
			if e.Kind != step.Sent {
				continue
			}
			var m *program.Message
			if i, ok := index[e.Command]; ok {
				m = &p.Messages[i]
			}
			line := messageOf(p, e.Command, e.Device, m)
			line.At, line.Group = now, e.Group
			list.Messages = append(list.Messages, line)
		}
		return nil
	})
	list.Waits = w.stuck()
	return list, err
}

func messageOf(p *program.Program, c program.Command, device int32, m *program.Message) message {
	out := message{Command: story.Command(p, c)}
	if device >= 0 {
		d := p.Devices[device]
		out.Device, out.Wire, out.Address = d.Name, d.Wire, d.Address
	}
	if m == nil {
		return out
	}
	out.Text, out.OSC = m.Text, hex.EncodeToString(m.OSC)
	if m.HTTP != nil {
		out.HTTP = &request{m.HTTP.Method, m.HTTP.Target, m.HTTP.Header, hex.EncodeToString(m.HTTP.Body)}
	}
	return out
}

func (l *messageList) text(w io.Writer, p *program.Program) error {
	var b strings.Builder
	if l.Of != "" {
		fmt.Fprintf(&b, "%s, from the state at power-on\n", l.Of)
	}
	now := int64(0)
	for _, m := range l.Messages {
		if m.At > now {
			fmt.Fprintf(&b, "  wait %s\n", story.Length(p, m.At-now))
			now = m.At
		}
		m.text(&b)
	}
	for _, name := range l.Waits {
		fmt.Fprintf(&b, "%s goes on waiting: nothing more is sent until what it waits for comes true\n", name)
	}
	for _, f := range l.Failures {
		fmt.Fprintf(&b, "%s\n", story.Plain(f))
	}
	fmt.Fprintf(&b, "%s\n", counted(len(l.Messages), "message", "messages"))
	_, err := io.WriteString(w, b.String())
	return err
}

func (m message) text(b *strings.Builder) {
	fmt.Fprintf(b, "%s\n", story.Plain(m.Command))
	switch {
	case m.OSC != "":
		fmt.Fprintf(b, "  %s  %s://%s  %s\n", m.Device, m.Wire, m.Address, story.Plain(m.Text))
		hexLines(b, m.OSC)
	case m.HTTP != nil:
		fmt.Fprintf(b, "  %s  %s://%s  %s %s\n", m.Device, m.Wire, m.Address, m.HTTP.Method, m.HTTP.Target)
		for _, h := range m.HTTP.Header {
			fmt.Fprintf(b, "    %s: %s\n", h[0], h[1])
		}
		hexLines(b, m.HTTP.Body)
	default:
		fmt.Fprintf(b, "  %s  no message: the plan does not say how to reach it\n", m.Device)
	}
}

// hexLines writes bytes 16 a line, in groups of four, with the text beside.
func hexLines(b *strings.Builder, digits string) {
	data, _ := hex.DecodeString(digits) // made by EncodeToString
	for at := 0; at < len(data); at += 16 {
		line := data[at:min(at+16, len(data))]
		var groups []string
		for i := 0; i < len(line); i += 4 {
			groups = append(groups, hex.EncodeToString(line[i:min(i+4, len(line))]))
		}
		plain := strings.Map(func(r rune) rune {
			if r < ' ' || r > '~' {
				return '.'
			}
			return r
		}, latin(line))
		fmt.Fprintf(b, "    %-35s  %s\n", strings.Join(groups, " "), plain)
	}
}

// latin is bytes as characters of the same numbers.
func latin(data []byte) string {
	runes := make([]rune, len(data))
	for i, c := range data {
		runes[i] = rune(c)
	}
	return string(runes)
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
