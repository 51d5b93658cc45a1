package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/httpout"
	"cuewright/targets/osc"
	"cuewright/targets/wire"
)

// letter is what is sent to one device together: one message, or over OSC the
// neighbours of a salvo.
type letter struct {
	device   int32
	messages []*program.Message
	words    []string // what each does
	due      time.Time
	told     bool // it has been told of as being on its way
}

// mail carries letters to the devices, to each in order, to different ones
// side by side. What became of each is given to told, from several goroutines.
type mail struct {
	p        *program.Program
	env      func(string) string
	told     func(l letter, answer string, err error)
	carriers map[int32]*carrier
	working  sync.WaitGroup
}

func newMail(p *program.Program, env func(string) string, told func(letter, string, error)) *mail {
	return &mail{p: p, env: env, told: told, carriers: map[int32]*carrier{}}
}

// waiting is how many letters to one device may wait. A cue with more than
// that to a device that hangs waits for it.
const waiting = 1024

// post gives a letter to the carrier of its device.
func (m *mail) post(ctx context.Context, l letter) {
	c := m.carriers[l.device]
	if c == nil {
		c = &carrier{mail: m, d: m.p.Devices[l.device], queue: make(chan letter, waiting)}
		m.carriers[l.device] = c
		m.working.Go(func() { c.work(ctx) })
	}
	select {
	case c.queue <- l:
	case <-ctx.Done():
	}
}

// close waits until every letter has been carried.
func (m *mail) close() {
	for _, c := range m.carriers {
		close(c.queue)
	}
	m.working.Wait()
}

// carrier sends to one device. It connects when it first sends.
type carrier struct {
	*mail
	d     program.Device
	queue chan letter
	osc   osc.Sender
	http  *httpout.Client

	open []letter // datagrams that may still be refused
}

// refusalTime is how long the refusal of a datagram is waited for: time enough
// on a local network, and for nobody to notice.
const refusalTime = 20 * time.Millisecond

// work sends until the queue is closed. When ctx is done it sends no more.
func (c *carrier) work(ctx context.Context) {
	defer c.close()
	for l := range c.queue {
		if ctx.Err() != nil {
			continue
		}
		late := ""
		if by := time.Since(l.due); by > refusalTime*2 {
			late = fmt.Sprintf(", sent %.3f s late since it waited for the one before", by.Seconds())
		}
		answer, err := c.send(ctx, l.messages)
		if earlier(err) {
			c.settle(err)
			err = nil
		}
		switch r, datagrams := c.osc.(osc.Refuser); {
		case ctx.Err() != nil && err != nil:
		case err != nil || !datagrams:
			c.told(l, answer+late, err)
		default:
			c.open = append(c.open, l)
			if len(c.queue) == 0 { // what is due at once is sent at once
				c.settle(r.Refused(refusalTime))
			}
		}
	}
	if r, datagrams := c.osc.(osc.Refuser); datagrams {
		c.settle(r.Refused(refusalTime))
	}
}

// earlier says that a fault is what became of what was sent before.
func earlier(err error) bool {
	var f *wire.Fault
	return errors.As(err, &f) && f.Earlier
}

// settle tells what became of the datagrams that are open: refused, or as far
// as can be known on their way. The last of these may be refused after all.
func (c *carrier) settle(refused error) {
	for i := range c.open {
		l := &c.open[i]
		if refused != nil || !l.told {
			c.told(*l, "on its way ("+c.d.Wire+" has no answer)", refused)
		}
		l.told = true
	}
	if n := len(c.open); n > 0 && refused == nil {
		c.open = c.open[n-1:]
	} else {
		c.open = nil
	}
}

func (c *carrier) close() {
	if c.osc != nil {
		c.osc.Close()
	}
	if c.http != nil {
		c.http.Close()
	}
}

func (c *carrier) send(ctx context.Context, messages []*program.Message) (string, error) {
	if isHTTP(c.d.Wire) {
		return c.request(ctx, messages[0])
	}
	if c.osc == nil {
		s, err := osc.NewSender(osc.Config{Name: c.d.Name, Wire: c.d.Wire, Address: c.d.Address,
			Deadline: time.Duration(c.d.Deadline) * time.Microsecond})
		if err != nil {
			return "", err
		}
		c.osc = s
	}
	var packets [][]byte
	for _, m := range messages {
		packets = append(packets, m.OSC)
	}
	return "on its way (" + c.d.Wire + " has no answer)", c.osc.Send(ctx, packets)
}

func (c *carrier) request(ctx context.Context, m *program.Message) (string, error) {
	if c.http == nil {
		client, err := httpout.New(c.d, c.env)
		if err != nil {
			return "", err
		}
		c.http = client
	}
	answer, err := c.http.Send(ctx, m.HTTP)
	return strings.TrimSpace(fmt.Sprintf("answered %d %s", answer.Status, answer.Line)), err
}

// unfit are the faults that are known before anything is sent: the logins and
// tokens that are not there or cannot be sent, of the devices that a trigger
// sends to. Only the variables' names are told.
func unfit(p *program.Program, t *trigger, env func(string) string) []error {
	w, err := t.find(p)
	if err != nil {
		return nil // said when it is set off
	}
	var faults []error
	index, seen := w.m.P.MessageIndex(), map[int32]bool{}
	still := func(int64) error { return nil }
	_ = w.run(still, func(_ int64, effects []step.Effect) error {
		for _, e := range effects {
			_, sendable := index[e.Command]
			if e.Kind != step.Sent || !sendable || seen[e.Device] || !isHTTP(p.Devices[e.Device].Wire) {
				continue
			}
			seen[e.Device] = true
			if _, err := httpout.New(p.Devices[e.Device], env); err != nil {
				faults = append(faults, err)
			}
		}
		return nil
	})
	return faults
}

// coded adds a fault's code, so that it can be explained.
func coded(err error) error {
	if code := wire.CodeOf(err); code != "" {
		return fmt.Errorf("%w  [%s]", err, code)
	}
	return err
}
