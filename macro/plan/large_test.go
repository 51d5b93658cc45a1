package plan

import (
	"fmt"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"cuewright/macro/source"
)

// LargeRack writes a plan of about n devices: mixers and routers joined by tie
// lines, with cameras behind converters, and screens, recorders and machines
// that are told things.
func LargeRack(n int) string {
	var devices, cables, places, control strings.Builder
	for group := 0; group*16 < n; group++ {
		g := fmt.Sprintf("g%d_", group)
		fmt.Fprintf(&devices, "  %smixer:\n    kind: mixer\n    inputs: { 1-12: 3g-sdi bnc }\n", g)
		fmt.Fprintf(&devices, "    internal:\n      %sblack: { picture: black, number: 100 }\n      %sviews: { picture: multiview, number: 101 }\n", g, g)
		fmt.Fprintf(&devices, "    banks:\n      %smain: { number: 1, takes: [inputs, %sblack], keyers: { %slogo: { number: 1, fill: %scam1 } } }\n", g, g, g, g)
		fmt.Fprintf(&devices, "    outputs:\n      1: { port: 3g-sdi bnc, shows: %smain }\n      2: { port: 3g-sdi bnc, shows: %sviews }\n", g, g)
		fmt.Fprintf(&devices, "  %srouter: { kind: router, inputs: { 1-16: 3g-sdi bnc }, outputs: { 1-16: 3g-sdi bnc } }\n", g)
		for i := 1; i <= 5; i++ {
			fmt.Fprintf(&devices, "  %scam%d:\n    kind: camera\n    about: camera %d of group %d, on the balcony\n    outputs: { 1: hdmi hdmi 1080p50 }\n", g, i, i, group)
			fmt.Fprintf(&devices, "  %sbox%d: { kind: converter, inputs: { 1: hdmi hdmi }, outputs: { 1: 3g-sdi bnc } }\n", g, i)
			fmt.Fprintf(&cables, "  - { from: %scam%d, to: %sbox%d, type: hdmi, length: 2 }\n  - { from: %sbox%d, to: %smixer.%d, type: rg6, length: 30 }\n", g, i, g, i, g, i, g, i)
		}
		for i := 1; i <= 4; i++ {
			fmt.Fprintf(&devices, "  %sscreen%d: { kind: display, inputs: { 1: 3g-sdi bnc } }\n", g, i)
			fmt.Fprintf(&cables, "  - { from: %srouter.%d, to: %sscreen%d }\n  - { from: %srouter.%d, to: %smixer.%d, tie: %sline%d }\n", g, i, g, i, g, i+4, g, i+8, g, i)
			fmt.Fprintf(&places, "  %shall%d: { at: %sscreen%d, on air: always, refuses: [multiview, bars, %scam1] }\n", g, i, g, i, g)
		}
		fmt.Fprintf(&cables, "  - { from: %smixer.1, to: %srouter.1 }\n", g, g)
		fmt.Fprintf(&control, "  %smixer:\n    to: osc.udp://127.0.0.1:%d\n    does:\n      cut: { osc: \"/bank/{bank.number}/program\", args: [pick.number] }\n      take: { osc: \"/bank/{bank.number}/take\" }\n", g, 9000+group)
	}
	return "rack: Large\nrate: 50\ndevices:\n" + devices.String() + "cables:\n" + cables.String() +
		"destinations:\n" + places.String() + "control:\n" + control.String()
}

func TestLargeRackIsRight(t *testing.T) {
	rack := read(t, LargeRack(500))
	if len(rack.Devices) < 500 || len(rack.Ties) < 100 {
		t.Errorf("%d devices, %d tie lines", len(rack.Devices), len(rack.Ties))
	}
}

func BenchmarkRead500Devices(b *testing.B) {
	text := []byte(LargeRack(500))
	b.SetBytes(int64(len(text)))
	for range b.N {
		if rack, _ := Read(source.New("rack.yaml", text)); rack.Partial {
			b.Fatal("partial")
		}
	}
}

// The YAML reader alone on the same bytes, into nodes.
func BenchmarkYAMLAlone500Devices(b *testing.B) {
	text := []byte(LargeRack(500))
	b.SetBytes(int64(len(text)))
	for range b.N {
		var doc yaml.Node
		if err := yaml.Unmarshal(text, &doc); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReadSmall(b *testing.B) {
	text := []byte(small(b))
	b.SetBytes(int64(len(text)))
	for range b.N {
		Read(source.New("rack.yaml", text))
	}
}
