package program

import "fmt"

// Longest is the longest time that a Program may hold, in microseconds: about
// 35 years, so that sums of a few of them do not overflow.
const Longest int64 = 1 << 50

// The largest that a Program may hold of what whoever runs it makes room or
// takes time for: the last line and column of a place, a bit more than a file
// that is read has bytes; the rows and columns of a surface; and the
// conditions that one is made of, each counted as often as it is asked.
const (
	lastLine   = 1<<22 + 1
	largestRow = 1 << 10
	mostAsked  = 1 << 20
)

// Validate says what is wrong with p, or nil. After it, nothing that runs p
// can meet an index out of range, a variable that is too small, a task that
// never comes to rest, or two things that believe to own one variable:
//
//   - every index is in its table, and -1 only where the tables allow it;
//   - every variable and timer belongs to exactly one thing, which points back
//     at it, and has the size that its kind demands;
//   - every node's Up is what its bank or switch can pick, in that order;
//   - code lies task by task, jumps only forward and stays in its task, and a
//     task runs only tasks before it in the table;
//   - no cue, nor anything it runs, fires a cue by number, and cues do not
//     follow each other in a circle;
//   - a condition is made of smaller-numbered ones, and not of too many;
//   - a set has one bit for each value of its variable;
//   - no two messages are for one command.
func Validate(p *Program) error {
	c := &checker{p: p, vars: make([]bool, len(p.Vars)), timers: make([]bool, len(p.Timers))}
	for _, check := range []func(){
		c.head, c.devices, c.nodes, c.sources, c.banks, c.switches, c.destinations, c.decks, c.machines,
		c.cameras, c.surfaces, c.buttons, c.cues, c.scripts, c.tasks, c.code, c.actions, c.conds,
		c.rules, c.rehearsals, c.messages, c.owners,
	} {
		if check(); c.err != nil {
			return c.err
		}
	}
	return nil
}

// checker keeps the first fault and who has claimed which variable and timer.
type checker struct {
	p            *Program
	err          error
	vars, timers []bool
}

// want records a fault unless ok, and gives ok back. What is asked of every
// instruction asks first and wants then: the words' arguments cost an
// allocation each.
func (c *checker) want(ok bool, format string, args ...any) bool {
	if !ok && c.err == nil {
		c.err = fmt.Errorf(format, args...)
	}
	return ok
}

// index wants i in a table of n things.
func (c *checker) index(i int32, n int, what string, owner int) bool {
	if i >= 0 && int(i) < n {
		return true
	}
	return c.want(false, "%s %d has %d, of %d", what, owner, i, n)
}

// maybe wants i to be -1 or in a table of n things.
func (c *checker) maybe(i int32, n int, what string, owner int) bool {
	return i == -1 || c.index(i, n, what, owner)
}

// all wants every index of a list in a table of n things.
func (c *checker) all(list []int32, n int, what string, owner int) bool {
	for _, i := range list {
		if !c.index(i, n, what, owner) {
			return false
		}
	}
	return true
}

// variable claims variable v for owner, of that kind and size.
func (c *checker) variable(v int32, kind VarKind, owner, size int) {
	if !c.index(v, len(c.p.Vars), "the variable of owner", owner) {
		return
	}
	x := c.p.Vars[v]
	if x.Kind != kind || int(x.Owner) != owner || int(x.Size) != size || x.Start >= x.Size || c.vars[v] {
		c.want(false, "variable %d (%s) does not fit owner %d: kind %d, owner %d, size %d, start %d", v, x.Name, owner, x.Kind, x.Owner, x.Size, x.Start)
	}
	c.vars[v] = true
}

// variableIf claims v when there is a reason for it, and else wants -1.
func (c *checker) variableIf(reason bool, v int32, kind VarKind, owner, size int) {
	if reason {
		c.variable(v, kind, owner, size)
		return
	}
	if v != -1 {
		c.want(false, "owner %d has variable %d of kind %d for no reason", owner, v, kind)
	}
}

