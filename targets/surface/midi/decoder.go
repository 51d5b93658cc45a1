package midi

// Note is a key of a MIDI surface going down or coming up. Channel counts
// from 0, as on the wire.
type Note struct {
	Channel, Key, Velocity byte
	On                     bool
}

// Decoder finds notes in a stream of MIDI 1.0 bytes. It holds three bytes.
//
// The rules are those of MIDI 1.0: a status byte holds for all data that
// follow until the next one (running status); a real-time byte (F8..FF) may
// come anywhere and changes nothing; any other system byte (F0..F7) ends the
// running status, and what follows it is passed over up to the next status
// byte; a note on with velocity 0 is a note off.
type Decoder struct {
	status byte // the running status, 0 is none
	first  byte // the first data byte of two
	half   bool // first is there
}

// Byte takes the next byte. The note is good when ok.
func (d *Decoder) Byte(b byte) (note Note, ok bool) {
	switch {
	case b >= 0xF8: // real time
		return Note{}, false
	case b >= 0xF0: // system common, system exclusive
		d.status, d.half = 0, false
		return Note{}, false
	case b >= 0x80:
		d.status, d.half = b, false
		return Note{}, false
	case d.status == 0: // data of nobody
		return Note{}, false
	case d.status&0xE0 == 0xC0: // C and D have one data byte
		return Note{}, false
	case !d.half:
		d.first, d.half = b, true
		return Note{}, false
	}
	d.half = false
	switch d.status & 0xF0 {
	case 0x80, 0x90:
		return Note{Channel: d.status & 0x0F, Key: d.first, Velocity: b, On: d.status&0xF0 == 0x90 && b > 0}, true
	}
	return Note{}, false
}
