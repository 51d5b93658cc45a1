// Package simtest makes programs, states and presses for tests: by hand, a
// thing at a time, or at random. Nothing but tests uses it.
package simtest

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
)

// Test is what a *testing.T, *testing.B and *rapid.T have in common.
type Test interface {
	Helper()
	Fatalf(format string, args ...any)
}

// Second is one second, in microseconds.
const Second int64 = 1_000_000

// Maker puts a program together. Its methods give indexes: of a node where
// they say so, else of the thing itself. P may be read, and added to, at any
// time before Done.
type Maker struct {
	P        program.Program
	branches []int32 // tasks whose owner is not made yet
}

// New starts a program with one device, no signal as source and node 0 and
// black as source and node 1.
func New() *Maker {
	m := &Maker{}
	m.P.Show, m.P.Rack = "Test", "Test rack"
	m.P.Rate = program.Rate{Num: 50, Den: 1}
	m.P.Files = []program.File{{Name: "test.show"}}
	m.Device("box")
	m.Source("no signal", "nothing")
	m.Source("black", "black")
	return m
}

// Place is the place of line n of the show, for findings to point at.
func Place(n int) program.Place { return program.Place{File: 0, Line: int32(n), Column: 1} }

// Var adds a variable.
func (m *Maker) Var(name string, kind program.VarKind, owner, size int) int32 {
	m.P.Vars = append(m.P.Vars, program.Var{Name: name, Kind: kind, Owner: int32(owner), Size: uint32(size)})
	return int32(len(m.P.Vars) - 1)
}

// Timer adds a timer.
func (m *Maker) Timer(kind program.TimerKind, owner int) int32 {
	m.P.Timers = append(m.P.Timers, program.Timer{Kind: kind, Owner: int32(owner)})
	return int32(len(m.P.Timers) - 1)
}

func (m *Maker) node(n program.Node) int32 {
	if n.Kind == program.PassNode {
		n.Owner = -1
	}
	m.P.Nodes = append(m.P.Nodes, n)
	return int32(len(m.P.Nodes) - 1)
}

// Device adds a device.
func (m *Maker) Device(name string) int32 {
	i := len(m.P.Devices)
	m.P.Devices = append(m.P.Devices, program.Device{Name: name, Health: m.Var(name+".health", program.DeviceHealth, i, int(program.Healths)), At: Place(100 + i)})
	return int32(i)
}

// Source adds a source and gives its node.
func (m *Maker) Source(name, picture string) int32 {
	i := len(m.P.Sources)
	n := m.node(program.Node{Kind: program.SourceNode, Label: name, Owner: int32(i), Tie: -1})
	m.P.Sources = append(m.P.Sources, program.Source{Name: name, Picture: picture, Node: n, Device: 0, Camera: -1, Deck: -1, At: Place(200 + i)})
	return n
}

// Multiview adds a multiview of some nodes and gives its node.
func (m *Maker) Multiview(name string, of ...int32) int32 {
	n := m.Source(name, "multiview")
	m.P.Nodes[n].Up = of
	return n
}

// SourceOf is the source that a node makes.
func (m *Maker) SourceOf(node int32) int32 { return m.P.Nodes[node].Owner }

// Pass adds a converter or cable that shows up, or nothing when up is -1, and
// gives its node.
func (m *Maker) Pass(label string, up int32) int32 {
	n := program.Node{Kind: program.PassNode, Label: label, Tie: -1}
	if up >= 0 {
		n.Up = []int32{up}
	}
	return m.node(n)
}

func picks(nodes []int32) []program.Pick {
	var all []program.Pick
	for i, n := range nodes {
		all = append(all, program.Pick{Node: n, Number: int32(i + 1), Label: fmt.Sprint("input ", i+1)})
	}
	return all
}

