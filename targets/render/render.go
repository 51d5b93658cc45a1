// Package render makes every message that a compiled show can send, to the
// byte, before the show begins.
//
// It takes a Program and the Rack whose control parts say how each action is
// said, and fills Program.Messages and Program.Observations. Everything that
// could go wrong while a template is filled goes wrong here, at the desk: on
// the night nothing is worked out any more. A value that a user wrote can
// never change the shape of a message: not the address or the path that it is
// put into, not the headers, not the fields of a body.
//
// Templates are text with {calculation} parts in expr-lang, without its loops
// and with few of its functions, so each one ends and stays small.
package render

import (
	"cmp"
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
)

// largest is the most bytes of one message: its packet, or its target and
// body. Much less than a wire can carry: no device here is told a novel.
const largest = 8000

// most is the most messages of one show, and mostBytes their size together.
const (
	most      = 200_000
	mostBytes = 32 << 20
)

// The codes of this package; their rows are in macro/diag/codes_send.go.
const (
	unknownName diag.Code = "unknown-message-value"
	unreadable  diag.Code = "unreadable-message"
	mismatch    diag.Code = "mismatched-message-value"
	refused     diag.Code = "refused-message-value"
	badAddress  diag.Code = "broken-address"
	badHeader   diag.Code = "broken-header"
	tooLarge    diag.Code = "oversized-message"
	unsaid      diag.Code = "crosspoint-not-sendable"
	unheard     diag.Code = "unknown-heard-field"
	meaningless diag.Code = "unknown-meaning"
)

// Messages fills p.Messages with every message that the show can send and
// p.Observations with what it can hear, each sorted by device. It gives every
// mistake in the templates of the plan, also of those that the show does not
// use, and every device that routes go through and that cannot be told to. What
// the show itself asks of devices that cannot be told is check's to say.
func Messages(p *program.Program, rack *plan.Rack) diag.List {
	r := renderer{p: p, rack: rack, templates: map[*plan.Template]*template{}, told: map[source.Span]bool{}}
	r.prepare()
	r.commands()
	slices.SortFunc(p.Messages, func(a, b program.Message) int {
		return cmp.Or(cmp.Compare(a.Device, b.Device), compare(a.Command, b.Command))
	})
	r.observations()
	return r.found.Tidy()
}

// compare orders commands by verb, operands and time.
func compare(a, b program.Command) int {
	return cmp.Or(cmp.Compare(a.Verb, b.Verb), cmp.Compare(a.A, b.A), cmp.Compare(a.B, b.B), cmp.Compare(a.Micros, b.Micros))
}

// renderer is one run.
type renderer struct {
	p         *program.Program
	rack      *plan.Rack
	templates map[*plan.Template]*template // nil where the template has mistakes
	told      map[source.Span]bool         // places where a refusal was said already
	bytes     int
	found     diag.List
}

// prepare reads every template of the plan.
func (r *renderer) prepare() {
	for _, d := range r.rack.Devices {
		if d.Control == nil {
			continue
		}
		for _, action := range actions {
			if t := d.Control.Does[action]; t != nil {
				r.read(t, namesOf(action), d.Control)
			}
		}
	}
	for _, m := range r.rack.Messages {
		if m.Device != nil && m.Device.Control != nil && m.Template != nil {
			r.read(m.Template, namesOfTakes(m.Takes), m.Device.Control)
		}
	}
}

func (r *renderer) read(t *plan.Template, known names, c *plan.Control) {
	ready, mistakes := newTemplate(t, known, c)
	r.found.Add(mistakes...)
	if len(mistakes) > 0 {
		ready = nil
	}
	r.templates[t] = ready
}

// message renders one command of a device and keeps it.
func (r *renderer) message(c program.Command, device int32, t *plan.Template, given map[string]value) {
	ready := r.templates[t]
	if ready == nil {
		return // its mistakes are told
	}
	m, no := ready.fill(given)
	if no == nil && len(r.p.Messages) == most {
		no = &refusal{tooLarge, t.At, "the show can send more than " + show(int64(most)) + " different messages"}
	}
	if no == nil && r.bytes > mostBytes {
		no = &refusal{tooLarge, t.At, "all messages of the show together take more than " + show(int64(mostBytes>>20)) + " MiB"}
	}
	if no != nil {
		if !r.told[no.at] {
			r.told[no.at] = true
			r.found.Add(diag.New(no.code, no.at, "%s (when the show says %s)", no.what, r.words(c)))
		}
		return
	}
	m.Command, m.Device = c, device
	r.p.Messages = append(r.p.Messages, m)
	r.bytes += size(m)
}

// size is the bytes that a message takes.
func size(m program.Message) int {
	n := len(m.OSC) + len(m.Text)
	if m.HTTP != nil {
		n += len(m.HTTP.Target) + len(m.HTTP.Body)
		for _, h := range m.HTTP.Header {
			n += len(h[0]) + len(h[1])
		}
	}
	return n
}

// template is a template of the plan, read and checked.
type template struct {
	at source.Span
	// OSC
	path *phrase
	args []argument
	// HTTP
	method string
	base   string
	target *phrase
	header []field
	body   body
}

// newTemplate reads a template for the wire of its control part.
func newTemplate(t *plan.Template, known names, c *plan.Control) (*template, diag.List) {
	if t.Path != nil {
		return newOSC(t, known)
	}
	return newHTTP(t, known, c)
}

// fill makes the message of some values.
func (t *template) fill(given map[string]value) (program.Message, *refusal) {
	if t.path != nil {
		return t.fillOSC(given)
	}
	return t.fillHTTP(given)
}

// Templates gives the mistakes in the templates of a plan, for when there is
// no Program because of other mistakes.
func Templates(rack *plan.Rack) diag.List {
	r := renderer{rack: rack, templates: map[*plan.Template]*template{}}
	r.prepare()
	return r.found.Tidy()
}
