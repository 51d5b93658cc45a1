package control

import (
	"time"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/story"
	"cuewright/targets/surface"
)

// outputs is what every output should show, was told and is known to show.
func (c *Controller) outputs() []surface.Output {
	s := c.show
	names := surface.OutputNames(s.p)
	all := make([]surface.Output, len(names))
	should := s.shouldState()
	for i, name := range names {
		o := &all[i]
		o.Name, o.Field = name, -1
		points := s.wantedPoints(int32(i))
		if n := len(s.p.Destinations); i >= n {
			o.Field = s.heard[i-n]
			c.fieldRow(o)
		} else {
			c.destinationRow(o, s.p.Destinations[i].Node, should, points)
			if w := s.wishOf(int32(i)); w != nil && (c.held || w.waits) {
				o.AfterCut = w.words
			}
		}
		o.Sent, o.Acknowledged = s.sentColumns(points)
		for _, v := range s.varsOf(int32(i)) {
			o.Drifted = o.Drifted || c.drifted(v)
		}
	}
	return all
}

// shouldState is the state with every variable as the show last set it.
func (s *show) shouldState() *state.State {
	at := s.state.Clone()
	for v := range s.facts {
		if f := &s.facts[v]; f.set && !s.between(int32(v)) {
			s.m.L.Set(at, int32(v), f.wanted)
		}
	}
	return at
}

// fieldRow says what a field should be and is.
func (c *Controller) fieldRow(o *surface.Output) {
	s, v := c.show, o.Field
	f := &s.facts[v]
	if f.set {
		o.Wanted = s.tell.Value(v, f.wanted)
	}
	o.Observed = surface.Column{State: surface.Unheard, Words: s.tell.Value(v, s.value(v))}
	if f.heard {
		o.Observed = surface.Column{State: surface.Seen, Words: s.tell.Value(v, f.said), At: clockTime(f.saidTime)}
	}
}

// destinationRow says which picture a destination should show and shows. It is
// seen when all that decides about it is: one part that is only assumed makes
// it so.
func (c *Controller) destinationRow(o *surface.Output, node int32, should *state.State, points []point) {
	s := c.show
	set := false
	for _, p := range points {
		set = set || s.facts[p.v].set
	}
	if set {
		o.Wanted = s.tell.Picture(should, node)
	}
	o.Observed.Words = s.tell.Picture(s.state, node)
	latest := int64(0)
	for _, p := range s.way(node, s.value) {
		o.Observed.State = max(o.Observed.State, s.howKnown(p.v))
		latest = max(latest, s.facts[p.v].saidTime)
	}
	if o.Observed.State == surface.Seen {
		o.Observed.At = clockTime(latest)
	}
}

// howKnown says how well a variable of a device is known.
func (s *show) howKnown(v int32) surface.State {
	switch f := &s.facts[v]; {
	case f.heard && f.said == s.value(v):
		return surface.Seen
	case s.isHeard(v):
		return surface.Unheard
	}
	return surface.Assumed
}

// sentColumns are the newest message that decides about an output, and what
// became of it; one that was not taken comes before newer ones that were.
func (s *show) sentColumns(points []point) (sent, acknowledged surface.Column) {
	var newest *sending
	for _, p := range points {
		x := &s.facts[p.v].sent
		if x.of == nil {
			continue
		}
		if bad, worse := notTaken(newest), notTaken(x); newest == nil || worse && !bad || worse == bad && x.time > newest.time {
			newest = x
		}
	}
	if newest == nil {
		return surface.Column{}, surface.Column{}
	}
	sent = surface.Column{State: surface.Told, Words: story.Command(newest.of, newest.of.Messages[newest.message].Command), At: clockTime(newest.time)}
	return sent, surface.Column{State: newest.came, Words: newest.answer, At: clockTime(newest.cameTime)}
}

func notTaken(x *sending) bool {
	return x != nil && (x.came == surface.No || x.came == surface.Undone)
}

func clockTime(micros int64) time.Time {
	if micros == 0 {
		return time.Time{}
	}
	return time.UnixMicro(micros)
}

// isHeard says whether the plan says how a variable is heard.
func (s *show) isHeard(v int32) bool {
	for _, x := range s.heard {
		if x == v {
			return true
		}
	}
	return false
}

// ofDevice says whether a variable tells how a device stands, which only the
// device can know for certain.
func ofDevice(k program.VarKind) bool {
	return isThere(k) && k != program.DeviceHealth
}
