package control

import (
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"sync/atomic"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/httpout"
	"cuewright/targets/osc"
	"cuewright/targets/wire"
)

// link is a way to one device. It may be used from several goroutines.
type link interface {
	// send tells the device messages that belong together, in order, and gives
	// what it answered. done is how many it has certainly taken.
	send(ctx context.Context, messages []*program.Message) (done int, answer string, err error)
	// probe finds out whether the device can be reached, and tells it nothing.
	probe(ctx context.Context) error
	// ask sends a request that changes nothing, of a device that can be asked.
	ask(ctx context.Context, method, target string) (httpout.Answer, error)
	close()
}

// dial makes the link of a device. heard is given what an OSC device sends;
// lost is called when a connection has ended while nothing was sent.
type dial func(d program.Device, heard osc.Handler, lost func()) (link, error)

// dialler makes links by the network.
func dialler(env func(string) string, bundles bool) dial {
	return func(d program.Device, heard osc.Handler, lost func()) (link, error) {
		if isHTTP(d.Wire) {
			c, err := httpout.New(d, env)
			if err != nil {
				return nil, err
			}
			return &httpLink{c, d}, nil
		}
		l := &oscLink{device: d, datagrams: d.Wire == "osc.udp"}
		var err error
		l.sender, err = osc.NewSender(osc.Config{Name: d.Name, Wire: d.Wire, Address: d.Address, Bundle: bundles,
			Deadline: time.Duration(d.Deadline) * time.Microsecond, Heard: heard, Lost: func() { l.losses.Add(1); lost() }})
		if err != nil {
			return nil, err
		}
		return l, nil
	}
}

func isHTTP(wire string) bool { return wire == "http" || wire == "https" }

// oscLink is a device over OSC: on its way is all that can be said.
type oscLink struct {
	device    program.Device
	sender    osc.Sender
	datagrams bool
	losses    atomic.Int32 // how often a connection has ended by itself
}

func (l *oscLink) send(ctx context.Context, messages []*program.Message) (int, string, error) {
	packets := make([][]byte, len(messages))
	for i, m := range messages {
		packets[i] = m.OSC
	}
	if err := l.sender.Send(ctx, packets); err != nil {
		return 0, "", err
	}
	return len(messages), "on its way", nil
}

// nothing is a bundle without messages, which OSC 1.0 lets a device receive
// and do nothing about.
var nothing, _ = osc.AppendBundle(nil, osc.Immediately)

// refusalTime is how long a refusal of a datagram may take to come back.
const refusalTime = 200 * time.Millisecond

// probe connects and waits for what comes back: the device may hang up, and a
// datagram has to be sent to hear that nobody listens.
func (l *oscLink) probe(ctx context.Context) error {
	var first [][]byte
	if l.datagrams {
		first = [][]byte{nothing}
	}
	losses := l.losses.Load()
	if err := l.sender.Send(ctx, first); err != nil {
		return err
	}
	select {
	case <-time.After(refusalTime):
	case <-ctx.Done():
		return ctx.Err()
	}
	if l.losses.Load() != losses {
		return hungUp(l.device)
	}
	return l.sender.Send(ctx, nil)
}

func hungUp(d program.Device) error { return wire.Classify(wire.Who(d.Name, d.Address), io.EOF) }

func (l *oscLink) ask(context.Context, string, string) (httpout.Answer, error) {
	return httpout.Answer{}, fmt.Errorf("an OSC device cannot be asked by HTTP")
}

func (l *oscLink) close() { _ = l.sender.Close() }

// httpLink is a device over HTTP: each message has an answer.
type httpLink struct {
	client *httpout.Client
	device program.Device
}

func (l *httpLink) send(ctx context.Context, messages []*program.Message) (int, string, error) {
	var answer httpout.Answer
	for i, m := range messages {
		var err error
		if answer, err = l.client.Send(ctx, m.HTTP); err != nil {
			return i, "", err
		}
	}
	return len(messages), strings.TrimSpace(fmt.Sprintf("answered %d %s", answer.Status, answer.Line)), nil
}

func (l *httpLink) ask(ctx context.Context, method, target string) (httpout.Answer, error) {
	return l.client.Send(ctx, &program.Request{Method: method, Target: target})
}

// probe connects and hangs up.
func (l *httpLink) probe(ctx context.Context) error {
	address := l.device.Address
	if _, _, err := net.SplitHostPort(address); err != nil {
		address = net.JoinHostPort(address, map[string]string{"http": "80", "https": "443"}[l.device.Wire])
	}
	d := net.Dialer{Timeout: httpout.DefaultDeadline}
	conn, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return wire.Classify(wire.Who(l.device.Name, l.device.Address), err)
	}
	return conn.Close()
}

func (l *httpLink) close() { l.client.Close() }
