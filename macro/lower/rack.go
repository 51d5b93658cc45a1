package lower

import (
	"slices"

	"cuewright/macro/plan"
	"cuewright/macro/program"
)

// lowerRack fills the tables of things that the plan has.
//
// At power-on nothing is known yet, so variables start where a show would
// have them: banks on their black when it can be picked, else on their first
// pick; switches on their first pick; machines stopped, decks empty, keyers
// off. Timers of devices come before those of scripts, so that a script that
// waits just as long as a device takes finds it done.
func (l *lowerer) lowerRack() {
	l.number()
	l.lowerGraph()
	l.lowerDevices()
	l.lowerSources()
	l.lowerBanks()
	l.lowerSwitches()
	l.lowerDecks()
	l.lowerMachines()
	l.lowerCameras()
	l.lowerOutlets()
	l.lowerDestinations()
}

// number gives every thing its index before any refers to another.
func (l *lowerer) number() {
	r := l.rack
	l.devices = numbered(r.Devices, 0)
	l.sources = numbered(r.Sources, 1) // 0 is "no signal"
	l.banks = numbered(r.Banks, 0)
	l.keyers = numbered(r.Keyers, 0)
	l.ties = numbered(r.Ties, 0)
	l.dests = numbered(r.Destinations, 0)
	l.outlets = numbered(r.Outlets, 0)
	l.surfaces = numbered(r.Surfaces, 0)
	l.switches = numbered(l.allSwitches(), 0)
	l.decks = numbered(l.ofKind(plan.Deck), 0)
	l.recorders = numbered(l.ofKind(plan.Recorder), 0)
	l.encoders = numbered(l.ofKind(plan.Encoder), 0)
	l.cameras = numbered(l.ofKind(plan.Camera), 0)
}

func (l *lowerer) ofKind(kind plan.DeviceKind) []*plan.Device {
	var some []*plan.Device
	for _, d := range l.rack.Devices {
		if d.Kind == kind {
			some = append(some, d)
		}
	}
	return some
}

func (l *lowerer) allSwitches() []*plan.Switch {
	var all []*plan.Switch
	for _, d := range l.rack.Devices {
		for _, o := range d.Outputs {
			if o.Switch != nil {
				all = append(all, o.Switch)
			}
		}
	}
	return all
}

func (l *lowerer) lowerDevices() {
	for i, d := range l.rack.Devices {
		x := program.Device{Name: d.Name, At: l.place(d.At),
			Health: l.variable(program.DeviceHealth, int32(i), d.Name+".health", int(program.Healths), program.Well)}
		if c := d.Control; c != nil {
			x.Wire, x.Address, x.Login, x.Token = string(c.Wire), text(c.Address), text(c.Login), text(c.Token)
			x.Deadline = micros(c.Deadline)
		}
		l.p.Devices = append(l.p.Devices, x)
	}
}

// at gives the index that a thing has, or -1 when it has none.
func at[T comparable](index map[T]int32, x T) int32 {
	if i, ok := index[x]; ok {
		return i
	}
	return -1
}

func (l *lowerer) lowerSources() {
	l.p.Sources = []program.Source{{Name: "no signal", Picture: string(plan.Nothing), Node: noSignal, Device: -1, Camera: -1, Deck: -1}}
	for _, s := range l.rack.Sources {
		l.p.Sources = append(l.p.Sources, program.Source{
			Name: s.Name, Picture: string(s.Picture), Node: l.graph.sources[s], Device: at(l.devices, s.Device),
			Camera: at(l.cameras, s.Device), Deck: at(l.decks, s.Device), At: l.place(s.At)})
	}
}

// sourceOf is the first source that a device makes, or -1.
func (l *lowerer) sourceOf(d *plan.Device) int32 {
	for _, s := range l.rack.Sources {
		if s.Device == d {
			return l.sources[s]
		}
	}
	return -1
}

// picks lowers what a bus can select. A bus that can select nothing has one
// pick all the same, so that it has a state: no signal.
func (l *lowerer) picks(from []*plan.Pick) []program.Pick {
	if len(from) == 0 {
		return []program.Pick{{Node: noSignal, Label: "no signal"}}
	}
	return list(from, func(p *plan.Pick) program.Pick {
		return program.Pick{Node: l.graph.feed(p.Feed), Number: int32(p.Number), Label: text(p.Label)}
	})
}

func (l *lowerer) lowerBanks() {
	for i, b := range l.rack.Banks {
		own, picks := int32(i), l.picks(b.Picks)
		black := slices.IndexFunc(b.Picks, func(p *plan.Pick) bool { return b.Black != nil && p.Feed.Source == b.Black })
		start := uint32(max(black, 0))
		x := program.Bank{
			Name: b.Name, Number: int32(b.Number), Device: l.devices[b.Mixer], Picks: picks,
			Program:    l.variable(program.BankProgram, own, b.Name+".program", len(picks), start),
			Preset:     l.variable(program.BankPreset, own, b.Name+".preset", len(picks), start),
			Transition: l.variable(program.BankTransition, own, b.Name+".transition", int(program.Transitions), program.NoTransition),
			Faded:      l.variable(program.BankFaded, own, b.Name+".black", 2, 0),
			Timer:      l.timer(program.BankTimer, own),
			Keyers:     list(b.Keyers, func(k *plan.Keyer) int32 { return l.keyers[k] }),
			Black:      max(at(l.sources, b.Black), 0),
			Node:       l.graph.banks[b], Clean: at(l.graph.cleans, b), PresetNode: at(l.graph.presets, b),
			At: l.place(b.At),
		}
		l.p.Banks = append(l.p.Banks, x)
	}
	for i, k := range l.rack.Keyers {
		l.p.Keyers = append(l.p.Keyers, program.Keyer{
			Name: k.Name, Number: int32(k.Number), Bank: l.banks[k.Bank], Fill: l.graph.fill(k),
			On: l.variable(program.KeyerOn, int32(i), k.Name+".on", 2, 0), At: l.place(k.At)})
	}
}

