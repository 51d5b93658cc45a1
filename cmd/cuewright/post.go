package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/httpout"
	"cuewright/targets/osc"
	"cuewright/targets/wire"
)

// livePost sends to the devices. It connects to a device when it first sends
// to it.
type livePost struct {
	p    *program.Program
	env  func(string) string
	osc  map[int32]osc.Sender
	http map[int32]*httpout.Client
}

var _ post = (*livePost)(nil)

func newLivePost(p *program.Program, env func(string) string) *livePost {
	return &livePost{p: p, env: env, osc: map[int32]osc.Sender{}, http: map[int32]*httpout.Client{}}
}

func (l *livePost) close() {
	for _, s := range l.osc {
		s.Close()
	}
	for _, c := range l.http {
		c.Close()
	}
}

func (l *livePost) send(ctx context.Context, device int32, messages []*program.Message) (string, error) {
	d := l.p.Devices[device]
	if isHTTP(d.Wire) {
		return l.request(ctx, device, messages[0])
	}
	if l.osc[device] == nil {
		s, err := osc.NewSender(osc.Config{Name: d.Name, Wire: d.Wire, Address: d.Address,
			Deadline: time.Duration(d.Deadline) * time.Microsecond})
		if err != nil {
			return "", err
		}
		l.osc[device] = s
	}
	var packets [][]byte
	for _, m := range messages {
		packets = append(packets, m.OSC)
	}
	if err := l.osc[device].Send(ctx, packets); err != nil {
		return "", coded(err)
	}
	return "on its way (" + d.Wire + " has no answer)", nil
}

func (l *livePost) request(ctx context.Context, device int32, m *program.Message) (string, error) {
	if l.http[device] == nil {
		c, err := httpout.New(l.p.Devices[device], l.env)
		if err != nil {
			return "", coded(err)
		}
		l.http[device] = c
	}
	answer, err := l.http[device].Send(ctx, m.HTTP)
	if err != nil {
		return "", coded(err)
	}
	return strings.TrimSpace(fmt.Sprintf("answered %d %s", answer.Status, answer.Line)), nil
}

// coded adds a fault's code, so that it can be explained.
func coded(err error) error {
	if code := wire.CodeOf(err); code != "" {
		return fmt.Errorf("%w  [%s]", err, code)
	}
	return err
}

// firstLine is the beginning of an answer, in characters that cannot steer a
// terminal.
func firstLine(body []byte) string {
	const shown = 80
	line, _, _ := strings.Cut(string(body), "\n")
	line = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return '.'
		}
		return r
	}, line)
	return line[:min(shown, len(line))]
}
