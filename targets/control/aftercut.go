package control

import (
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
	"cuewright/targets/surface"
)

// wish is what the plan wishes for a destination after a power cut, and how
// far that has come. It waits until every device on its way has answered and
// was read, or, with nothing to ask, can be reached; and for no longer than
// until somebody takes the destination in hand.
type wish struct {
	destination int32        // Program.Destinations
	since       int64        // show time
	stood       *state.State // how the rack stood when the power went; of the show
	waits       bool
	why         string // what it waits for, as it was said; "" before that
	words       string // for operators
	claim       string // what is said when all that was sent for it has arrived
	gave, owes  int    // messages that were given to devices for it, and of those the unanswered
}

func (w *wish) over(words string) { w.waits, w.words, w.claim = false, words, "" }

// undone lets a wish wait again: what was sent for it has not arrived.
func (w *wish) undone(why string) { w.waits, w.why, w.words, w.claim = true, "", "waits: "+why, "" }

// wishes takes up what the plan wishes, after a cut.
func (c *Controller) wishes() {
	s := c.show
	stood := s.stood()
	var said []string
	left := 0
	for i := range s.p.Destinations {
		d := &s.p.Destinations[i]
		w := &wish{destination: int32(i), since: s.state.Now, stood: stood, waits: true}
		switch d.AfterCut {
		case program.Restore:
			said = append(said, d.Name+" is restored")
			w.words = "waits: to be restored"
		case program.SafePicture:
			said = append(said, d.Name+" gets "+s.pictureName(d.Safe))
			w.words = "waits: for " + s.pictureName(d.Safe)
		default:
			left++
			w.over("left as it is")
		}
		s.wished = append(s.wished, w)
	}
	s.news, s.patient = true, s.state.Now+patience
	switch {
	case len(said) == 0:
		c.alert("controller", "nothing is sent before somebody resumes; every output is left as it is")
		return
	case left > 0:
		said = append(said, "every other output is left as it is")
	}
	c.alert("controller", "the plan wishes after a power cut: "+strings.Join(said, ", ")+"; nothing is sent besides before somebody resumes")
}

// pictureName names a node that is a picture: a source's, or a bank's.
func (s *show) pictureName(node int32) string {
	switch n := &s.p.Nodes[node]; n.Kind {
	case program.SourceNode:
		return s.p.Sources[n.Owner].Name
	case program.BankNode:
		return s.p.Banks[n.Owner].Name
	default:
		return n.Label
	}
}

// stood is the state as it is when transitions that run have ended.
func (s *show) stood() *state.State {
	at := s.state.Clone()
	for i := range s.p.Banks {
		if t := s.p.Banks[i].Transition; s.m.L.Get(at, t) != program.NoTransition {
			s.effects = s.m.Apply(at, step.Event{Kind: step.Observe, A: t, B: int32(program.NoTransition), At: at.Now}, s.effects[:0])
		}
	}
	return at
}

// grant meets the wishes that can be met now.
func (c *Controller) grant() {
	s := c.show
	if c.pair != nil && !c.pair.leads {
		return // the one that leads sends
	}
	if due := s.patient > 0 && s.state.Now >= s.patient; c.stopping || !s.news && !due {
		return
	} else if due {
		s.patient = 0
	}
	s.news = false
	for _, w := range s.wished {
		if w.waits {
			c.grantOne(w)
		}
	}
}

func (c *Controller) grantOne(w *wish) {
	s := c.show
	d := &s.p.Destinations[w.destination]
	if own := s.way(d.Node, s.value); len(own) > 0 && s.facts[own[0].v].set && s.facts[own[0].v].wantedAt > w.since {
		c.ends(w, "given up: the show has set it since")
		return
	}
	needs := s.needs(w)
	if len(needs) == 0 {
		c.ends(w, "could not be met: nothing is known of how it stood that could be sent")
		return
	}
	for _, device := range needs {
		if s.met[device] && s.value(s.p.Devices[device].Health) == program.Well {
			continue
		}
		if !s.met[device] {
			s.lines[device].seek()
		}
		c.awaits(w, s.p.Devices[device].Name+" does not answer")
		return
	}
	c.granting = w
	w.waits, w.gave, w.owes = false, 0, 0
	if d.AfterCut == program.SafePicture {
		c.makeSafe(w)
	} else {
		c.restore(w)
	}
	c.granting = nil
	c.conclude(w)
	for _, other := range s.wished { // what has set a bus now was the plan, and nobody's hand
		other.since = s.state.Now
	}
}

// conclude says that a wish was met, when all that was sent for it has arrived.
func (c *Controller) conclude(w *wish) {
	switch {
	case w.waits || w.claim == "" || c.granting == w:
	case w.gave == 0:
		c.ends(w, "could not be met: nothing can be sent for it")
	case w.owes == 0:
		c.ends(w, w.claim)
	}
}

