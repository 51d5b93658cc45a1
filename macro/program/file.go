package program

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
)

// The file format of a compiled show, the one file that a controller needs.
//
//	file    = head payload
//	head    = "cuewright-program " version " " length " " sum "\n"
//	version = Version of the writer, a decimal without leading zeros
//	length  = the payload's number of bytes, likewise, at most MaxPayload
//	sum     = SHA-256 (FIPS 180-4) of the payload, 64 lower-case hex digits
//	payload = the Program as one JSON text (RFC 8259), on one line, no line end
//
// The payload is what encoding/json writes for a Program: an object with every
// field of the struct, under its Go name, in the order of the struct; byte
// strings in base64; empty tables as null. It is the only way to write that
// Program: Decode refuses a payload that differs from what Encode would write,
// so another order, another spelling, an unknown or a doubled field, or a byte
// too many is damage. The head can be read by any version, to say how new a
// file is; a change of a struct that alters the payload raises Version.
const (
	magic   = "cuewright-program "
	maxHead = len(magic) + 10 + 1 + 10 + 1 + 2*sha256.Size + 1
)

// Version is the format version that Encode writes and Decode reads.
const Version = 2

// MaxPayload is the largest payload, in bytes, that Decode reads.
const MaxPayload = 64 << 20

// ErrNotProgram says that the file is something else than a compiled show.
type ErrNotProgram struct{}

func (ErrNotProgram) Error() string {
	return "this is not a compiled show: it does not begin with `" + strings.TrimSpace(magic) + "`"
}

// ErrNewer says that a later Cuewright wrote the file, in format Version.
type ErrNewer struct{ Version int }

func (e ErrNewer) Error() string {
	return fmt.Sprintf("this compiled show has format %d, and this Cuewright reads format %d", e.Version, Version)
}

// ErrTooLarge says that the file claims or has more than MaxPayload. Size is
// in bytes.
type ErrTooLarge struct{ Size int }

func (e ErrTooLarge) Error() string {
	return fmt.Sprintf("this compiled show has %d bytes, and %d is the most that is read", e.Size, MaxPayload)
}

// ErrDamaged says that the file began as a compiled show but is not whole, or
// not what Encode wrote. Detail is for a report of a mistake in Cuewright.
type ErrDamaged struct{ Detail string }

func (e ErrDamaged) Error() string { return "this compiled show is damaged: " + e.Detail }

// Encode writes p as a file. All text in p must be UTF-8, as lower makes it.
func Encode(p *Program) []byte {
	payload, _ := json.Marshal(p) // never fails: a Program has nothing that JSON cannot say
	sum := sha256.Sum256(payload)
	head := fmt.Sprintf("%s%d %d %x\n", magic, Version, len(payload), sum)
	return append([]byte(head), payload...)
}

// Begins says whether data begins as a compiled show does, whole or not.
func Begins(data []byte) bool { return bytes.HasPrefix(data, []byte(magic)) }

// Decode reads a file. The Program has been through Validate. The error is an
// ErrNotProgram, ErrNewer, ErrTooLarge or ErrDamaged.
func Decode(data []byte) (*Program, error) {
	payload, err := open(data)
	if err != nil {
		return nil, err
	}
	p := new(Program)
	if err := json.Unmarshal(payload, p); err != nil {
		return nil, ErrDamaged{"its payload cannot be read"}
	}
	if again, err := json.Marshal(p); err != nil || !bytes.Equal(again, payload) {
		return nil, ErrDamaged{"its payload is not written as Cuewright writes it"}
	}
	if err := Validate(p); err != nil {
		return nil, ErrDamaged{err.Error()}
	}
	return p, nil
}

// open checks the head and gives the payload.
func open(data []byte) ([]byte, error) {
	if !Begins(data) {
		return nil, ErrNotProgram{}
	}
	line, _, whole := bytes.Cut(data[:min(len(data), maxHead)], []byte("\n"))
	words := strings.Split(string(line[len(magic):]), " ")
	version, ok := count(words[0])
	if !ok {
		return nil, ErrDamaged{"its head cannot be read"}
	}
	if version > Version {
		return nil, ErrNewer{version}
	}
	if !whole || len(words) != 3 || version != Version {
		return nil, ErrDamaged{"its head cannot be read"}
	}
	payload := data[len(line)+1:]
	length, ok := count(words[1])
	switch {
	case !ok:
		return nil, ErrDamaged{"its head cannot be read"}
	case max(length, len(payload)) > MaxPayload:
		return nil, ErrTooLarge{max(length, len(payload))}
	case length > len(payload):
		return nil, ErrDamaged{fmt.Sprintf("%d of its %d bytes are missing", length-len(payload), length)}
	case length < len(payload):
		return nil, ErrDamaged{fmt.Sprintf("%d bytes too many stand at its end", len(payload)-length)}
	}
	if sum := sha256.Sum256(payload); words[2] != hex.EncodeToString(sum[:]) {
		return nil, ErrDamaged{"its checksum does not fit what is in it"}
	}
	return payload, nil
}

// count reads a decimal of up to nine digits without leading zeros.
func count(word string) (int, bool) {
	n, err := strconv.Atoi(word)
	return n, err == nil && len(word) <= 9 && word == strconv.Itoa(n) && n >= 0
}
