package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"cuewright/targets/control"
)

// console is where `run` says what happens: a line each, as people read it, or
// as JSON. Nobody waits for it, since the loop of the show writes to it too: a
// terminal that is stopped, or a pipe that nobody reads, costs lines, not the
// show. The lines are written by a goroutine of its own.
type console struct {
	w     io.Writer
	log   *slog.Logger
	as    func(io.Writer) slog.Handler
	lines chan []byte
	done  chan struct{}

	mu     sync.Mutex // taken under no other; no other under it
	closed bool
	lost   int
}

const (
	waitingLines = 4096
	flushWithin  = time.Second // for the last lines
)

// logWays are the ways to write a log.
var logWays = []string{"text", "json"}

// newConsole writes to w in one of logWays.
func newConsole(w io.Writer, way string) *console {
	c := &console{w: w, lines: make(chan []byte, waitingLines), done: make(chan struct{})}
	c.as = func(w io.Writer) slog.Handler { return lineHandler{w: w} }
	if way == "json" {
		c.as = func(w io.Writer) slog.Handler {
			return slog.NewJSONHandler(w, &slog.HandlerOptions{Level: control.Routine, ReplaceAttr: plainLevel})
		}
	}
	c.log = slog.New(c.as(c))
	go c.write()
	return c
}

// plainLevel calls what is routine INFO, which every reader of logs knows.
func plainLevel(_ []string, a slog.Attr) slog.Attr {
	if a.Key == slog.LevelKey && a.Value.Any() == control.Routine {
		a.Value = slog.StringValue("INFO")
	}
	return a
}

func (c *console) said(text string) { c.log.Info(text) }

// Write takes a line and does not wait.
func (c *console) Write(line []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.closed {
		return len(line), nil
	}
	if c.lost > 0 && c.put(c.missing()) {
		c.lost = 0
	}
	if c.lost > 0 || !c.put(append([]byte(nil), line...)) {
		c.lost++
	}
	return len(line), nil
}

// missing is the line that tells of those that there was no room for.
func (c *console) missing() []byte {
	var b bytes.Buffer
	slog.New(c.as(&b)).Warn(fmt.Sprintf("%d lines could not be written", c.lost))
	return b.Bytes()
}

func (c *console) put(line []byte) bool {
	select {
	case c.lines <- line:
		return true
	default:
		return false
	}
}

func (c *console) write() {
	defer close(c.done)
	for line := range c.lines {
		_, _ = c.w.Write(line) // the outlet remembers that it went wrong
	}
}

// close writes what waits, within a while.
func (c *console) close() {
	c.mu.Lock()
	if !c.closed {
		c.closed = true
		close(c.lines)
	}
	c.mu.Unlock()
	select {
	case <-c.done:
	case <-time.After(flushWithin):
	}
}

// lineHandler writes "time  message, name value, name value". What belongs to
// records of the controller, which have a kind, is in their message already.
type lineHandler struct {
	w    io.Writer
	tail string
}

// Enabled leaves out what happens all the time, and what is only for finding
// faults in this program.
func (h lineHandler) Enabled(_ context.Context, l slog.Level) bool { return l >= slog.LevelInfo }

// Handle writes one line.
func (h lineHandler) Handle(_ context.Context, r slog.Record) error {
	tail, kind := h.tail, false
	r.Attrs(func(a slog.Attr) bool {
		kind = kind || a.Key == "kind"
		tail += words(a)
		return true
	})
	if kind {
		tail = h.tail
	}
	_, err := fmt.Fprintf(h.w, "%s  %s%s\n", r.Time.Format("15:04:05.000"), r.Message, tail)
	return err
}

func words(a slog.Attr) string { return ", " + a.Key + " " + a.Value.String() }

// WithAttrs adds to every line.
func (h lineHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	for _, a := range attrs {
		h.tail += words(a)
	}
	return h
}

// WithGroup changes nothing: a line has no groups.
func (h lineHandler) WithGroup(string) slog.Handler { return h }
