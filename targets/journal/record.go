package journal

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
)

// Kind says what a record tells. The numbers are the file format: they are
// never used again for something else.
type Kind uint8

// The kinds of record, with what their fields hold. At is show time in all
// that happened to the show.
const (
	Session  Kind = 1  // a controller begins; Text digest of the program, By the show's name, A 1 when it goes on after a cut, 2 when it follows the other controller of a pair
	Snapshot Kind = 2  // where the show is; Text digest of the program, Data the state (see control), A 1 while it is on trial, By the numbers of the cues that are disarmed, B and C the mark of a show that was tried and not kept
	Press    Kind = 3  // A surface.Kind, B what it names, C surface, D outcome, By who, Text why, Data its number, or none
	Event    Kind = 4  // A step.EventKind, B and C its A and B
	Cue      Kind = 5  // A cue was fired; By what fired it, where it came by itself
	Sent     Kind = 6  // a message was given to its device: A device, B message, C group, D 1 when it was asked for by hand, 2 by the plan after a power cut, Data its bytes
	Outcome  Kind = 7  // what became of a message: A device, B message, C the first half of the show's mark (see control), D 1 when it failed, Text the answer or why; in a device's order of Sent
	Heard    Kind = 8  // A device, B variable, C value
	Alert    Kind = 9  // Text, By where from: show, check, device or controller
	Fault    Kind = 10 // A device, B health, Text why
	Mark     Kind = 11 // Text: held, resumed, reloaded, stopped and the like
	Stopped  Kind = 12 // an orderly end
	Lost     Kind = 13 // A records could not be kept: the disk was full or did not answer
	Adopted  Kind = 14 // the show wants what a device was seen to be: B variable, C value
)

// Record is one entry. Time is wall-clock time in microseconds since 1970, Seq
// counts from 1 over all files of a folder.
type Record struct {
	Seq        uint64
	Time       int64
	Kind       Kind
	At         int64 // microseconds since the show's power-on
	A, B, C, D int32
	By, Text   string
	Data       []byte
}

// The format of a file: the line magic, then records one after the other.
//
//	record = length sum body
//	length = the body's number of bytes, 4 bytes, little-endian, at most MaxRecord
//	sum    = CRC-32C (RFC 3720 appendix B.4) of the body, 4 bytes, little-endian
//	body   = seq kind time at a b c d by text data
//
// seq is an unsigned varint, kind one byte, the numbers are signed varints
// (zig-zag), by, text and data are an unsigned varint and as many bytes. The
// varints are those of encoding/binary.
const magic = "cuewright-journal 1\n"

// MaxRecord is the most bytes that a record's body may have.
const MaxRecord = 4 << 20

const frameHead = 8

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

var errBody = errors.New("the body of a record cannot be read")

// Append appends a record as it stands in a file.
func (r *Record) Append(to []byte) []byte {
	start := len(to)
	to = append(to, 0, 0, 0, 0, 0, 0, 0, 0)
	to = binary.AppendUvarint(to, r.Seq)
	to = append(to, byte(r.Kind))
	to = binary.AppendVarint(to, r.Time)
	to = binary.AppendVarint(to, r.At)
	for _, n := range [...]int32{r.A, r.B, r.C, r.D} {
		to = binary.AppendVarint(to, int64(n))
	}
	to = appendText(to, r.By)
	to = appendText(to, r.Text)
	to = binary.AppendUvarint(to, uint64(len(r.Data)))
	to = append(to, r.Data...)
	body := to[start+frameHead:]
	binary.LittleEndian.PutUint32(to[start:], uint32(len(body)))
	binary.LittleEndian.PutUint32(to[start+4:], crc32.Checksum(body, castagnoli))
	return to
}

func appendText(to []byte, text string) []byte {
	to = binary.AppendUvarint(to, uint64(len(text)))
	return append(to, text...)
}

// decode reads a body. It shares no memory with it.
func decode(body []byte) (Record, error) {
	d := decoder{rest: body, ok: true}
	r := Record{Seq: d.unsigned(), Kind: Kind(d.octet()), Time: d.signed(), At: d.signed()}
	for _, n := range []*int32{&r.A, &r.B, &r.C, &r.D} {
		*n = d.small()
	}
	r.By, r.Text = string(d.bytes()), string(d.bytes())
	if data := d.bytes(); len(data) > 0 {
		r.Data = append([]byte(nil), data...)
	}
	if !d.ok || len(d.rest) > 0 {
		return Record{}, errBody
	}
	return r, nil
}

type decoder struct {
	rest []byte
	ok   bool
}

func (d *decoder) fail() { d.rest, d.ok = nil, false }

func (d *decoder) unsigned() uint64 {
	v, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.fail()
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

func (d *decoder) signed() int64 {
	v, n := binary.Varint(d.rest)
	if n <= 0 {
		d.fail()
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

func (d *decoder) small() int32 {
	v := d.signed()
	if v != int64(int32(v)) {
		d.fail()
	}
	return int32(v)
}

func (d *decoder) octet() byte {
	if len(d.rest) == 0 {
		d.fail()
		return 0
	}
	b := d.rest[0]
	d.rest = d.rest[1:]
	return b
}

func (d *decoder) bytes() []byte {
	n := d.unsigned()
	if n > uint64(len(d.rest)) {
		d.fail()
		return nil
	}
	b := d.rest[:n]
	d.rest = d.rest[n:]
	return b
}
