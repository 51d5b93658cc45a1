// Package standin stands in for the devices of a plan, on loopback: it listens
// where they would, writes down what they are told, and answers as the plan
// says that they do. A show can be run against it without a rack.
//
// A stand-in knows a message by its bytes: those in Program.Messages. It keeps
// what the devices would be doing (see model) and says so, in OSC messages to
// whoever has spoken to it, and in HTTP answers to what the plan asks.
//
// One goroutine owns the model and the log. Nothing is sent off this machine.
package standin

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/story"
	"cuewright/targets/osc"
	"cuewright/targets/wire"
)

// Options says what a rack of stand-ins writes and where it listens.
type Options struct {
	Lines   io.Writer // a line for each message, for people; may be nil
	JSON    io.Writer // a line of JSON for each message; may be nil
	Hex     bool      // the bytes too
	AnyPort bool      // listen at ports of the system's choice only, never at the plan's
}

// Stand is one device and where its stand-in listens.
type Stand struct {
	Device int32  // Devices
	Name   string // the device's
	URL    string // "osc.udp://127.0.0.1:9201"
}

// Rack is running stand-ins.
type Rack struct {
	Stands []Stand // in the plan's order

	p     *program.Program
	model *model
	log   journal
	posts []*post
	jobs  chan func()
	ctx   context.Context
	stop  context.CancelFunc
	loop  sync.WaitGroup
}

// post is one place that is listened at, for all devices of one address.
type post struct {
	rack    *Rack
	wire    string
	devices []int32
	known   map[string]known // by the bytes of a packet, or requestKey
	peers   []osc.From       // the last that spoke, the latest at the end
	close   func() error
}

// known is what a message of the plan means, also in the show's words.
type known struct {
	device  int32
	command program.Command
	text    string
}

// maxPeers is how many senders a stand-in answers.
const maxPeers = 16

// Deaf says which devices have no stand-in since their addresses cannot be
// listened at, most often because something else listens there.
type Deaf struct {
	Stands []Stand // URL is where it would have been
	Err    error   // what the system said, joined
}

func (e *Deaf) Error() string {
	var where []string
	for _, s := range e.Stands {
		where = append(where, "`"+s.Name+"` at "+s.URL)
	}
	return "there can be no stand-in of " + strings.Join(where, ", ")
}

// Unwrap is what the system said.
func (e *Deaf) Unwrap() error { return e.Err }

// Start listens for every device of p that can be sent to: at its own address
// when that is on loopback, else at a port that the system chooses. Devices
// with the same address share a stand-in. The stand-in of an https device
// speaks http. The error is a *Deaf that names all that cannot be listened for.
func Start(p *program.Program, opts Options) (*Rack, error) {
	r := &Rack{p: p, model: newModel(p), log: journal{opts.Lines, opts.JSON, opts.Hex}, jobs: make(chan func())}
	r.ctx, r.stop = context.WithCancel(context.Background())
	r.loop.Go(r.run)
	byAddress := map[string]*post{}
	urls := map[string]string{}
	var deaf Deaf
	for i := range p.Devices {
		d := &p.Devices[i]
		if d.Wire == "" {
			continue
		}
		key := d.Wire + "://" + d.Address
		if byAddress[key] == nil {
			at, url, err := r.listen(d, opts.AnyPort)
			if err != nil {
				deaf.Stands = append(deaf.Stands, Stand{int32(i), d.Name, key})
				deaf.Err = errors.Join(deaf.Err, err)
				continue
			}
			byAddress[key], urls[key] = at, url
		}
		// The loop already runs, and a message may already have come.
		r.do(func() { byAddress[key].serves(int32(i)) })
		r.Stands = append(r.Stands, Stand{int32(i), d.Name, urls[key]})
	}
	if len(deaf.Stands) > 0 {
		deaf.Err = errors.Join(deaf.Err, r.Close())
		return nil, &deaf
	}
	return r, nil
}