// timer claims timer t for owner when there is a reason for it, else wants -1.
func (c *checker) timer(reason bool, t int32, kind TimerKind, owner int) {
	if !reason {
		if t != -1 {
			c.want(false, "owner %d has timer %d of kind %d for no reason", owner, t, kind)
		}
		return
	}
	if !c.index(t, len(c.p.Timers), "the timer of owner", owner) {
		return
	}
	x := c.p.Timers[t]
	c.want(x.Kind == kind && int(x.Owner) == owner && !c.timers[t], "timer %d does not fit owner %d: kind %d, owner %d", t, owner, x.Kind, x.Owner)
	c.timers[t] = true
}

func (c *checker) duration(micros int64, what string, owner int) {
	if micros < 0 || micros > Longest {
		c.want(false, "%s %d has the time %d", what, owner, micros)
	}
}

func (c *checker) place(at Place, what string, owner int) {
	ok := at == Place{} || at.Line > 0 && at.Line <= lastLine && at.Column > 0 && at.Column <= lastLine &&
		at.File >= 0 && int(at.File) < len(c.p.Files)
	if !ok {
		c.want(false, "%s %d stands at %d:%d:%d", what, owner, at.File, at.Line, at.Column)
	}
}

func (c *checker) head() {
	c.want(c.p.Rate.Num > 0 && c.p.Rate.Num <= 1_000_000 && c.p.Rate.Den > 0 && c.p.Rate.Den <= 100_000, "the rate is %d/%d", c.p.Rate.Num, c.p.Rate.Den)
}

// wires are the ways to reach a device; "" is a device that is not reached.
var wires = map[string]bool{"": true, "osc.udp": true, "osc.tcp": true, "osc.slip": true, "http": true, "https": true}

func (c *checker) devices() {
	for i, d := range c.p.Devices {
		c.want(wires[d.Wire], "device %d has the wire %q", i, d.Wire)
		c.duration(d.Deadline, "device", i)
		c.variable(d.Health, DeviceHealth, i, int(Healths))
		c.place(d.At, "device", i)
	}
	for i, o := range c.p.Outlets {
		c.index(o.Device, len(c.p.Devices), "the device of outlet", i)
		c.variable(o.On, OutletOn, i, 2)
		c.place(o.At, "outlet", i)
	}
	for i, s := range c.p.Sends {
		c.index(s.Device, len(c.p.Devices), "the device of send", i)
	}
}

func (c *checker) nodes() {
	for i, n := range c.p.Nodes {
		c.maybe(n.Device, len(c.p.Devices), "the device of node", i)
		c.maybe(n.Tie, len(c.p.Ties), "the tie line of node", i)
		if c.all(n.Up, len(c.p.Nodes), "the ways up of node", i) {
			c.node(i, n)
		}
	}
}

// node checks that its owner knows it, and what comes in.
func (c *checker) node(i int, n Node) {
	p, known, up := c.p, false, n.Up
	switch n.Kind {
	case SourceNode:
		if c.index(n.Owner, len(p.Sources), "the source of node", i) {
			s := p.Sources[n.Owner]
			known = int(s.Node) == i && (s.Picture == "multiview" || len(n.Up) == 0)
		}
	case PassNode:
		known = n.Owner == -1 && len(n.Up) <= 1
	case SwitchNode:
		if c.index(n.Owner, len(p.Switches), "the switch of node", i) {
			s := p.Switches[n.Owner]
			known = int(s.Node) == i && c.picks(s.Picks, up, "switch", int(n.Owner))
		}
	case BankNode, CleanNode, PresetNode:
		if c.index(n.Owner, len(p.Banks), "the bank of node", i) {
			b := p.Banks[n.Owner]
			if n.Kind == BankNode {
				up = c.fills(b, up)
			}
			own := map[NodeKind]int32{BankNode: b.Node, CleanNode: b.Clean, PresetNode: b.PresetNode}[n.Kind]
			known = int(own) == i && c.picks(b.Picks, up, "bank", int(n.Owner))
		}
	}
	c.want(known, "node %d (%s) is not what its owner %d says", i, n.Label, n.Owner)
}

// picks wants the nodes of the picks to be exactly those in up.
func (c *checker) picks(picks []Pick, up []int32, what string, owner int) bool {
	if !c.want(len(picks) > 0 && len(picks) == len(up), "%s %d has %d picks and %d ways up", what, owner, len(picks), len(up)) {
		return false
	}
	for i, p := range picks {
		if !c.want(p.Node == up[i], "%s %d picks node %d, and node %d comes in", what, owner, p.Node, up[i]) {
			return false
		}
	}
	return true
}

