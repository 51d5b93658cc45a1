package keys

import (
	"encoding/binary"
	"strconv"
)

// Event is a struct input_event of Linux (include/uapi/linux/input.h) without
// its time.
type Event struct {
	Type, Code uint16
	Value      int32
}

// The types, codes and values that matter here (input-event-codes.h).
const (
	evSyn      = 0
	evKey      = 1
	evLED      = 0x11
	synDropped = 3 // events were lost
	valueUp    = 0
	valueDown  = 1
	valueAgain = 2 // auto-repeat: the key is still down
)

// Decoder finds events in what is read of an event device. An event is 24
// bytes where a long has 64 bits and 16 where it has 32: two longs of time,
// type and code of 16 bits, value of 32, in the machine's own byte order. All
// machines that we build for are little-endian. It holds at most one event.
type Decoder struct {
	size int
	part []byte
}

// NewDecoder reads events of a machine whose longs have that many bits, 64 or
// 32; 0 is this machine.
func NewDecoder(bits int) *Decoder {
	if bits == 0 {
		bits = strconv.IntSize
	}
	return &Decoder{size: 2*bits/8 + 8}
}

// Decode gives every event that data completes to hear.
func (d *Decoder) Decode(data []byte, hear func(Event)) {
	for len(data) > 0 {
		n := min(d.size-len(d.part), len(data))
		d.part = append(d.part, data[:n]...)
		data = data[n:]
		if len(d.part) < d.size {
			return
		}
		tail := d.part[d.size-8:]
		hear(Event{binary.LittleEndian.Uint16(tail), binary.LittleEndian.Uint16(tail[2:]), int32(binary.LittleEndian.Uint32(tail[4:]))})
		d.part = d.part[:0]
	}
}
