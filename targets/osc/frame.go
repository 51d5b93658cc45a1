package osc

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Framing is how packets are told apart in a stream.
type Framing uint8

// The framings.
const (
	Sized Framing = iota // OSC 1.0: a big-endian int32 size before each packet
	SLIP                 // OSC 1.1: RFC 1055, an END before and after each packet
)

// The characters of SLIP (RFC 1055).
const (
	slipEnd    = 0xC0
	slipEsc    = 0xDB
	slipEscEnd = 0xDC
	slipEscEsc = 0xDD
)

// AppendFrame appends packet to dst in its frame.
func AppendFrame(dst []byte, f Framing, packet []byte) []byte {
	if f == Sized {
		dst = binary.BigEndian.AppendUint32(dst, uint32(len(packet)))
		return append(dst, packet...)
	}
	dst = append(dst, slipEnd)
	for _, c := range packet {
		switch c {
		case slipEnd:
			dst = append(dst, slipEsc, slipEscEnd)
		case slipEsc:
			dst = append(dst, slipEsc, slipEscEsc)
		default:
			dst = append(dst, c)
		}
	}
	return append(dst, slipEnd)
}

// ErrOutOfStep is a size that no packet has. A stream of sized packets that is
// out of step cannot be put right: close it.
var ErrOutOfStep = errors.New("the stream is out of step")

// ErrFrameDropped is a SLIP frame that was left out because it was too long or
// held an escape that RFC 1055 does not know. The reader has found the next
// frame; read on.
var ErrFrameDropped = errors.New("a damaged frame was dropped")

// FrameReader reads the packets of a stream. It holds at most one frame.
type FrameReader struct {
	r       *bufio.Reader
	framing Framing
	max     int
	frame   []byte
}

// NewFrameReader reads packets of at most max bytes from r; max 0 is MaxPacket.
func NewFrameReader(r io.Reader, f Framing, max int) *FrameReader {
	if max <= 0 {
		max = MaxPacket
	}
	return &FrameReader{r: bufio.NewReader(r), framing: f, max: max}
}

// Next is the next packet, good until the next call. Empty frames are passed
// over. The end of the stream between frames is io.EOF, and inside one
// io.ErrUnexpectedEOF. ErrOutOfStep and ErrFrameDropped say what to do.
func (r *FrameReader) Next() ([]byte, error) {
	if r.framing == Sized {
		return r.sized()
	}
	return r.slip()
}

func (r *FrameReader) sized() ([]byte, error) {
	for {
		head, err := r.r.Peek(4)
		if err != nil {
			if len(head) > 0 && err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
		size := int64(int32(binary.BigEndian.Uint32(head)))
		if size < 0 || size > int64(r.max) || size%4 != 0 {
			return nil, fmt.Errorf("%w: a packet of %d bytes", ErrOutOfStep, size)
		}
		_, _ = r.r.Discard(4) // cannot fail: they were peeked at
		if size == 0 {
			continue
		}
		return r.fill(int(size))
	}
}

// fill reads n bytes, and makes room for them only as they come: a size alone
// must not cost memory.
func (r *FrameReader) fill(n int) ([]byte, error) {
	r.frame = r.frame[:0]
	for len(r.frame) < n {
		if _, err := r.r.Peek(1); err != nil {
			if err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
		here, _ := r.r.Peek(min(r.r.Buffered(), n-len(r.frame)))
		r.frame = append(r.frame, here...)
		_, _ = r.r.Discard(len(here))
	}
	return r.frame, nil
}

func (r *FrameReader) slip() ([]byte, error) {
	r.frame = r.frame[:0]
	damaged, escaped := false, false
	for {
		c, err := r.r.ReadByte()
		if err != nil {
			if err == io.EOF && (len(r.frame) > 0 || damaged || escaped) {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
		switch {
		case c == slipEnd:
			if damaged || escaped {
				return nil, ErrFrameDropped
			}
			if len(r.frame) > 0 {
				return r.frame, nil
			}
			continue
		case damaged:
			continue
		case escaped && c == slipEscEnd:
			c = slipEnd
		case escaped && c == slipEscEsc:
			c = slipEsc
		case escaped:
			damaged = true
			continue
		case c == slipEsc:
			escaped = true
			continue
		}
		escaped = false
		if len(r.frame) == r.max {
			damaged = true
			continue
		}
		r.frame = append(r.frame, c)
	}
}
