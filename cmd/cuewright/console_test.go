package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"runtime"
	"strings"
	"testing"

	"cuewright/targets/control"
)

// TestConsole: lines as people read them leave out what is routine and what
// the message says already; JSON has everything, under names that stay.
func TestConsole(t *testing.T) {
	for _, way := range logWays {
		var b bytes.Buffer
		c := newConsole(&b, way)
		c.said("ready: Final")
		c.log.Warn("the deck is away", "kind", "alert", "from", "device")
		c.log.Log(t.Context(), control.Routine, "press", "kind", "press", "outcome", "done")
		c.log.With("file", "/dev/midi1").Info("a surface is there", "why", "plugged in")
		c.log.Debug("nothing for anybody")
		c.close()
		c.said("after the end") // is not written, and waits for nobody
		lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
		if way == "text" {
			for i, want := range []string{"  ready: Final", "  the deck is away", "  a surface is there, file /dev/midi1, why plugged in"} {
				if len(lines) != 3 || !strings.HasSuffix(lines[i], want) {
					t.Errorf("got %q, want %q", lines, want)
				}
			}
			continue
		}
		if len(lines) != 4 {
			t.Fatalf("%d records: %q", len(lines), lines)
		}
		for i, want := range []map[string]string{
			{"level": "INFO", "msg": "ready: Final"},
			{"level": "WARN", "msg": "the deck is away", "kind": "alert", "from": "device"},
			{"level": "INFO", "msg": "press", "kind": "press", "outcome": "done"},
			{"level": "INFO", "msg": "a surface is there", "file": "/dev/midi1", "why": "plugged in"},
		} {
			var got map[string]string
			if err := json.Unmarshal([]byte(lines[i]), &got); err != nil {
				t.Fatal(err)
			}
			delete(got, "time")
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("got %v, want %v", got, want)
			}
		}
	}
}

// stuck is an output that nobody reads, until it is let go on.
type stuck struct {
	free chan bool
	bytes.Buffer
}

func (s *stuck) Write(p []byte) (int, error) {
	<-s.free
	return s.Buffer.Write(p)
}

// TestConsoleWaitsForNobody: an output that nobody reads holds nobody up; how
// many lines were lost is said when it goes on.
func TestConsoleWaitsForNobody(t *testing.T) {
	out := &stuck{free: make(chan bool)}
	c := newConsole(out, "text")
	const lines = waitingLines + 500
	for i := range lines {
		c.said(fmt.Sprint("line ", i))
	}
	close(out.free)
	for len(c.lines) > 0 {
		runtime.Gosched() // until there is room
	}
	c.said("the last")
	c.close()
	text := out.String()
	written, lost := strings.Count(text, "  line "), 0
	if _, err := fmt.Sscanf(text[strings.Index(text, " lines could not be written")-4:], "%d lines could not", &lost); err != nil {
		t.Fatal(err)
	}
	if written+lost != lines || lost < 400 || !strings.Contains(text, "the last") {
		t.Errorf("%d written and %d lost, of %d", written, lost, lines)
	}
}

var _ io.Writer = (*stuck)(nil)
var _ slog.Handler = lineHandler{}
