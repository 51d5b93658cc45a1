package osc

import (
	"fmt"
	"math"
	"strconv"
)

// Arg is one argument: a type tag and its value. Args are compared with ==.
// The zero Arg is not an argument; make them with the functions below.
type Arg struct {
	Tag  byte   // one of i f s b h t d S c r m T F N I [ ]
	bits uint64 // of every tag with a fixed size
	text string // s S b
}

// Int32 is tag i.
func Int32(v int32) Arg { return Arg{Tag: 'i', bits: uint64(uint32(v))} }

// Float32 is tag f.
func Float32(v float32) Arg { return Arg{Tag: 'f', bits: uint64(math.Float32bits(v))} }

// String is tag s. The text may not hold a NUL.
func String(v string) Arg { return Arg{Tag: 's', text: v} }

// Blob is tag b. The bytes are copied.
func Blob(v []byte) Arg { return Arg{Tag: 'b', text: string(v)} }

// Int64 is tag h.
func Int64(v int64) Arg { return Arg{Tag: 'h', bits: uint64(v)} }

// Time is tag t.
func Time(v TimeTag) Arg { return Arg{Tag: 't', bits: uint64(v)} }

// Float64 is tag d.
func Float64(v float64) Arg { return Arg{Tag: 'd', bits: math.Float64bits(v)} }

// Symbol is tag S, a text that some receivers tell from an s.
func Symbol(v string) Arg { return Arg{Tag: 'S', text: v} }

// Char is tag c, an ASCII character in 32 bits.
func Char(v byte) Arg { return Arg{Tag: 'c', bits: uint64(v)} }

// Colour is tag r: red, green, blue, alpha from the most significant byte.
func Colour(rgba uint32) Arg { return Arg{Tag: 'r', bits: uint64(rgba)} }

// MIDI is tag m: port, status, first and second data byte.
func MIDI(port, status, data1, data2 byte) Arg {
	return Arg{Tag: 'm', bits: uint64(port)<<24 | uint64(status)<<16 | uint64(data1)<<8 | uint64(data2)}
}

// Bool is tag T or F.
func Bool(v bool) Arg {
	if v {
		return Arg{Tag: 'T'}
	}
	return Arg{Tag: 'F'}
}

// Null is tag N.
func Null() Arg { return Arg{Tag: 'N'} }

// Infinitum is tag I, which OSC 1.1 calls an impulse.
func Infinitum() Arg { return Arg{Tag: 'I'} }

// ArrayStart is tag [: the arguments up to its ArrayEnd are one array.
func ArrayStart() Arg { return Arg{Tag: '['} }

// ArrayEnd is tag ].
func ArrayEnd() Arg { return Arg{Tag: ']'} }

// Int is the value of an i, h or c; 0 of any other tag.
func (a Arg) Int() int64 {
	switch a.Tag {
	case 'i', 'c':
		return int64(int32(a.bits))
	case 'h':
		return int64(a.bits)
	}
	return 0
}

// Float is the value of an f or d; 0 of any other tag.
func (a Arg) Float() float64 {
	switch a.Tag {
	case 'f':
		return float64(math.Float32frombits(uint32(a.bits)))
	case 'd':
		return math.Float64frombits(a.bits)
	}
	return 0
}

// Text is the value of an s or S; "" of any other tag.
func (a Arg) Text() string {
	if a.Tag == 's' || a.Tag == 'S' {
		return a.text
	}
	return ""
}

// Bytes is a copy of a b's bytes, and the four bytes of an r or m.
func (a Arg) Bytes() []byte {
	switch a.Tag {
	case 'b':
		return []byte(a.text)
	case 'r', 'm':
		return []byte{byte(a.bits >> 24), byte(a.bits >> 16), byte(a.bits >> 8), byte(a.bits)}
	}
	return nil
}

// Time is the value of a t; 0 of any other tag.
func (a Arg) Time() TimeTag {
	if a.Tag == 't' {
		return TimeTag(a.bits)
	}
	return 0
}

// String is the argument for people: 3, 0.5, "text", true, 4 bytes 01020304.
func (a Arg) String() string {
	switch a.Tag {
	case 'i', 'h':
		return strconv.FormatInt(a.Int(), 10)
	case 'f':
		return strconv.FormatFloat(a.Float(), 'g', -1, 32)
	case 'd':
		return strconv.FormatFloat(a.Float(), 'g', -1, 64)
	case 's', 'S':
		return strconv.Quote(a.text)
	case 'b':
		return fmt.Sprintf("%d bytes %x", len(a.text), a.text)
	case 't':
		return a.Time().String()
	case 'c':
		return strconv.QuoteRune(rune(a.Int()))
	case 'r':
		return fmt.Sprintf("colour %08x", a.bits)
	case 'm':
		return fmt.Sprintf("midi % x", a.Bytes())
	case 'T':
		return "true"
	case 'F':
		return "false"
	case 'N':
		return "null"
	case 'I':
		return "infinitum"
	}
	return string(rune(a.Tag))
}

// size is how many bytes the value of a takes on the wire.
func (a Arg) size() int {
	switch a.Tag {
	case 'i', 'f', 'c', 'r', 'm':
		return 4
	case 'h', 't', 'd':
		return 8
	case 's', 'S':
		return stringSize(a.text)
	case 'b':
		return 4 + (len(a.text)+3)&^3
	}
	return 0
}

// stringSize is the size of an OSC-string: its bytes, one NUL, and up to
// three more to a multiple of four.
func stringSize(s string) int { return (len(s) + 4) &^ 3 }