// Switch adds a switch that can show some nodes.
func (m *Maker) Switch(name string, of ...int32) int32 {
	i := len(m.P.Switches)
	n := m.node(program.Node{Kind: program.SwitchNode, Label: name, Owner: int32(i), Tie: -1})
	m.P.Switches = append(m.P.Switches, program.Switch{Name: name, Number: int32(i + 1), Node: n, Picks: picks(of),
		Var: m.Var(name, program.SwitchPick, i, 0), At: Place(300 + i)})
	return int32(i)
}

// Out is the node of a switch.
func (m *Maker) Out(sw int32) int32 { return m.P.Switches[sw].Node }

// Tie adds a tie line fed by a switch and gives the node of its far end.
func (m *Maker) Tie(name string, sw int32) int32 {
	n := m.Pass(name+" end", m.Out(sw))
	m.P.Nodes[n].Tie = int32(len(m.P.Ties))
	m.P.Ties = append(m.P.Ties, program.Tie{Name: name, Switch: sw, Node: n, At: Place(400 + len(m.P.Ties))})
	return n
}

// Bank adds a bank that can show some nodes, with a clean output and one of
// its preset bus.
func (m *Maker) Bank(name string, of ...int32) int32 {
	i := len(m.P.Banks)
	at := func(kind program.NodeKind, label string) int32 {
		return m.node(program.Node{Kind: kind, Label: label, Owner: int32(i), Tie: -1})
	}
	m.P.Banks = append(m.P.Banks, program.Bank{Name: name, Number: int32(i + 1), Picks: picks(of), Black: 1, At: Place(500 + i),
		Program: m.Var(name+".program", program.BankProgram, i, 0), Preset: m.Var(name+".preset", program.BankPreset, i, 0),
		Transition: m.Var(name+".transition", program.BankTransition, i, int(program.Transitions)),
		Faded:      m.Var(name+".black", program.BankFaded, i, 2), Timer: m.Timer(program.BankTimer, i),
		Node: at(program.BankNode, name), Clean: at(program.CleanNode, name+" clean"), PresetNode: at(program.PresetNode, name+" preset")})
	return int32(i)
}

// BankOut is the node of a bank's output.
func (m *Maker) BankOut(bank int32) int32 { return m.P.Banks[bank].Node }

// SwitchTakes lets a switch show more nodes.
func (m *Maker) SwitchTakes(sw int32, of ...int32) {
	s := &m.P.Switches[sw]
	s.Picks = picks(append(nodesOf(s.Picks), of...))
}

// BankTakes lets a bank show more nodes.
func (m *Maker) BankTakes(bank int32, of ...int32) {
	b := &m.P.Banks[bank]
	b.Picks = picks(append(nodesOf(b.Picks), of...))
}

func nodesOf(picks []program.Pick) []int32 {
	var all []int32
	for _, p := range picks {
		all = append(all, p.Node)
	}
	return all
}

// Keyer adds a keyer to a bank.
func (m *Maker) Keyer(name string, bank, fill int32) int32 {
	i := len(m.P.Keyers)
	m.P.Keyers = append(m.P.Keyers, program.Keyer{Name: name, Number: int32(i + 1), Bank: bank, Fill: fill,
		On: m.Var(name+".on", program.KeyerOn, i, 2), At: Place(600 + i)})
	m.P.Banks[bank].Keyers = append(m.P.Banks[bank].Keyers, int32(i))
	return int32(i)
}

// Destination adds a destination at a node.
func (m *Maker) Destination(name string, node, onAir int32, refuses ...int32) int32 {
	i := len(m.P.Destinations)
	m.P.Destinations = append(m.P.Destinations, program.Destination{Name: name, Node: node, OnAir: onAir, Refuses: refuses, Safe: -1,
		Protect: m.Var(name+".protected", program.DestinationProtected, i, 2), At: Place(700 + i)})
	return int32(i)
}

