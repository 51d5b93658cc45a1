package control

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strconv"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/surface"
)

// show is a program that runs, and all that belongs to it. Loading another
// program makes another show. The loop alone uses it.
type show struct {
	p      *program.Program
	digest string
	mark   mark
	m      *step.Machine
	state  *state.State
	before *state.State // of the event being applied
	tell   *story.Teller
	index  map[program.Command]int32

	watch   *onair.Watch
	was, is *signal.Graph

	lines   []*line // by device; nil when it is not sent to
	facts   []fact  // by variable
	heard   []int32 // variables that a device says something about
	follows []int32 // heard, and what changes by itself after it was sent: where transitions lead
	met     []bool  // by device: it has answered since this controller began, or could be reached
	wished  []*wish // what the plan wished after a power cut
	patient int64   // show time from which it is said what a wish waits for; 0 once it is
	news    bool    // a wish may have come true
	effects []step.Effect
	batches []batch

	moments  *moments // when cues fire by the clock
	disarmed []bool   // by cue: it does not fire by itself
}

// Digest is the fingerprint of a program: SHA-256 of its file, in hex.
func Digest(p *program.Program) string {
	sum := sha256.Sum256(program.Encode(p))
	return hex.EncodeToString(sum[:])
}

func newShow(p *program.Program, digest string) *show {
	m := step.New(p)
	s := &show{p: p, digest: digest, mark: markOf(digest), m: m, tell: story.New(m), index: p.MessageIndex(),
		watch: onair.NewWatch(p, m.L), was: signal.New(p, m.L), is: signal.New(p, m.L),
		lines: make([]*line, len(p.Devices)), facts: make([]fact, len(p.Vars)), met: make([]bool, len(p.Devices)),
		moments: newMoments(p), disarmed: make([]bool, len(p.Cues))}
	s.state = m.Start()
	s.before = s.state.Clone()
	s.heard = surface.Fields(p)
	s.follows = slices.Clone(s.heard)
	for i := range p.Banks {
		b := &p.Banks[i]
		for _, v := range []int32{b.Program, b.Preset, b.Faded} {
			s.follows = appendNew(s.follows, v)
		}
	}
	return s
}

// mark is the first eight bytes of a digest, for records that have numbers only.
type mark [2]int32

func markOf(digest string) (m mark) {
	for i := range m {
		n, _ := strconv.ParseUint(digest[8*i:8*i+8], 16, 32)
		m[i] = int32(uint32(n))
	}
	return m
}

// batch is the messages of one device that an event sends together.
type batch struct {
	device  int32
	group   int32
	indexes []int32 // Program.Messages
	tasks   []int32 // of each: on whose behalf; none where nobody's

	job  job // once it was given to the device
	fate fate
}

// bundle gathers what effects send, in the order in which it is sent. What
// belongs to one salvo goes together, as long as that changes nothing of the
// order of a device. Commands without a message are left out. It makes use of
// the memory of into.
func bundle(index map[program.Command]int32, effects []step.Effect, into []batch) []batch {
	into = into[:0]
	for i := range effects {
		e := &effects[i]
		if e.Kind != step.Sent {
			continue
		}
		message, ok := index[e.Command]
		if !ok {
			continue
		}
		if b := lastOf(into, e.Device); b != nil && e.Group != 0 && b.group == e.Group {
			b.indexes, b.tasks = append(b.indexes, message), append(b.tasks, e.Task)
			continue
		}
		into = append(into, batch{device: e.Device, group: e.Group, indexes: []int32{message}, tasks: []int32{e.Task}})
	}
	return into
}

func lastOf(all []batch, device int32) *batch {
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].device == device {
			return &all[i]
		}
	}
	return nil
}

// wireBytes is a message as the journal keeps it: the OSC packet, or the
// request without its credentials.
func wireBytes(m *program.Message) []byte {
	if m.HTTP == nil {
		return m.OSC
	}
	out := []byte(m.HTTP.Method + " " + m.HTTP.Target + "\n")
	for _, h := range m.HTTP.Header {
		out = append(out, h[0]+": "+h[1]+"\n"...)
	}
	return append(append(out, '\n'), m.HTTP.Body...)
}
