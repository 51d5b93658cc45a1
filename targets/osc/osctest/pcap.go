// Package osctest is what tests need to have an outsider read our OSC: the
// datagrams of a run as a capture file, and what tshark (Debian package
// tshark) dissects in it.
package osctest

import (
	"encoding/binary"
	"time"
)

// Datagram is the data of a UDP datagram, and when it came.
type Datagram struct {
	At   time.Time
	Data []byte
}

// Whatever the ports of a run are, a capture has these, which belong to no other
// protocol. Both ends are on loopback.
const (
	fromPort = 57110
	toPort   = 57120
)

// The format of a capture file is that of libpcap (pcap-savefile(5)): a header
// with magic number, version 2.4, two unused words, the longest packet and the
// link type, then each packet with its time and its length twice. Link type
// 101 (LINKTYPE_RAW) has packets that begin with their IP header.
const (
	pcapMagic = 0xa1b2c3d4
	linkRaw   = 101
	longest   = 65_535
)

// Pcap is a capture file of datagrams.
func Pcap(all []Datagram) []byte {
	le := binary.LittleEndian
	out := le.AppendUint32(nil, pcapMagic)
	out = le.AppendUint16(le.AppendUint16(out, 2), 4)
	out = le.AppendUint32(le.AppendUint32(out, 0), 0)
	out = le.AppendUint32(le.AppendUint32(out, longest), linkRaw)
	for _, d := range all {
		packet := ip(d)
		out = le.AppendUint32(out, uint32(d.At.Unix()))
		out = le.AppendUint32(out, uint32(d.At.Nanosecond()/1000))
		out = le.AppendUint32(le.AppendUint32(out, uint32(len(packet))), uint32(len(packet)))
		out = append(out, packet...)
	}
	return out
}

// ip is a datagram with its IPv4 header (RFC 791) and UDP header (RFC 768),
// whose checksum 0 says that there is none.
func ip(d Datagram) []byte {
	be := binary.BigEndian
	size := 28 + len(d.Data)
	out := []byte{0x45, 0}
	out = be.AppendUint16(out, uint16(size))
	out = append(out, 0, 0, 0x40, 0, 64, 17, 0, 0) // no fragment, 64 hops, UDP, the sum comes later
	out = append(out, 127, 0, 0, 1, 127, 0, 0, 1)
	be.PutUint16(out[10:], headerSum(out))
	out = be.AppendUint16(be.AppendUint16(out, fromPort), toPort)
	out = be.AppendUint16(be.AppendUint16(out, uint16(size-20)), 0)
	return append(out, d.Data...)
}

// headerSum is the complement of the sum of a header's 16-bit words in ones'
// complement (RFC 1071).
func headerSum(header []byte) uint16 {
	sum := uint32(0)
	for i := 0; i < len(header); i += 2 {
		sum += uint32(binary.BigEndian.Uint16(header[i:]))
	}
	for sum > 0xffff {
		sum = sum>>16 + sum&0xffff
	}
	return ^uint16(sum)
}
