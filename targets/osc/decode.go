package osc

import (
	"errors"
	"fmt"
	"strings"
)

// MaxDepth is how deep bundles and arrays may be nested.
const MaxDepth = 16

// Malformed says where a packet is not what OSC 1.0 says it should be. At is
// the offset in bytes.
type Malformed struct {
	At  int
	Err error
}

func (m *Malformed) Error() string { return fmt.Sprintf("at byte %d: %v", m.At, m.Err) }

// Unwrap is what is wrong there.
func (m *Malformed) Unwrap() error { return m.Err }

var (
	errSize        = errors.New("the size is not a multiple of four")
	errEmpty       = errors.New("the packet is empty")
	errTooLong     = errors.New("the packet is too long")
	errTooDeep     = errors.New("nested too deep")
	errFirst       = errors.New("begins neither with / nor with #bundle")
	errString      = errors.New("a text does not end")
	errPadding     = errors.New("padding is not zero")
	errTags        = errors.New("the type tags do not begin with a comma")
	errUnknownTag  = errors.New("a type tag that OSC 1.0 does not know")
	errShort       = errors.New("an argument is cut short")
	errArrayOpen   = errors.New("an array does not end")
	errArrayClosed = errors.New("an array ends that did not begin")
	errTrailing    = errors.New("bytes after the last argument")
	errElement     = errors.New("an element does not fit into its bundle")
	errTimeOrder   = errors.New("a bundle is dated before the one around it")
)

// Decode reads one packet. A message without type tags is read as one without
// arguments when nothing follows its address (OSC 1.0 asks to be robust to old
// senders; arguments without tags cannot be told apart). A message with an
// unknown tag is an error; inside a bundle it is left out and counted. All
// errors are *Malformed.
func Decode(packet []byte) (Packet, error) {
	if len(packet) > MaxPacket {
		return nil, &Malformed{0, errTooLong}
	}
	r := reader{s: string(packet)}
	return r.packet(0)
}

// reader reads s from at on. The texts and blobs that it gives are parts of s.
type reader struct {
	s  string
	at int
}

func (r *reader) fail(err error) error { return &Malformed{r.at, err} }

func (r *reader) packet(depth int) (Packet, error) {
	switch {
	case len(r.s) == r.at:
		return nil, r.fail(errEmpty)
	case (len(r.s)-r.at)%4 != 0:
		return nil, r.fail(errSize)
	case r.s[r.at] == '/':
		return r.message()
	case r.s[r.at] == '#':
		return r.bundle(depth)
	}
	return nil, r.fail(errFirst)
}

func (r *reader) bundle(depth int) (Packet, error) {
	if depth >= MaxDepth {
		return nil, r.fail(errTooDeep)
	}
	if len(r.s)-r.at < 16 || r.s[r.at:r.at+8] != "#bundle\x00" {
		return nil, r.fail(errFirst)
	}
	b := Bundle{Time: TimeTag(beUint64(r.s[r.at+8:]))}
	for r.at += 16; r.at < len(r.s); {
		rest := len(r.s) - r.at - 4
		size := int64(int32(beUint32(r.s[r.at:])))
		if size <= 0 || size > int64(rest) || size%4 != 0 {
			return nil, r.fail(errElement)
		}
		end := r.at + 4 + int(size)
		inner := reader{s: r.s[:end], at: r.at + 4}
		e, err := inner.packet(depth + 1)
		if errors.Is(err, errUnknownTag) {
			b.Discarded++
			r.at = end
			continue
		}
		if err != nil {
			return nil, err
		}
		if ib, ok := e.(Bundle); ok && ib.Time.Before(b.Time) {
			return nil, r.fail(errTimeOrder)
		}
		b.Elements = append(b.Elements, e)
		r.at = end
	}
	return b, nil
}

func (r *reader) message() (Packet, error) {
	path, err := r.text()
	if err != nil {
		return nil, err
	}
	m := Message{Path: path}
	if r.at == len(r.s) {
		return m, nil
	}
	if r.s[r.at] != ',' {
		return nil, r.fail(errTags)
	}
	tagsAt := r.at
	tags, err := r.text()
	if err != nil {
		return nil, err
	}
	if len(tags) > 1 {
		m.Args = make([]Arg, 0, len(tags)-1)
	}
	open := 0
	for i := 1; i < len(tags); i++ {
		a := Arg{Tag: tags[i]}
		switch a.Tag {
		case '[':
			open++
		case ']':
			open--
		default:
			if err := r.value(&a); err != nil {
				return nil, err
			}
		}
		if open < 0 || open > MaxDepth {
			return nil, &Malformed{tagsAt + i, arrayError(open)}
		}
		m.Args = append(m.Args, a)
	}
	if open != 0 {
		return nil, &Malformed{tagsAt, errArrayOpen}
	}
	if r.at != len(r.s) {
		return nil, r.fail(errTrailing)
	}
	return m, nil
}

func arrayError(open int) error {
	if open < 0 {
		return errArrayClosed
	}
	return errTooDeep
}

// value reads the value of a.Tag.
func (r *reader) value(a *Arg) (err error) {
	rest := r.s[r.at:]
	switch a.Tag {
	case 'T', 'F', 'N', 'I':
	case 'i', 'f', 'c', 'r', 'm':
		if len(rest) < 4 {
			return r.fail(errShort)
		}
		a.bits = uint64(beUint32(rest))
		r.at += 4
	case 'h', 't', 'd':
		if len(rest) < 8 {
			return r.fail(errShort)
		}
		a.bits = beUint64(rest)
		r.at += 8
	case 's', 'S':
		a.text, err = r.text()
	case 'b':
		if len(rest) < 4 {
			return r.fail(errShort)
		}
		size := int64(int32(beUint32(rest)))
		padded := (size + 3) &^ 3
		if size < 0 || padded > int64(len(rest)-4) {
			return r.fail(errShort)
		}
		a.text = rest[4 : 4+size]
		if !zero(rest[4+size : 4+padded]) {
			return r.fail(errPadding)
		}
		r.at += 4 + int(padded)
	default:
		return r.fail(errUnknownTag)
	}
	return err
}

// text reads an OSC-string.
func (r *reader) text() (string, error) {
	rest := r.s[r.at:]
	n := strings.IndexByte(rest, 0)
	padded := (n + 4) &^ 3
	if n < 0 || padded > len(rest) {
		return "", r.fail(errString)
	}
	if !zero(rest[n:padded]) {
		return "", r.fail(errPadding)
	}
	r.at += padded
	return rest[:n], nil
}

func zero(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] != 0 {
			return false
		}
	}
	return true
}

func beUint32(s string) uint32 {
	return uint32(s[3]) | uint32(s[2])<<8 | uint32(s[1])<<16 | uint32(s[0])<<24
}

func beUint64(s string) uint64 { return uint64(beUint32(s))<<32 | uint64(beUint32(s[4:8])) }
