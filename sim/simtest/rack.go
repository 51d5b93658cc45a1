package simtest

import (
	"fmt"

	"cuewright/macro/program"
	"cuewright/sim/state"

	"pgregory.net/rapid"
)

// Rack makes a random rack: cameras, a deck, stills and a multiview; banks
// with keyers and re-entry; switches, tie lines between them, converters;
// destinations, recorders and an encoder. Anything may be cabled to anything,
// in circles too, but for cables in circles without a switch.
func Rack(t *rapid.T) *Maker {
	m := New()
	pictures := []int32{1, m.Camera("goal"), m.Deck("deck")}
	for i := range rapid.IntRange(1, 4).Draw(t, "cameras") {
		pictures = append(pictures, m.Source(fmt.Sprint("camera", i), "live"))
	}
	views := m.Multiview("views")
	nodes := append(pictures, views, m.Source("card", "still"))
	for i := range rapid.IntRange(1, 3).Draw(t, "banks") {
		b := m.Bank(fmt.Sprint("bank", i))
		nodes = append(nodes, m.P.Banks[b].Node, m.P.Banks[b].Clean, m.P.Banks[b].PresetNode)
	}
	for i := range rapid.IntRange(1, 7).Draw(t, "switches") {
		sw := m.Switch(fmt.Sprint("router.", i))
		nodes = append(nodes, m.Out(sw))
		if rapid.Bool().Draw(t, "tied") {
			nodes = append(nodes, m.Tie(fmt.Sprint("line", i), sw))
		}
	}
	some := rapid.SampledFrom(nodes)
	for i := range rapid.IntRange(0, 4).Draw(t, "converters") {
		nodes = append(nodes, m.Pass(fmt.Sprint("box", i), some.Draw(t, "plugged in")))
		some = rapid.SampledFrom(nodes)
	}
	nodes = append(nodes, m.Pass("open end", -1))
	cable(t, m, views, nodes)
	places(t, m, nodes)
	return m
}

// cable gives every bank, switch, keyer and the multiview its inputs.
func cable(t *rapid.T, m *Maker, views int32, nodes []int32) {
	some := func(least, most int, what string) []int32 {
		return rapid.SliceOfN(rapid.SampledFrom(nodes), least, most).Draw(t, what)
	}
	m.P.Nodes[views].Up = some(0, 4, "composed")
	for b := range m.P.Banks {
		m.BankTakes(int32(b), some(1, 5, "takes")...)
		for i, fill := range some(0, 2, "fills") {
			m.Keyer(fmt.Sprintf("key%d_%d", b, i), int32(b), fill)
		}
	}
	for s := range m.P.Switches {
		m.SwitchTakes(int32(s), some(1, 5, "takes")...)
	}
}

func places(t *rapid.T, m *Maker, nodes []int32) {
	some := rapid.SampledFrom(nodes)
	m.Recorder("iso", some.Draw(t, "recorded"))
	m.Encoder("stream", some.Draw(t, "streamed"))
	for i := range rapid.IntRange(1, 4).Draw(t, "destinations") {
		m.Destination(fmt.Sprint("screen", i), some.Draw(t, "seen at"), rapid.SampledFrom([]int32{program.NeverOnAir, program.AlwaysOnAir, 0}).Draw(t, "on air"))
	}
}

// State makes a random state: each variable any of its values, no timer
// running.
func State(t *rapid.T, p *program.Program, l *state.Layout) *state.State {
	s := l.Start(p)
	for i, v := range p.Vars {
		l.Set(s, int32(i), rapid.Uint32Range(0, max(v.Size, 1)-1).Draw(t, v.Name))
	}
	return s
}
