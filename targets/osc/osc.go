// Package osc is Open Sound Control 1.0 on the wire: messages and bundles to
// bytes and back, address patterns, and the three ways that packets travel
// here: UDP datagrams, TCP with a size before each packet (OSC 1.0), and TCP
// with SLIP frames (OSC 1.1, RFC 1055).
//
// It takes and gives whole packets. Reading never panics, never allocates
// more than a fixed multiple of what it was given, and takes time linear in
// it. Time tags are carried and compared, but nothing here waits for them:
// OSC 1.1 gives them no meaning but "immediately".
//
// The specification is OSC 1.0 (opensoundcontrol.org, spec-1_0); of OSC 1.1
// there is only a paper (NIME 2009), followed here for SLIP framing.
package osc

import "errors"

// MaxPacket is the largest packet that is read or written, in bytes: what one
// UDP datagram over IPv4 can carry, down to a multiple of four.
const MaxPacket = 65504

// Message is an address and its arguments. On the way in the address may be a
// pattern (see Match).
type Message struct {
	Path string
	Args []Arg
}

// Bundle is packets that belong together. Discarded counts the messages that
// Decode left out because they had a type tag that OSC 1.0 does not know.
type Bundle struct {
	Time      TimeTag
	Elements  []Packet
	Discarded int
}

// Packet is a Message or a Bundle.
type Packet interface{ packet() }

func (Message) packet() {}
func (Bundle) packet()  {}

// Each calls do for every message of p, in packet order.
func Each(p Packet, do func(Message)) {
	switch p := p.(type) {
	case Message:
		do(p)
	case Bundle:
		for _, e := range p.Elements {
			Each(e, do)
		}
	}
}

// CheckAddress says why path cannot be the address of a message that is sent:
// it must begin with a slash, its parts may not be empty, and it may hold
// printable ASCII only, without the characters that OSC 1.0 keeps for
// patterns and bundles: space # * , ? [ ] { }.
func CheckAddress(path string) error {
	if path == "" || path[0] != '/' {
		return errors.New("an OSC address begins with /")
	}
	for i := 0; i < len(path); i++ {
		switch c := path[i]; {
		case c == '/' && (i+1 == len(path) || path[i+1] == '/'):
			return errors.New("an OSC address has no empty parts")
		case c <= ' ' || c >= 0x7f:
			return errors.New("an OSC address holds printable ASCII characters without spaces only")
		case c == '#' || c == '*' || c == ',' || c == '?' || c == '[' || c == ']' || c == '{' || c == '}':
			return errors.New("an OSC address may not hold " + string(rune(c)))
		}
	}
	return nil
}