// fills takes the fills of a bank's keyers off the end of up.
func (c *checker) fills(b Bank, up []int32) []int32 {
	first := len(up) - len(b.Keyers)
	if !c.want(first >= 0, "bank %s has more keyers than ways up", b.Name) {
		return nil
	}
	for i, k := range b.Keyers {
		if c.index(k, len(c.p.Keyers), "a keyer of bank", int(k)) {
			c.want(c.p.Keyers[k].Fill == up[first+i], "keyer %d is not where its bank's node has it", k)
		}
	}
	return up[:first]
}

func (c *checker) sources() {
	c.want(len(c.p.Sources) > 0 && c.p.Sources[0].Picture == "nothing", "source 0 is not `no signal`")
	for i, s := range c.p.Sources {
		if c.index(s.Node, len(c.p.Nodes), "the node of source", i) {
			n := c.p.Nodes[s.Node]
			c.want(n.Kind == SourceNode && int(n.Owner) == i, "source %d has node %d, which is not its own", i, s.Node)
		}
		c.maybe(s.Device, len(c.p.Devices), "the device of source", i)
		c.maybe(s.Camera, len(c.p.Cameras), "the camera of source", i)
		c.maybe(s.Deck, len(c.p.Decks), "the deck of source", i)
		c.place(s.At, "source", i)
	}
}

// owned wants node n to be of that kind and owner.
func (c *checker) owned(n int32, kind NodeKind, owner int) {
	if c.index(n, len(c.p.Nodes), "the node of owner", owner) {
		x := c.p.Nodes[n]
		c.want(x.Kind == kind && int(x.Owner) == owner, "node %d is not of kind %d and owner %d", n, kind, owner)
	}
}

func (c *checker) banks() {
	for i, b := range c.p.Banks {
		c.index(b.Device, len(c.p.Devices), "the device of bank", i)
		c.variable(b.Program, BankProgram, i, len(b.Picks))
		c.variable(b.Preset, BankPreset, i, len(b.Picks))
		c.variable(b.Transition, BankTransition, i, int(Transitions))
		c.variable(b.Faded, BankFaded, i, 2)
		c.timer(true, b.Timer, BankTimer, i)
		c.index(b.Black, len(c.p.Sources), "the black of bank", i)
		c.owned(b.Node, BankNode, i)
		if b.Clean != -1 {
			c.owned(b.Clean, CleanNode, i)
		}
		if b.PresetNode != -1 {
			c.owned(b.PresetNode, PresetNode, i)
		}
		for _, k := range b.Keyers {
			if c.index(k, len(c.p.Keyers), "a keyer of bank", i) {
				c.want(int(c.p.Keyers[k].Bank) == i, "keyer %d is on bank %d, not %d", k, c.p.Keyers[k].Bank, i)
			}
		}
		c.place(b.At, "bank", i)
	}
	onBank := 0
	for _, b := range c.p.Banks {
		onBank += len(b.Keyers)
	}
	c.want(onBank == len(c.p.Keyers), "%d keyers, and %d on banks", len(c.p.Keyers), onBank)
	for i, k := range c.p.Keyers {
		c.index(k.Bank, len(c.p.Banks), "the bank of keyer", i)
		c.variable(k.On, KeyerOn, i, 2)
		c.index(k.Fill, len(c.p.Nodes), "the fill of keyer", i)
		c.place(k.At, "keyer", i)
	}
}

func (c *checker) switches() {
	for i, s := range c.p.Switches {
		c.index(s.Device, len(c.p.Devices), "the device of switch", i)
		c.variable(s.Var, SwitchPick, i, len(s.Picks))
		c.owned(s.Node, SwitchNode, i)
		c.place(s.At, "switch", i)
	}
	for i, t := range c.p.Ties {
		c.index(t.Switch, len(c.p.Switches), "the switch of tie line", i)
		if c.index(t.Node, len(c.p.Nodes), "the node of tie line", i) {
			c.want(int(c.p.Nodes[t.Node].Tie) == i, "tie line %d ends at node %d, which has tie line %d", i, t.Node, c.p.Nodes[t.Node].Tie)
		}
		c.place(t.At, "tie line", i)
	}
}

