package pair

import (
	"encoding/binary"
	"encoding/hex"
	"errors"

	"cuewright/targets/control"
)

// A piece as it stands in the stream: its epoch, number and show time, a byte
// of flags, with Start the digest of its program, and then its records, as the
// journal writes them. Numbers are varints of encoding/binary.
const (
	startFlag = 1 << iota
	heldFlag
)

const digestBytes = 32

var errPiece = errors.New("this is no piece of a show")

func encodePiece(p control.Piece) []byte {
	out := binary.AppendUvarint(nil, p.Epoch)
	out = binary.AppendUvarint(out, p.Number)
	out = binary.AppendVarint(out, p.Now)
	var flags byte
	if p.Start {
		flags |= startFlag
	}
	if p.Held {
		flags |= heldFlag
	}
	out = append(out, flags)
	if p.Start {
		digest, _ := hex.DecodeString(p.Digest) // it is one: it was made by control.Digest
		out = append(out, digest...)
	}
	return append(out, p.Records...)
}

func decodePiece(data []byte) (p control.Piece, err error) {
	var used [3]int
	p.Epoch, used[0] = binary.Uvarint(data)
	if used[0] <= 0 {
		return p, errPiece
	}
	data = data[used[0]:]
	p.Number, used[1] = binary.Uvarint(data)
	if used[1] <= 0 {
		return p, errPiece
	}
	data = data[used[1]:]
	p.Now, used[2] = binary.Varint(data)
	if used[2] <= 0 || len(data) == used[2] {
		return p, errPiece
	}
	flags, data := data[used[2]], data[used[2]+1:]
	p.Start, p.Held = flags&startFlag != 0, flags&heldFlag != 0
	if p.Start {
		if len(data) < digestBytes {
			return p, errPiece
		}
		p.Digest, data = hex.EncodeToString(data[:digestBytes]), data[digestBytes:]
	}
	p.Records = data
	return p, nil
}