// Recorder adds a recorder whose input is at a node. Add all recorders before
// the first encoder: their timers count through.
func (m *Maker) Recorder(name string, node int32) int32 {
	i := len(m.P.Recorders)
	m.P.Recorders = append(m.P.Recorders, program.Recorder{Name: name, Device: m.Device(name), Ready: Second / 2,
		State: m.Var(name+".state", program.RecorderState, i, int(program.MachineStates)), Timer: m.Timer(program.MachineTimer, i), At: Place(800 + i)})
	m.P.Inputs = append(m.P.Inputs, program.Input{Node: node, Recorder: int32(i), Encoder: -1})
	return int32(i)
}

// Encoder adds an encoder whose input is at a node.
func (m *Maker) Encoder(name string, node int32) int32 {
	i := len(m.P.Encoders)
	m.P.Encoders = append(m.P.Encoders, program.Encoder{Name: name, Device: m.Device(name), Ready: Second,
		State: m.Var(name+".state", program.EncoderState, i, int(program.MachineStates)),
		Timer: m.Timer(program.MachineTimer, len(m.P.Recorders)+i), At: Place(820 + i)})
	m.P.Inputs = append(m.P.Inputs, program.Input{Node: node, Recorder: -1, Encoder: int32(i)})
	return int32(i)
}

// Deck adds a deck with two clips, of 8 s and of unknown length, and gives
// the node of its picture.
func (m *Maker) Deck(name string) int32 {
	i, clip := len(m.P.Decks), int32(len(m.P.Clips))
	n := m.Source(name, "playback")
	m.P.Sources[m.SourceOf(n)].Deck = int32(i)
	m.P.Decks = append(m.P.Decks, program.Deck{Name: name, Device: m.Device(name), Source: m.SourceOf(n), Ready: Second / 2, Clips: []int32{clip, clip + 1},
		State: m.Var(name+".state", program.DeckState, i, int(program.DeckStates)), Clip: m.Var(name+".clip", program.DeckClip, i, 3),
		Timer: m.Timer(program.DeckTimer, i), At: Place(840 + i)})
	m.P.Clips = append(m.P.Clips, program.Clip{Name: "opener", File: "opener", Deck: int32(i), Number: 1, Length: 8 * Second},
		program.Clip{Name: "loop", File: "loop", Deck: int32(i), Number: 2})
	return n
}

// Camera adds a robotic camera with two shots and gives the node of its
// picture.
func (m *Maker) Camera(name string) int32 {
	i := len(m.P.Cameras)
	n := m.Source(name, "live")
	m.P.Sources[m.SourceOf(n)].Camera = int32(i)
	m.P.Cameras = append(m.P.Cameras, program.Camera{Name: name, Device: m.Device(name), Robotic: true, Source: m.SourceOf(n),
		Shots: []program.Shot{{Number: 1, Name: "whole"}, {Number: 2, Name: "line"}},
		Shot:  m.Var(name+".shot", program.CameraShot, i, 3), At: Place(860 + i)})
	return n
}

// Done finishes the program and holds it against program.Validate.
func (m *Maker) Done(t Test) *program.Program {
	t.Helper()
	for i := range m.P.Banks {
		b := &m.P.Banks[i]
		up := nodesOf(b.Picks)
		m.P.Vars[b.Program].Size, m.P.Vars[b.Preset].Size = uint32(len(up)), uint32(len(up))
		m.P.Nodes[b.Clean].Up, m.P.Nodes[b.PresetNode].Up = up, up
		m.P.Nodes[b.Node].Up = slices.Clone(up)
		for _, k := range b.Keyers {
			m.P.Nodes[b.Node].Up = append(m.P.Nodes[b.Node].Up, m.P.Keyers[k].Fill)
		}
	}
	for _, s := range m.P.Switches {
		m.P.Vars[s.Var].Size = uint32(len(s.Picks))
		m.P.Nodes[s.Node].Up = nodesOf(s.Picks)
	}
	if m.P.StandbyVar() < 0 {
		m.Var("rundown.standby", program.Standby, -1, len(m.P.Cues)+1)
	}
	if err := program.Validate(&m.P); err != nil {
		t.Fatalf("simtest made a bad program: %v", err)
	}
	return &m.P
}
