package osc

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	goosc "github.com/hypebeast/go-osc/osc"
)

// Encode is the packet of one message, or why it cannot be sent. It is for
// messages rendered ahead; AppendMessage gives the same bytes without
// allocating.
//
// go-osc writes the messages that it is known to write rightly; its faults
// (see goosc_test.go) are kept away from it by checking the values first.
func Encode(m Message) ([]byte, error) {
	if err := check(m.Path, m.Args); err != nil {
		return nil, err
	}
	if values, ok := plain(m.Args); ok {
		return goosc.NewMessage(m.Path, values...).MarshalBinary()
	}
	return appendChecked(nil, m.Path, m.Args), nil
}

// plain is the arguments as go-osc takes them, when it writes all of them
// rightly: i f s h d T F N, and blobs of 1 to 4,084 bytes.
func plain(args []Arg) ([]any, bool) {
	values := make([]any, len(args))
	for i, a := range args {
		switch a.Tag {
		case 'i':
			values[i] = int32(a.Int())
		case 'f':
			values[i] = float32(a.Float())
		case 's':
			values[i] = a.text
		case 'h':
			values[i] = a.Int()
		case 'd':
			values[i] = a.Float()
		case 'T', 'F':
			values[i] = a.Tag == 'T'
		case 'N':
			values[i] = nil
		case 'b':
			if len(a.text) < 1 || len(a.text) > 4084 {
				return nil, false
			}
			values[i] = []byte(a.text)
		default:
			return nil, false
		}
	}
	return values, true
}

// AppendMessage appends the packet of one message to dst. On an error dst is
// given back as it was.
func AppendMessage(dst []byte, path string, args ...Arg) ([]byte, error) {
	if err := check(path, args); err != nil {
		return dst, err
	}
	return appendChecked(dst, path, args), nil
}

// AppendBundle appends a bundle of packets that are bytes already. Each must
// be a packet: this checks its size and its first byte, not what is inside.
func AppendBundle(dst []byte, tag TimeTag, elements ...[]byte) ([]byte, error) {
	size := 16
	for _, e := range elements {
		if len(e) == 0 || len(e)%4 != 0 || e[0] != '/' && e[0] != '#' {
			return dst, errors.New("an element of a bundle is not an OSC packet")
		}
		size += 4 + len(e)
	}
	if size > MaxPacket {
		return dst, fmt.Errorf("a bundle of %d bytes is too long for one packet (%d)", size, MaxPacket)
	}
	dst = append(dst, "#bundle\x00"...)
	dst = binary.BigEndian.AppendUint64(dst, uint64(tag))
	for _, e := range elements {
		dst = binary.BigEndian.AppendUint32(dst, uint32(len(e)))
		dst = append(dst, e...)
	}
	return dst, nil
}

// AppendPacket appends a message or a bundle. A bundle inside a bundle may not
// have an earlier time tag (OSC 1.0), nor be more than MaxDepth deep.
func AppendPacket(dst []byte, p Packet) ([]byte, error) { return appendPacket(dst, p, 0) }

func appendPacket(dst []byte, p Packet, depth int) ([]byte, error) {
	m, isMessage := p.(Message)
	if isMessage {
		return AppendMessage(dst, m.Path, m.Args...)
	}
	b, isBundle := p.(Bundle)
	if !isBundle {
		return dst, errors.New("neither a message nor a bundle")
	}
	if depth >= MaxDepth {
		return dst, errTooDeep
	}
	elements := make([][]byte, len(b.Elements))
	for i, e := range b.Elements {
		if inner, ok := e.(Bundle); ok && inner.Time.Before(b.Time) {
			return dst, errTimeOrder
		}
		var err error
		if elements[i], err = appendPacket(nil, e, depth+1); err != nil {
			return dst, err
		}
	}
	return AppendBundle(dst, b.Time, elements...)
}

// check says why a message cannot be sent.
func check(path string, args []Arg) error {
	if err := CheckAddress(path); err != nil {
		return err
	}
	size := stringSize(path) + (len(args)+5)&^3 // "," + tags + NUL
	open := 0
	for _, a := range args {
		switch a.Tag {
		case 's', 'S':
			if strings.IndexByte(a.text, 0) >= 0 {
				return errors.New("an OSC text cannot hold a NUL character")
			}
			if !utf8.ValidString(a.text) {
				return errors.New("an OSC text must be UTF-8")
			}
		case 'i', 'f', 'b', 'h', 't', 'd', 'c', 'r', 'm', 'T', 'F', 'N', 'I':
		case '[':
			if open++; open > MaxDepth {
				return errTooDeep
			}
		case ']':
			if open--; open < 0 {
				return errArrayClosed
			}
		default:
			return errUnknownTag
		}
		size += a.size()
	}
	if open != 0 {
		return errArrayOpen
	}
	if size > MaxPacket {
		return fmt.Errorf("a message of %d bytes is too long for one packet (%d)", size, MaxPacket)
	}
	return nil
}

func appendChecked(dst []byte, path string, args []Arg) []byte {
	dst = appendString(dst, path)
	dst = append(dst, ',')
	for _, a := range args {
		dst = append(dst, a.Tag)
	}
	dst = append(dst, zeros[:4-(len(args)+1)%4]...)
	for _, a := range args {
		switch a.Tag {
		case 'i', 'f', 'c', 'r', 'm':
			dst = binary.BigEndian.AppendUint32(dst, uint32(a.bits))
		case 'h', 't', 'd':
			dst = binary.BigEndian.AppendUint64(dst, a.bits)
		case 's', 'S':
			dst = appendString(dst, a.text)
		case 'b':
			dst = binary.BigEndian.AppendUint32(dst, uint32(len(a.text)))
			dst = append(dst, a.text...)
			dst = append(dst, zeros[:-len(a.text)&3]...)
		}
	}
	return dst
}

const zeros = "\x00\x00\x00\x00"

func appendString(dst []byte, s string) []byte {
	dst = append(dst, s...)
	return append(dst, zeros[:4-len(s)%4]...)
}
