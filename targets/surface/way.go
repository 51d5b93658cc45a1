package surface

import (
	"cmp"
	"slices"
	"time"
)

// Way is one way in for people: where a kind of surface listens, or the file
// that it reads, and who has come in by it. Its JSON field names are stable.
type Way struct {
	Kind    string   `json:"kind"`              // http, https, osc.udp, osc.tcp, osc.slip, midi, keys or timecode
	At      string   `json:"at"`                // address or file
	Surface string   `json:"surface,omitempty"` // of the plan, where the way leads to one alone
	Clients []Client `json:"clients"`           // the last seen first
	Refused uint64   `json:"refused"`           // requests and packets of who is not let in
	Dropped *uint64  `json:"dropped,omitempty"` // datagrams that the system had no room for; nil where that is not known
}

// Client is who is, or was lately, at a surface.
type Client struct {
	Who       string    `json:"who"`
	Seen      time.Time `json:"seen"` // when anything came from it last
	Connected bool      `json:"connected"`
}

// Report is a surface that tells about its way in. It may be asked from any
// goroutine.
type Report interface{ Way() Way }

// LastSeen sorts clients: the last seen first, by name where that is the same.
func LastSeen(all []Client) []Client {
	slices.SortFunc(all, func(a, b Client) int { return cmp.Or(b.Seen.Compare(a.Seen), cmp.Compare(a.Who, b.Who)) })
	return all
}