func (l *lowerer) lowerSwitches() {
	for i, s := range l.allSwitches() {
		picks := l.picks(s.Picks)
		l.p.Switches = append(l.p.Switches, program.Switch{
			Name: s.Name, Number: int32(s.Number), Device: l.devices[s.Output.Device], Picks: picks,
			Var:  l.variable(program.SwitchPick, int32(i), s.Name, len(picks), 0),
			Node: l.graph.ports[s.Output], At: l.place(s.At)})
	}
	for _, t := range l.rack.Ties {
		l.p.Ties = append(l.p.Ties, program.Tie{
			Name: t.Name, Switch: l.switches[t.Switch], Node: l.graph.ties[t], At: l.place(t.At)})
	}
}

func (l *lowerer) lowerDecks() {
	for i, d := range l.ofKind(plan.Deck) {
		own := int32(i)
		x := program.Deck{
			Name: d.Name, Device: l.devices[d], Source: l.sourceOf(d), Ready: micros(d.Ready), At: l.place(d.At),
			State: l.variable(program.DeckState, own, d.Name+".state", int(program.DeckStates), program.DeckEmpty),
			Clip:  l.variable(program.DeckClip, own, d.Name+".clip", len(d.Clips)+1, 0),
			Timer: l.timer(program.DeckTimer, own),
		}
		for n, c := range d.Clips {
			x.Clips = append(x.Clips, int32(len(l.p.Clips)))
			l.p.Clips = append(l.p.Clips, program.Clip{
				Name: text(c.Name), File: text(c.File), Deck: own, Number: int32(n + 1), Length: micros(c.Length), At: l.place(c.At)})
		}
		l.p.Decks = append(l.p.Decks, x)
	}
}

func (l *lowerer) lowerMachines() {
	recorders := l.ofKind(plan.Recorder)
	for i, d := range recorders {
		own := int32(i)
		l.p.Recorders = append(l.p.Recorders, program.Recorder{
			Name: d.Name, Device: l.devices[d], Ready: micros(d.Ready), At: l.place(d.At),
			State: l.variable(program.RecorderState, own, d.Name+".state", int(program.MachineStates), program.MachineStopped),
			Timer: l.timer(program.MachineTimer, own)})
		l.inputs(d, own, -1)
	}
	for i, d := range l.ofKind(plan.Encoder) {
		own := int32(i)
		l.p.Encoders = append(l.p.Encoders, program.Encoder{
			Name: d.Name, Device: l.devices[d], Ready: micros(d.Ready), At: l.place(d.At),
			State: l.variable(program.EncoderState, own, d.Name+".state", int(program.MachineStates), program.MachineStopped),
			Timer: l.timer(program.MachineTimer, int32(len(recorders)+i))})
		l.inputs(d, -1, own)
	}
}

func (l *lowerer) inputs(d *plan.Device, recorder, encoder int32) {
	for _, in := range d.Inputs {
		l.p.Inputs = append(l.p.Inputs, program.Input{Node: l.graph.ports[in], Recorder: recorder, Encoder: encoder})
	}
}

func (l *lowerer) lowerCameras() {
	for i, d := range l.ofKind(plan.Camera) {
		x := program.Camera{Name: d.Name, Device: l.devices[d], Robotic: d.Robotic, Shot: -1, Source: l.sourceOf(d), At: l.place(d.At)}
		if len(d.Shots) > 0 {
			x.Shot = l.variable(program.CameraShot, int32(i), d.Name+".shot", len(d.Shots)+1, 0)
		}
		x.Shots = list(d.Shots, func(s plan.Shot) program.Shot { return program.Shot{Number: int32(s.Number), Name: text(s.Name)} })
		l.p.Cameras = append(l.p.Cameras, x)
	}
}

func (l *lowerer) lowerOutlets() {
	for i, o := range l.rack.Outlets {
		l.p.Outlets = append(l.p.Outlets, program.Outlet{
			Name: o.Name, Number: int32(o.Number), Device: l.devices[o.Device],
			On: l.variable(program.OutletOn, int32(i), o.Name+".on", 2, 0), At: l.place(o.At)})
	}
}

func (l *lowerer) lowerDestinations() {
	for i, d := range l.rack.Destinations {
		x := program.Destination{Name: d.Name, Node: l.graph.ports[d.Input], OnAir: program.NeverOnAir, AfterCut: uint8(d.AfterCut), Safe: -1, At: l.place(d.At)}
		if d.Safe != nil {
			x.Safe = l.picture(d.Safe.Name)
		}
		start := uint32(0)
		if d.Protected {
			start = 1
		}
		x.Protect = l.variable(program.DestinationProtected, int32(i), d.Name+".protected", 2, start)
		switch {
		case d.While != nil:
			x.OnAir = l.encoders[d.While]
		case d.OnAir:
			x.OnAir = program.AlwaysOnAir
		}
		for s := range d.Refuses {
			x.Refuses = append(x.Refuses, l.sources[s])
		}
		slices.Sort(x.Refuses)
		l.p.Destinations = append(l.p.Destinations, x)
	}
}
