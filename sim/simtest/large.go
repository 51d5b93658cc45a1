package simtest

import (
	"fmt"
	"strings"
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
		"destinations:\n" + places.String() + "surfaces:\n  desk: { rows: 10, columns: 10, by: osc }\ncontrol:\n" + control.String()
}

// LargeShow writes a show of pages*100 buttons for LargeRack, on its first
// group of devices: cuts, takes, routes, keys and macros with values.
func LargeShow(pages int) string {
	var b strings.Builder
	b.WriteString("show \"Large\" uses \"rack.yaml\"\n\nmacro bring(what: source) {\n  preset g0_main to what\n  wait 12f\n  take g0_main\n}\n")
	for page := range pages {
		fmt.Fprintf(&b, "\npage p%d on desk {\n", page)
		for row := 1; row <= 10; row++ {
			for column := 1; column <= 10; column++ {
				fmt.Fprintf(&b, "  button %d.%d \"B %d\" { %s }\n", row, column, row*10+column, largeBody((page+1)%pages, row, column))
			}
		}
		b.WriteString("}\n")
	}
	return b.String()
}

// largeBody is what a button of LargeShow does. The first of each page turns
// to the next, so that all are within reach.
func largeBody(next, row, column int) string {
	if row == 1 && column == 1 {
		return fmt.Sprintf("page desk to p%d", next)
	}
	camera := (row+column)%5 + 1
	switch (row*10 + column) % 5 {
	case 0:
		return fmt.Sprintf("cut g0_main to g0_cam%d", camera)
	case 1:
		return fmt.Sprintf("route g0_hall%d from g0_main; key g0_logo on", camera%4+1)
	case 2:
		return fmt.Sprintf("run bring(what: g0_cam%d)", camera)
	case 3:
		return "if g0_main.program == g0_cam1 and not g0_logo.on { key g0_logo on } else { take g0_main }"
	}
	return fmt.Sprintf("preset g0_main to g0_cam%d; mix g0_main over 12f", camera)
}
