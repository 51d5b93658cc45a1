package standin

import (
	"slices"
	"time"

	"cuewright/targets/osc"
)

// packet is what an OSC receiver hears. It waits for the loop: the packet is
// the receiver's again when it returns.
func (at *post) packet(packet []byte, from osc.From) {
	at.rack.do(func() { at.hear(packet, from) })
}

func (at *post) hear(packet []byte, from osc.From) {
	at.peers = slices.DeleteFunc(at.peers, func(f osc.From) bool { return f == from })
	if len(at.peers) == maxPeers {
		at.peers = slices.Delete(at.peers, 0, 1)
	}
	at.peers = append(at.peers, from)

	p, err := osc.Decode(packet)
	if err != nil {
		at.rack.log.write(entry{Device: at.name(-1), Wire: at.wire, From: from.Addr.String(), Fault: err.Error()}, packet)
		return
	}
	osc.Each(p, func(m osc.Message) {
		raw, err := osc.Encode(m)
		if err != nil {
			raw = packet // an address that is a pattern: no message of the plan
		}
		what, found := at.known[string(raw)]
		if !found {
			what.device = -1
		}
		e := entry{Device: at.name(what.device), Wire: at.wire, From: from.Addr.String(), Means: what.text}
		e.message(m)
		at.rack.log.write(e, raw)
		if found {
			at.rack.tell(at.rack.model.apply(what.command, time.Now()))
		}
	})
}

// name is the device's name, or of an unknown one (-1) the first at this post.
func (at *post) name(device int32) string {
	if device < 0 {
		if len(at.devices) == 0 {
			return at.wire
		}
		device = at.devices[0]
	}
	return at.rack.p.Devices[device].Name
}

// tell has every OSC device say what the plan hears of the variables touched.
// A peer that cannot be told is forgotten.
func (r *Rack) tell(touched []int32) {
	if len(touched) == 0 {
		return
	}
	for _, at := range r.posts {
		for _, device := range at.devices {
			for _, m := range r.model.feedback(device, touched) {
				at.say(device, m)
			}
		}
	}
}

func (at *post) say(device int32, m osc.Message) {
	raw, err := osc.Encode(m)
	if err != nil {
		return // the plan hears at an address that cannot be: its reader has said so
	}
	at.peers = slices.DeleteFunc(at.peers, func(peer osc.From) bool {
		if peer.Reply(raw) != nil {
			return true
		}
		e := entry{Device: at.name(device), Wire: at.wire, To: peer.Addr.String()}
		e.message(m)
		at.rack.log.write(e, raw)
		return false
	})
}
