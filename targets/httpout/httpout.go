// Package httpout sends HTTP/1.1 requests to one device.
//
// It takes requests that are rendered already, adds the device's credentials,
// and gives the answer or a *wire.Fault in the user's words. It promises:
//
//   - Credentials come from the environment, go to the device's own address
//     only, and are in no error and no answer's text. Redirects are not
//     followed: they are faults.
//   - A request is sent once. Only when the connection broke and the method is
//     idempotent (RFC 9110 section 9.2.2) is it sent once more.
//   - A message ends by the device's deadline, its answer included.
//   - At most MaxBody bytes of an answer are read.
//
// Connections are kept and used again. There are no cookies and no proxies.
package httpout

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/wire"
)

// MaxBody is how much of an answer's body is read, in bytes.
const MaxBody = 1 << 20

// DefaultDeadline is the deadline of a device whose plan gives none.
const DefaultDeadline = 2 * time.Second

// Client sends to one device. It may be used from several goroutines.
type Client struct {
	name, scheme, address string
	deadline              time.Duration
	credential            credential
	transport             *http.Transport
}

// Answer is what a device answered. Body is at most MaxBody bytes, as they
// came; Cut says that there were more. Line is the body's first line as it can
// be shown: without credentials or control characters, and short.
type Answer struct {
	Status int
	Body   []byte
	Cut    bool
	Line   string
}

// New makes a client for dev, whose Wire is http or https. The credentials are
// read from env now; one that is named but not set is a credential-missing
// fault.
func New(dev program.Device, env func(string) string) (*Client, error) {
	if dev.Wire != "http" && dev.Wire != "https" {
		return nil, fmt.Errorf("`%s` of `%s` is not a wire for HTTP", dev.Wire, dev.Name)
	}
	cred, err := readCredential(dev, env)
	if err != nil {
		return nil, err
	}
	c := &Client{name: dev.Name, scheme: dev.Wire, address: dev.Address, credential: cred,
		deadline: time.Duration(dev.Deadline) * time.Microsecond}
	if c.deadline <= 0 {
		c.deadline = DefaultDeadline
	}
	dialer := &net.Dialer{KeepAlive: 5 * time.Second}
	c.transport = &http.Transport{ // no Proxy: devices are on this network
		DialContext:            dialer.DialContext,
		DisableCompression:     true, // so that MaxBody bounds what is kept
		MaxConnsPerHost:        8,
		MaxIdleConnsPerHost:    8,
		IdleConnTimeout:        30 * time.Second,
		MaxResponseHeaderBytes: 64 << 10,
		Protocols:              http1(),
	}
	return c, nil
}

func http1() *http.Protocols {
	p := new(http.Protocols)
	p.SetHTTP1(true)
	return p
}

// Close ends the connections that are kept.
func (c *Client) Close() { c.transport.CloseIdleConnections() }

// Send sends one request and reads the answer. An error is a *wire.Fault, or
// ctx's own when it was cancelled, or says that the request itself cannot be
// sent. The Answer is also given with a fault that has a status.
func (c *Client) Send(ctx context.Context, r *program.Request) (Answer, error) {
	if err := checkTarget(r.Target); err != nil {
		return Answer{}, err
	}
	inTime, cancel := context.WithTimeout(ctx, c.deadline)
	defer cancel()
	answer, err := c.once(inTime, r)
	if wire.CodeOf(err) == "device-hung-up" && idempotent(r.Method) && inTime.Err() == nil {
		c.transport.CloseIdleConnections() // the others may be as dead
		answer, err = c.once(inTime, r)
	}
	if ctx.Err() == context.Canceled && err != nil {
		return Answer{}, ctx.Err()
	}
	return answer, err
}

// idempotent is RFC 9110 section 9.2.2: the safe methods, PUT and DELETE.
func idempotent(method string) bool {
	return safe(method) || method == "PUT" || method == "DELETE"
}

// safe is RFC 9110 section 9.2.1.
func safe(method string) bool {
	switch method {
	case "GET", "HEAD", "OPTIONS", "TRACE":
		return true
	}
	return false
}

func (c *Client) once(ctx context.Context, r *program.Request) (Answer, error) {
	req, err := c.request(ctx, r)
	if err != nil {
		return Answer{}, err
	}
	resp, err := c.transport.RoundTrip(req)
	if err != nil {
		return Answer{}, c.fault(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(io.LimitReader(resp.Body, MaxBody+1))
	if err != nil {
		return Answer{}, c.fault(err)
	}
	answer := Answer{Status: resp.StatusCode, Body: body}
	if len(body) > MaxBody {
		answer.Body, answer.Cut = body[:MaxBody], true
	}
	answer.Line = c.line(firstLine(answer.Body))
	return answer, c.verdict(answer, resp.Header.Get("Location"))
}

// fault is what the connection said. net/http has no value to tell by that the
// device closed a kept connection as a request was on its way.
func (c *Client) fault(err error) error {
	if strings.Contains(err.Error(), "server closed idle connection") {
		err = io.ErrUnexpectedEOF
	}
	return wire.Classify(c.who(), err)
}

func (c *Client) who() string { return wire.Who(c.name, c.address) }

// request is r as it goes out. Opaque keeps the target as it was rendered, to
// the byte. A body that cannot be had again keeps net/http from sending a safe
// request once more for each old connection that it has: Send counts.
func (c *Client) request(ctx context.Context, r *program.Request) (*http.Request, error) {
	u := &url.URL{Scheme: c.scheme, Host: c.address, Opaque: r.Target}
	var body io.Reader
	if len(r.Body) > 0 {
		body = bytes.NewReader(r.Body)
	}
	req, err := http.NewRequestWithContext(ctx, r.Method, c.scheme+"://"+c.address+"/", body)
	if err != nil {
		return nil, fmt.Errorf("the request `%s %s` cannot be sent to %s", r.Method, r.Target, c.who())
	}
	req.URL = u
	if safe(r.Method) {
		req.Body, req.GetBody = io.NopCloser(bytes.NewReader(r.Body)), nil
	}
	for _, h := range r.Header {
		req.Header.Add(h[0], h[1])
	}
	if c.credential != nil {
		req.Header.Set("Authorization", c.credential().header)
	}
	return req, nil
}

// checkTarget refuses what would not be one path and query on this device.
func checkTarget(target string) error {
	ok := strings.HasPrefix(target, "/") && !strings.HasPrefix(target, "//")
	for i := 0; i < len(target); i++ {
		ok = ok && target[i] > ' ' && target[i] < 0x7f && target[i] != '#'
	}
	if !ok {
		return fmt.Errorf("`%s` is not a path on a device", target)
	}
	return nil
}