// serves makes the post know a device and its messages; the first of several
// with the same bytes counts.
func (at *post) serves(device int32) {
	at.devices = append(at.devices, device)
	for _, m := range at.rack.p.Messages {
		if m.Device != device {
			continue
		}
		key := string(m.OSC)
		if m.HTTP != nil {
			key = requestKey(m.HTTP.Method, m.HTTP.Target, m.HTTP.Body)
		}
		if _, dup := at.known[key]; !dup {
			at.known[key] = known{device, m.Command, story.Command(at.rack.p, m.Command)}
		}
	}
}

func requestKey(method, target string, body []byte) string {
	return method + " " + target + "\n" + string(body)
}

func (r *Rack) listen(d *program.Device, anyPort bool) (*post, string, error) {
	at := &post{rack: r, wire: d.Wire, known: map[string]known{}}
	address := ownAddress(d)
	if anyPort || address == "" {
		address = "127.0.0.1:0"
	}
	var addr netip.AddrPort
	var err error
	switch d.Wire {
	case "osc.udp":
		addr, err = at.receive(osc.ListenUDP(address, at.packet))
	case "osc.tcp":
		addr, err = at.receive(osc.ListenTCP(address, osc.Sized, at.packet))
	case "osc.slip":
		addr, err = at.receive(osc.ListenTCP(address, osc.SLIP, at.packet))
	case "http", "https":
		at.wire = "http"
		addr, err = at.serveHTTP(address)
	default:
		err = fmt.Errorf("there is no wire `%s`", d.Wire)
	}
	if err != nil {
		return nil, "", err
	}
	r.do(func() { r.posts = append(r.posts, at) })
	return at, at.wire + "://" + addr.String(), nil
}

func (at *post) receive(receiver *osc.Receiver, err error) (netip.AddrPort, error) {
	if err != nil {
		return netip.AddrPort{}, err
	}
	at.close = receiver.Close
	return receiver.Addr(), nil
}

// ownAddress is the device's address with its port, "" when that is not on
// loopback.
func ownAddress(d *program.Device) string {
	host, port, err := net.SplitHostPort(d.Address)
	if err != nil {
		host, port = d.Address, "80"
		if d.Wire == "https" {
			port = "443"
		}
	}
	if !wire.OnThisMachine(host) {
		return ""
	}
	return net.JoinHostPort(host, port)
}

// Program is a copy of the show whose devices are the stand-ins.
func (r *Rack) Program() *program.Program {
	p := *r.p
	p.Devices = slices.Clone(p.Devices)
	for _, s := range r.Stands {
		d := &p.Devices[s.Device]
		d.Wire, d.Address, _ = strings.Cut(s.URL, "://")
	}
	return &p
}

// Values is what the devices are doing now: the value of each variable.
func (r *Rack) Values() []uint32 {
	var values []uint32
	r.do(func() { values = slices.Clone(r.model.values) })
	return values
}

// Close stops all stand-ins and waits for them.
func (r *Rack) Close() error {
	r.stop()
	var errs []error
	for _, at := range r.posts {
		errs = append(errs, at.close())
	}
	r.loop.Wait()
	return errors.Join(errs...)
}

// run is the loop that owns the model, the log and what the posts know.
func (r *Rack) run() {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		if due, some := r.model.next(); some {
			timer.Reset(time.Until(due))
		} else {
			timer.Stop()
		}
		select {
		case <-r.ctx.Done():
			return
		case job := <-r.jobs:
			job()
		case <-timer.C:
			r.tell(r.model.advance(time.Now()))
		}
	}
}

// do has the loop do something, and waits. When the rack is being closed it
// may not be done.
func (r *Rack) do(job func()) {
	done := make(chan struct{})
	select {
	case r.jobs <- func() { job(); close(done) }:
		<-done // the loop has taken it: it does it, whatever comes
	case <-r.ctx.Done():
	}
}