func (c *checker) destinations() {
	for i, d := range c.p.Destinations {
		c.index(d.Node, len(c.p.Nodes), "the node of destination", i)
		c.variable(d.Protect, DestinationProtected, i, 2)
		if d.OnAir != NeverOnAir && d.OnAir != AlwaysOnAir {
			c.index(d.OnAir, len(c.p.Encoders), "the encoder of destination", i)
		}
		c.all(d.Refuses, len(c.p.Sources), "the refused sources of destination", i)
		c.want(d.AfterCut <= SafePicture && (d.AfterCut == SafePicture || d.Safe == -1), "destination %d wishes %d, %d after a cut", i, d.AfterCut, d.Safe)
		if d.AfterCut == SafePicture {
			c.index(d.Safe, len(c.p.Nodes), "the safe picture of destination", i)
		}
		c.place(d.At, "destination", i)
	}
	for i, n := range c.p.Inputs {
		c.index(n.Node, len(c.p.Nodes), "the node of input", i)
		c.maybe(n.Recorder, len(c.p.Recorders), "the recorder of input", i)
		c.maybe(n.Encoder, len(c.p.Encoders), "the encoder of input", i)
		c.want((n.Recorder == -1) != (n.Encoder == -1), "input %d is not of one recorder or encoder", i)
	}
}

func (c *checker) decks() {
	for i, d := range c.p.Decks {
		c.index(d.Device, len(c.p.Devices), "the device of deck", i)
		c.variable(d.State, DeckState, i, int(DeckStates))
		c.variable(d.Clip, DeckClip, i, len(d.Clips)+1)
		c.timer(true, d.Timer, DeckTimer, i)
		c.maybe(d.Source, len(c.p.Sources), "the source of deck", i)
		c.duration(d.Ready, "deck", i)
		c.place(d.At, "deck", i)
		for n, k := range d.Clips {
			if c.index(k, len(c.p.Clips), "a clip of deck", i) {
				x := c.p.Clips[k]
				c.want(int(x.Deck) == i && int(x.Number) == n+1, "clip %d is not clip %d of deck %d", k, n+1, i)
			}
		}
	}
	for i, k := range c.p.Clips {
		c.index(k.Deck, len(c.p.Decks), "the deck of clip", i)
		c.duration(k.Length, "clip", i)
		c.place(k.At, "clip", i)
	}
}

func (c *checker) machines() {
	for i, r := range c.p.Recorders {
		c.index(r.Device, len(c.p.Devices), "the device of recorder", i)
		c.variable(r.State, RecorderState, i, int(MachineStates))
		c.timer(true, r.Timer, MachineTimer, i)
		c.duration(r.Ready, "recorder", i)
		c.place(r.At, "recorder", i)
	}
	for i, e := range c.p.Encoders {
		c.index(e.Device, len(c.p.Devices), "the device of encoder", i)
		c.variable(e.State, EncoderState, i, int(MachineStates))
		c.timer(true, e.Timer, MachineTimer, len(c.p.Recorders)+i)
		c.duration(e.Ready, "encoder", i)
		c.place(e.At, "encoder", i)
	}
}

func (c *checker) cameras() {
	for i, k := range c.p.Cameras {
		c.index(k.Device, len(c.p.Devices), "the device of camera", i)
		c.variableIf(len(k.Shots) > 0, k.Shot, CameraShot, i, len(k.Shots)+1)
		c.maybe(k.Source, len(c.p.Sources), "the source of camera", i)
		c.place(k.At, "camera", i)
	}
}

// owners wants every variable and timer to be claimed, and the one of the
// rundown to be there.
func (c *checker) owners() {
	standby := c.p.StandbyVar()
	if c.want(standby != -1, "no variable says which cue is on standby") {
		c.variable(standby, Standby, -1, len(c.p.Cues)+1)
	}
	for i, claimed := range c.vars {
		c.want(claimed, "variable %d (%s) belongs to nothing", i, c.p.Vars[i].Name)
	}
	for i, claimed := range c.timers {
		c.want(claimed, "timer %d belongs to nothing", i)
	}
}
