package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/wire"
)

func newSend(s streams) *cobra.Command {
	var t trigger
	var dry bool
	var to []string
	c := &cobra.Command{
		Use:   "send SHOW|PROGRAM",
		Short: "Really send what a button, a cue or a macro sends",
		Long: `Send the messages of one button, cue or macro to the devices, waiting in real time, and
tell what became of each. It begins from the state at power-on and does not know what the
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
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			var post post
			if !dry {
				live := newLivePost(p, os.Getenv)
				defer live.close()
				post = live
			}
			return sendAll(ctx, s.out, w, post)
		},
	}
	t.flags(c)
	c.Flags().BoolVar(&dry, "dry-run", false, "send nothing, and open no connection")
	c.Flags().StringArrayVar(&to, "to", nil, "send a device's messages elsewhere: `DEVICE=URL`, as osc.udp://host:port or http://host:port")
	return c
}

// redirected is the program with other addresses for some devices.
func redirected(p *program.Program, to []string) (*program.Program, error) {
	q := *p
	q.Devices = slices.Clone(p.Devices)
	var names []string
	for _, d := range p.Devices {
		if d.Wire != "" {
			names = append(names, d.Name)
		}
	}
	for _, word := range to {
		name, text, ok := strings.Cut(word, "=")
		u, err := url.Parse(text)
		if !ok || err != nil || u.Host == "" || u.User != nil || strings.Trim(u.Path, "/") != "" {
			return nil, &mistake{word: "--to", what: fmt.Sprintf("`%s` is not a device and where it is", word),
				mend: "write it as deck=http://127.0.0.1:9203 or mixer=osc.udp://127.0.0.1:9201"}
		}
		i := slices.IndexFunc(q.Devices, func(d program.Device) bool { return d.Name == name && d.Wire != "" })
		if i < 0 {
			return nil, &mistake{word: "--to", what: fmt.Sprintf("there is no device `%s` that is sent to", name), mend: "there are " + some(names)}
		}
		if isHTTP(u.Scheme) != isHTTP(q.Devices[i].Wire) || !isHTTP(u.Scheme) && !strings.HasPrefix(u.Scheme, "osc.") {
			return nil, &mistake{word: "--to", what: fmt.Sprintf("`%s` speaks %s, and `%s` does not", name, q.Devices[i].Wire, text),
				mend: "write it as " + name + "=" + q.Devices[i].Wire + "://" + u.Host}
		}
		if d := q.Devices[i]; d.Wire == "https" && u.Scheme == "http" && d.Login+d.Token != "" && !wire.OnThisMachine(u.Hostname()) {
			return nil, &mistake{word: "--to", what: fmt.Sprintf("the credentials of `%s` would go over the network in clear", name),
				mend: "write it as " + name + "=https://" + u.Host}
		}
		q.Devices[i].Wire, q.Devices[i].Address = u.Scheme, u.Host
	}
	return &q, nil
}

func isHTTP(wire string) bool { return wire == "http" || wire == "https" }

// post carries the messages of one device that belong together. It gives what
// the device answered, or why it did not work.
type post interface {
	send(ctx context.Context, device int32, messages []*program.Message) (string, error)
}

// dryWords are said at the start and the end and on each line of a dry run.
const dryWords = "dry run: "

// sendAll sets a walk off and sends what it sends. Without a post it is a dry
// run: it does not wait, and has nothing to send with.
func sendAll(ctx context.Context, out io.Writer, w *walk, post post) error {
	t := telling{out: out, w: w, post: post, index: w.m.P.MessageIndex(), start: time.Now()}
	if post == nil {
		t.mark = dryWords
		t.line("nothing is sent, no connection is opened")
	}
	t.line("%s, from the state at power-on", w.name)
	err := w.run(func(until int64) error { return t.wait(ctx, until) },
		func(now int64, effects []step.Effect) error { return t.effects(ctx, now, effects) })
	if ctx.Err() != nil {
		t.line("stopped: what was still to come has not been sent")
		return exit(exitFindings)
	}
	if err != nil {
		return err
	}
	for _, name := range w.stuck() {
		t.line("%s goes on waiting: nothing more is sent", name)
	}
	if post == nil {
		t.line("%s would have been sent; nothing was", counted(t.sent, "message", "messages"))
	} else {
		t.line("%s sent, %d failed", counted(t.sent, "message", "messages"), t.failed)
	}
	if t.failed > 0 {
		return exit(exitFindings)
	}
	return nil
}

// telling is one run of send.
type telling struct {
	out          io.Writer
	w            *walk
	post         post
	index        map[program.Command]int32
	start        time.Time
	now          int64
	mark         string
	sent, failed int
}

func (t *telling) line(format string, args ...any) {
	fmt.Fprintf(t.out, "%s%s\n", t.mark, fmt.Sprintf(format, args...))
}

// wait lets real time pass until a moment of the show.
func (t *telling) wait(ctx context.Context, until int64) error {
	if t.post == nil {
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
			if err := t.salvo(ctx, effects[i:i+n]); err != nil {
				return err
			}
		case step.Failed, step.Blocked:
			t.failed++
			t.say("%s", story.Failure(t.w.m.P, &e))
		case step.Alerted:
			t.say("alert: %s", e.Text)
		case step.Noted:
			t.say("note: %s", e.Text)
		case step.Missed:
			t.failed++
			t.say("what was expected did not come true: %s", story.Place(t.w.m.P, t.w.m.P.Code[e.Instr].At))
		}
		i += n
	}
	return nil
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

func (t *telling) say(format string, args ...any) {
	t.line("%8s  %s", seconds(t.now), fmt.Sprintf(format, args...))
}

// salvo sends the messages of some commands of one device.
func (t *telling) salvo(ctx context.Context, effects []step.Effect) error {
	var messages []*program.Message
	for _, e := range effects {
		words := story.Command(t.w.m.P, e.Command)
		i, ok := t.index[e.Command]
		if !ok {
			t.say("%s: no message, the plan does not say how to reach it", words)
			continue
		}
		m := &t.w.m.P.Messages[i]
		messages = append(messages, m)
		d := t.w.m.P.Devices[m.Device]
		t.say("%s  ->  %s %s://%s  %s", words, d.Name, d.Wire, d.Address, m.Text)
	}
	t.sent += len(messages)
	if t.post == nil || len(messages) == 0 {
		return nil
	}
	answer, err := t.post.send(ctx, effects[0].Device, messages)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		t.sent -= len(messages)
		t.failed += len(messages)
		answer = "FAILED: " + err.Error()
	}
	t.say("  %s", answer)
	return nil
}
