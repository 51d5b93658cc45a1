package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

func newSend(s streams) *cobra.Command {
	var t trigger
	var dry bool
	var to []string
	c := &cobra.Command{
		Use:   "send SHOW|PROGRAM",
		Short: "Really send what a button, a cue or a macro sends",
		Long: `Send the messages of one button, cue or macro to the devices, waiting in real time, and
tell what became of each. Devices do not wait for one another. It begins from the state at power-on and does not know what the
rack is doing: it is for trying out, not for running the show.
With --dry-run nothing is sent and no connection is opened; the bytes are the same.

` + caution + `

` + exitHelp,
		Example: `  cuewright send final.show --cue 2 --dry-run
  cuewright send final.show --button "cameras 2.1"
  cuewright send final.show --macro roll --to iso=osc.udp://127.0.0.1:9000`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := t.one(c); err != nil {
				return err
			}
			r, err := load(s, args[0], false)
			if err != nil {
				return err
			}
			p, err := redirected(r.Program, to)
			if err != nil {
				return err
			}
			w, err := t.find(p)
			if err != nil {
				return err
			}
			signal.Ignore(syscall.SIGPIPE) // whoever stops reading does not end a cue between two messages
			defer signal.Reset(syscall.SIGPIPE)
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			sending := telling{out: s.out, err: s.err, w: w, index: p.MessageIndex(), unfit: unfit(p, &t, os.Getenv)}
			if dry {
				return sending.dryRun(ctx)
			}
			return sending.live(ctx, newMail(p, os.Getenv, sending.arrived))
		},
	}
	t.flags(c)
	c.Flags().BoolVar(&dry, "dry-run", false, "send nothing, and open no connection")
	c.Flags().StringArrayVar(&to, "to", nil, "send a device's messages elsewhere: `DEVICE=URL`, as osc.udp://host:port or http://host:port")
	return c
}

// isHTTP says that a wire has answers.
func isHTTP(wire string) bool { return wire == "http" || wire == "https" }

// dryWords are said at the start and the end and on each line of a dry run.
const dryWords = "dry run: "

// telling is one run of send. While mail is on its way, arrived is called by
// other goroutines; mu guards out, sent, failed and broken, and no other lock
// is taken under it.
type telling struct {
	out, err io.Writer
	w        *walk
	mail     *mail // nil in a dry run
	unfit    []error
	index    map[program.Command]int32
	start    time.Time
	now      int64 // of the show, in microseconds; read in a dry run only
	mark     string

	mu           sync.Mutex
	sent, failed int
	broken       error // what was said cannot be read
}

// dryRun tells what would be sent. It does not wait, and has nothing to send
// with.
func (t *telling) dryRun(ctx context.Context) error {
	t.mark = dryWords
	t.line("nothing is sent, no connection is opened")
	for _, err := range t.unfit {
		t.line("%v", coded(err))
	}
	if err := t.run(ctx); err != nil {
		return err
	}
	t.line("%s would have been sent; nothing was", counted(t.sent, "message", "messages"))
	return t.ended()
}

// live sends in real time. Devices do not wait for one another.
func (t *telling) live(ctx context.Context, m *mail) error {
	if len(t.unfit) > 0 {
		for _, err := range t.unfit {
			t.line("%v", coded(err))
		}
		t.line("nothing was sent")
		return exit(exitFindings)
	}
	t.mail, t.start = m, time.Now()
	err := t.run(ctx)
	m.close()
	if ctx.Err() != nil {
		t.line("stopped: what was still to come has not been sent")
		err = exit(exitFindings)
	}
	summary := fmt.Sprintf("%s sent, %d failed", counted(t.sent, "message", "messages"), t.failed)
	t.line("%s", summary)
	if t.broken != nil {
		fmt.Fprintf(t.err, "cuewright: %s, but nobody could read what became of each\n", summary)
	}
	if err != nil {
		return err
	}
	return t.ended()
}

func (t *telling) ended() error {
	if t.failed > 0 {
		return exit(exitFindings)
	}
	return nil
}