// arrived hears what became of a message that was sent for a wish.
func (c *Controller) arrived(w *wish, state surface.State, answer string) {
	w.owes--
	switch state {
	case surface.Undone:
		w.undone(answer)
		c.show.patient = c.show.state.Now + patience // to try again, should nothing else happen
	case surface.No:
		c.ends(w, "could not be met: "+answer)
	}
	c.conclude(w)
}

// awaits says, once, what a wish waits for. Right after the start every device
// is still being asked, which is not worth an alert.
func (c *Controller) awaits(w *wish, why string) {
	c.dirty = true
	if w.words = "waits: " + why; w.why == why || c.show.patient > 0 {
		return
	}
	w.why = why
	c.alert("plan", c.show.p.Destinations[w.destination].Name+" "+w.words)
}

// patience is how long, in microseconds, devices may take after a start until
// it is said that a wish waits for them.
const patience int64 = 2_000_000

// ends says what became of a wish.
func (c *Controller) ends(w *wish, words string) {
	w.over(words)
	c.alert("plan", "after the power cut, "+c.show.p.Destinations[w.destination].Name+" "+words)
}

// settled ends the wish for an output that somebody has taken in hand, and says
// whether there was one.
func (c *Controller) settled(output int32, how string) bool {
	s := c.show
	w := s.wishOf(output)
	if w == nil || !w.waits {
		return false
	}
	c.ends(w, "was "+how)
	return true
}

// wishOf is the wish for an output, or nil.
func (s *show) wishOf(output int32) *wish {
	if i := slices.IndexFunc(s.wished, func(w *wish) bool { return w.destination == output }); i >= 0 {
		return s.wished[i]
	}
	return nil
}

// needs are the devices that have to be there for a wish to be met.
func (s *show) needs(w *wish) []int32 {
	var all []int32
	need := func(device int32) {
		if s.lines[device] != nil {
			all = appendNew(all, device)
		}
	}
	d := &s.p.Destinations[w.destination]
	if d.AfterCut != program.SafePicture {
		for _, p := range s.restorable(w) {
			if message, ok := s.index[p.command]; ok {
				need(s.p.Messages[message].Device)
			}
		}
		return all
	}
	s.m.Graph.Look(s.state)
	if way, no := s.m.Routes.Find(s.state, s.m.Graph, d.Node, d.Safe); no == nil {
		for _, p := range way.Points {
			need(s.p.Switches[p.Switch].Device)
		}
		return all
	}
	if own := s.way(d.Node, s.value); len(own) > 0 { // it will be refused, with the reason
		need(deviceOf(s.p, &s.p.Vars[own[0].v]))
	}
	return all
}

// makeSafe routes the plan's safe picture.
func (c *Controller) makeSafe(w *wish) {
	s := c.show
	picture := s.pictureName(s.p.Destinations[w.destination].Safe)
	w.claim = "was made safe: " + picture + " is routed to it"
	effects := c.apply(step.Event{Kind: step.Safe, A: w.destination, At: s.state.Now})
	for i := range effects {
		if e := &effects[i]; e.Kind == step.Failed || e.Kind == step.Blocked {
			c.ends(w, "could not be met: "+story.Failure(s.p, e))
			return
		}
	}
}

// restorable is how the buses of a destination stood, as far as that is known:
// the show had set them, or they were seen to be otherwise than at power-on.
func (s *show) restorable(w *wish) []point {
	stood := func(v int32) uint32 { return s.m.L.Get(w.stood, v) }
	return slices.DeleteFunc(s.way(s.p.Destinations[w.destination].Node, stood), func(p point) bool {
		return !s.facts[p.v].set && p.value == s.p.Vars[p.v].Start
	})
}

// restore sends again how the buses of a destination stood.
func (c *Controller) restore(w *wish) {
	var how []string
	points := c.show.restorable(w)
	for _, p := range slices.Backward(points) {
		how = append(how, c.show.words(p))
	}
	w.claim = "was restored: " + strings.Join(how, ", ")
	_, left, away := c.again(points, byPlan)
	switch {
	case away >= 0:
		w.undone(c.show.p.Devices[away].Name + " does not answer")
	case len(left) > 0 && w.claim != "":
		w.claim = "was restored, but for what this show never sends: " + strings.Join(left, ", ")
	}
}

// carryWishes takes wishes that still wait over from another show, by the names
// of their destinations, where this one wishes the same.
func (s *show) carryWishes(was *show) {
	names := surface.OutputNames(s.p)
	for _, w := range was.wished {
		name := was.p.Destinations[w.destination].Name
		at := slices.Index(names[:len(s.p.Destinations)], name)
		if at < 0 || !w.waits || s.p.Destinations[at].AfterCut != was.p.Destinations[w.destination].AfterCut {
			continue
		}
		next := *w
		next.destination, next.stood = int32(at), s.m.Start()
		carryVars(was, w.stood, s, next.stood, func(int32, int32) {})
		s.wished = append(s.wished, &next)
	}
	s.news = len(s.wished) > 0
}

func appendNew[T comparable](all []T, one T) []T {
	if slices.Contains(all, one) {
		return all
	}
	return append(all, one)
}
