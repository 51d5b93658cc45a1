// Package midiwire finds messages in a stream of raw MIDI 1.0 bytes: notes, and
// what MIDI Time Code says in quarter frames and full frames. Everything else
// is passed over. Where the bytes come from, and what the messages mean, is
// not here.
package midiwire

// Kind is the kind of a message.
type Kind uint8

// The kinds of message. None is no message.
const (
	None    Kind = iota
	NoteMsg      // Note
	Quarter      // Piece
	Full         // Time
)

// Message is one message; which fields are set depends on Kind.
type Message struct {
	Kind  Kind
	Note  Note
	Piece byte    // of a quarter frame: 0nnndddd, piece number and value
	Time  [4]byte // of a full frame: 0rrhhhhh, minutes, seconds, frames; each below 0x80
}

// Note is a key going down or coming up. Channel counts from 0, as on the wire.
type Note struct {
	Channel, Key, Velocity byte
	On                     bool
}

// Decoder takes a stream byte by byte. It holds no more than one full frame.
//
// The rules are those of MIDI 1.0: a status byte holds for all data that
// follow until the next one (running status); a real-time byte (F8..FF) may
// come anywhere and changes nothing; any other system byte (F0..F7) ends the
// running status, and has data of its own; a note on with velocity 0 is a note
// off. System exclusive is passed over up to its end or the next status byte,
// but for the full frame of MIDI Time Code:
//
//	F0 7F device 01 01 0rrhhhhh minutes seconds frames F7
type Decoder struct {
	status byte // of the message being read, 0 is none
	first  byte // the first data byte of two
	half   bool // first is there
	length int  // of system exclusive so far, without F0
	data   [8]byte
}

// fullFrame is what a full frame begins with, behind F0 and but for the device.
var fullFrame = [...]byte{0: 0x7F, 2: 0x01, 3: 0x01}

// Byte takes the next byte. The message is good when its Kind is not None.
func (d *Decoder) Byte(b byte) Message {
	switch {
	case b >= 0xF8: // real time
		return Message{}
	case b >= 0x80:
		full := b == 0xF7 && d.status == 0xF0
		m := Message{}
		if full {
			m = d.exclusive()
		}
		d.status, d.half, d.length = b, false, 0
		return m
	}
	switch {
	case d.status == 0xF0:
		if d.length < len(d.data) {
			d.data[d.length] = b
		}
		d.length = min(d.length+1, len(d.data)+1)
	case d.status == 0xF1:
		d.status = 0
		return Message{Kind: Quarter, Piece: b}
	case d.status == 0, d.status >= 0xF0: // data of nobody, and of what is passed over
	case d.status&0xE0 == 0xC0: // C and D have one data byte
	case !d.half:
		d.first, d.half = b, true
	default:
		d.half = false
		return d.channel(b)
	}
	return Message{}
}

// channel is a channel message of two data bytes at its second.
func (d *Decoder) channel(b byte) Message {
	switch on := d.status & 0xF0; on {
	case 0x80, 0x90:
		return Message{Kind: NoteMsg, Note: Note{Channel: d.status & 0x0F, Key: d.first, Velocity: b, On: on == 0x90 && b > 0}}
	}
	return Message{}
}

// exclusive is a system exclusive message at its end.
func (d *Decoder) exclusive() Message {
	if d.length != len(d.data) {
		return Message{}
	}
	for i, b := range fullFrame {
		if i != 1 && d.data[i] != b {
			return Message{}
		}
	}
	return Message{Kind: Full, Time: [4]byte(d.data[4:])}
}