// run sets the walk off and sends what it sends.
func (t *telling) run(ctx context.Context) error {
	t.line("%s, from the state at power-on", t.w.name)
	err := t.w.run(func(until int64) error { return t.wait(ctx, until) },
		func(now int64, effects []step.Effect) error { return t.effects(ctx, now, effects) })
	if err == nil {
		for _, name := range t.w.stuck() {
			t.line("%s goes on waiting: nothing more is sent", name)
		}
	}
	return err
}

func (t *telling) line(format string, args ...any) { t.tell(false, fmt.Sprintf(format, args...)) }

// say tells with the time: the show's in a dry run, else the real one.
func (t *telling) say(format string, args ...any) { t.tell(true, fmt.Sprintf(format, args...)) }

func (t *telling) tell(timed bool, text string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	stamp := ""
	switch {
	case timed && t.mail == nil:
		stamp = fmt.Sprintf("%10s  ", story.Seconds(t.now))
	case timed:
		stamp = fmt.Sprintf("%10s  ", story.Seconds(time.Since(t.start).Microseconds()))
	}
	if _, err := fmt.Fprintf(t.out, "%s%s%s\n", t.mark, stamp, story.Plain(text)); err != nil {
		t.broken = err
	}
}

// wait lets real time pass until a moment of the show.
func (t *telling) wait(ctx context.Context, until int64) error {
	if t.mail == nil {
		return nil
	}
	timer := time.NewTimer(time.Until(t.start.Add(time.Duration(until) * time.Microsecond)))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// effects sends what an event did. Neighbours of one salvo to one device over
// OSC go together.
func (t *telling) effects(ctx context.Context, now int64, effects []step.Effect) error {
	t.now = now
	for i := 0; i < len(effects); {
		e := effects[i]
		n := 1
		switch e.Kind {
		case step.Sent:
			for i+n < len(effects) && together(e, effects[i+n]) && !isHTTP(t.wireOf(e.Device)) {
				n++
			}
			t.salvo(ctx, effects[i:i+n])
		case step.Failed, step.Blocked:
			t.count(0, 1)
			t.say("%s", story.Failure(t.w.m.P, &e))
		case step.Alerted:
			t.say("alert: %s", e.Text)
		case step.Noted:
			t.say("note: %s", e.Text)
		case step.Missed:
			t.count(0, 1)
			t.say("what was expected did not come true: %s", story.Place(t.w.m.P, t.w.m.P.Code[e.Instr].At))
		}
		i += n
	}
	return ctx.Err()
}

func together(a, b step.Effect) bool {
	return b.Kind == step.Sent && a.Group != 0 && a.Group == b.Group && a.Device == b.Device
}

func (t *telling) wireOf(device int32) string {
	if device < 0 {
		return ""
	}
	return t.w.m.P.Devices[device].Wire
}

func (t *telling) count(sent, failed int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sent += sent
	t.failed += failed
}

// salvo sends the messages of some commands of one device.
func (t *telling) salvo(ctx context.Context, effects []step.Effect) {
	l := letter{device: effects[0].Device, due: time.Now()}
	for _, e := range effects {
		words := story.Command(t.w.m.P, e.Command)
		i, ok := t.index[e.Command]
		if !ok {
			t.say("%s: no message, the plan does not say how to reach it", words)
			continue
		}
		m := &t.w.m.P.Messages[i]
		l.messages = append(l.messages, m)
		l.words = append(l.words, words)
		d := t.w.m.P.Devices[m.Device]
		t.say("%s  ->  %s %s://%s  %s", words, d.Name, d.Wire, d.Address, m.Text)
	}
	switch {
	case len(l.messages) == 0:
	case t.mail == nil:
		t.count(len(l.messages), 0)
	default:
		t.mail.post(ctx, l)
	}
}

// arrived tells what became of a letter. One that was told of before has
// failed after all.
func (t *telling) arrived(l letter, answer string, err error) {
	n := len(l.messages)
	what := t.w.m.P.Devices[l.device].Name + ": " + strings.Join(l.words, ", ")
	switch {
	case err != nil && l.told:
		t.count(-n, n)
		t.say("  %s  FAILED after all: %v", what, coded(err))
	case err != nil:
		t.count(0, n)
		t.say("  %s  FAILED: %v", what, coded(err))
	default:
		t.count(n, 0)
		t.say("  %s  %s", what, answer)
	}
}
