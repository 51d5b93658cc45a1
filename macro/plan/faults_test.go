package plan

import (
	"cmp"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"cuewright/macro/diag"
	"cuewright/macro/source"
)

// fault is an edit of the small rack that makes one mistake: old, which stands
// in it once, becomes fresh; the finding of the code covers the text at.
type fault struct{ code, old, fresh, at string }

// The faults are independent: any of them may be made together, unless they
// edit the same text.
var faults = []fault{
	// keys and values
	{"unknown-key", "robotic: true", "robotik: true", "robotik"},
	{"unknown-key", "type: rg6, length: 55", "tipe: rg6, length: 55", "tipe"},
	{"unknown-key", "deadline: 800ms", "dead line: 800ms", "dead line"},
	{"unknown-key", "surfaces:", "extras: {}\nsurfaces:", "extras"},
	{"key-twice", "ready: 400ms", "ready: 400ms\n    ready: 1s", "ready"},
	{"missing-key", "rack: Small hall\n", "\n", ""},
	{"missing-key", "stage: { at: stage_screen }", "stage: { on air: never }", "{ on air: never }"},
	{"wrong-shape", "shots: { 1: whole goal, 2: goal line }", "shots: [whole goal]", "[whole goal]"},
	{"wrong-shape", "about: on the centre line", "about: [on, the]", "[on, the]"},
	{"unknown-word", "  safety: {", "  odd: { kind: spliter }\n  safety: {", "spliter"},
	{"unknown-word", "slides:\n    kind: computer\n    outputs: { 1: hdmi hdmi 1080p50", "slides:\n    kind: computer\n    outputs: { 1: hdmi hdmi 1080x50", "1080x50"},
	{"unknown-word", "by: osc", "by: usb", "usb"},
	{"unknown-word", "picture: still", "picture: stil", "stil"},
	{"unknown-word", "level: 0..100", "level: 100..0", "100..0"},
	{"unknown-word", "side: { at: right_screen, on air: always, after power cut: safe slides }", "side: { at: right_screen, on air: allways }", "allways"},
	{"bad-number", "rows: 2", "rows: two", "two"},
	{"bad-number", "length: 40", "length: far", "far"},
	{"bad-time", "ready: 1s", "ready: 1 s", "1 s"},
	{"bad-time", "length: 24s", "length: 24", "24"},
	// names and numbers
	{"bad-name", "views: { picture: multiview", "Views: { picture: multiview", "Views"},
	{"reserved-name", "tie: line2", "tie: route", "route"},
	{"name-twice", "fan: 2", "goal: 2", "goal"},
	{"number-twice", "bars: { picture: bars, number: 101 }", "bars: { picture: bars, number: 100 }", "100"},
	// ports and cables
	{"bad-ports", "  iso: {", "  spare_bay: { kind: panel, inputs: { 8-1: bnc } }\n  iso: {", "8-1"},
	{"unknown-device", "{ from: goal, to: mixer.2", "{ from: goul, to: mixer.2", "goul"},
	{"unknown-port", "from: split.1, to: mixer.1", "from: split.1, to: mixer.9", "mixer.9"},
	{"unknown-port", "from: guest_box, to: router.3", "from: guest_box, to: router", "router"},
	{"input-taken", "to: router.2 }", "to: router.1 }", "{ from: box.1, to: router.1 }"},
	{"output-taken", "{ from: mixer.6, to: safety }", "{ from: mixer.4, to: safety }", "{ from: mixer.4, to: safety }"},
	{"signal-mismatch", "right_screen: { kind: display, inputs: { 1: 3g-sdi bnc } }", "right_screen: { kind: display, inputs: { 1: hdmi bnc } }", "{ from: bay.1, to: right_screen }"},
	{"connector-mismatch", "stream: { kind: encoder, ready: 1s, inputs: { 1: 3g-sdi bnc } }", "stream: { kind: encoder, ready: 1s, inputs: { 1: 3g-sdi mini-bnc } }", ""},
	{"raster-mismatch", "guest:\n    kind: remote\n    inputs: { 1: hdmi hdmi }\n    outputs: { 1: hdmi hdmi 1080p50 }\n  guest_box:\n    kind: converter\n    inputs: { 1: hdmi }",
		"guest:\n    kind: remote\n    inputs: { 1: hdmi hdmi }\n    outputs: { 1: hdmi hdmi 1080p50 }\n  guest_box:\n    kind: converter\n    inputs: { 1: hdmi 1080p25 }", "{ from: guest, to: guest_box.1 }"},
	// what carries what
	{"tie-unnamed", "{ from: router.1, to: mixer.4, tie: line1 }", "{ from: router.1, to: mixer.4 }", "{ from: router.1, to: mixer.4 }"},
	{"tie-misplaced", "{ from: mixer.1, to: stream }", "{ from: mixer.1, to: stream, tie: wrong }", "wrong"},
	{"tie-misplaced", "{ from: router.4, to: bay.1 }", "{ from: router.4, to: bay.1, tie: wrong_too }", "wrong_too"},
	{"output-shows-nothing", "5: { port: 3g-sdi bnc, shows: main preset }", "5: { port: 3g-sdi bnc }", "5"},
	{"unnamed-source", "  split: {", "  spare: { kind: camera, outputs: { 1-2: 3g-sdi bnc } }\n  split: {", "1-2"},
	{"unknown-pick", "takes: [inputs, main, effects]", "takes: [inputs, main, efects]", "efects"},
	{"unknown-pick", "shows: main clean", "shows: main dirty", "main dirty"},
	{"bank-takes-itself", "effects: { number: 2, takes: [inputs, black] }", "effects: { number: 2, takes: [inputs, black, effects] }", "effects"},
	{"hard-loop", "{ from: bay.1, to: right_screen }", "{ from: bay.1, to: right_screen }\n  - { from: bay.7, to: bay.8 }\n  - { from: bay.8, to: bay.7 }", "{ from: bay.7, to: bay.8 }"},
	{"unknown-source", "refuses: [multiview, bars, wide]", "refuses: [multiview, bars, slade]", "slade"},
	{"unknown-source", "after power cut: safe slides", "after power cut: safe slide", "safe slide"},
	{"unknown-word", "after power cut: restore", "after power cut: restart", "restart"},
	{"after-cut-unfit", "after power cut: safe slides", "after power cut: safe slides, protected: true", "safe slides"},
	{"unknown-device", "on air: while stream", "on air: while steam", "while steam"},
	{"destination-uncabled", "  - { from: mixer.3, to: left_screen }\n", "", "left_screen"},
	// control
	{"bad-address", "osc.udp://127.0.0.1:9201", "osc.udp://127.0.0.1", "osc.udp://127.0.0.1"},
	{"bad-address", "osc.tcp://127.0.0.1:9202", "ftp://127.0.0.1:9202", "ftp://127.0.0.1:9202"},
	{"bad-address", "osc.udp://127.0.0.1:9207", "osc.udp://127.0.0.1:92070", "osc.udp://127.0.0.1:92070"},
	{"secret-in-plan", "SMALL_DECK_LOGIN", "admin:1234", "admin:1234"},
	{"secret-in-plan", "http://127.0.0.1:9206", "http://me:pw@127.0.0.1:9206", "http://me:pw@127.0.0.1:9206"},
	{"no-control", "horn: { device: hall", "horn: { device: bay", "bay"},
	{"unknown-action", "recall: { osc: /shot", "recal: { osc: /shot", "recal"},
	{"bad-message", "play: { request: POST /play }", "play: { request: SHOUT /play }", "SHOUT /play"},
	{"bad-message", "pause: { request: POST /pause }", "pause: { osc: /pause }", "/pause"},
	{"bad-message", "text: stop }", "text: stop, json: {} }", "{}"},
	{"broken-address", "osc: /route,", "osc: route,", "route"},
	{"broken-address", `"/keyer/{keyer.number}"`, `"/keyer #{keyer.number}"`, "/keyer #{keyer.number}"},
	{"yaml-extra", "length: 8s, file: goal_1.mov", "length: 8s, file: &clip goal_1.mov", "&clip"},
	{"yaml-fault", "view_screen: { kind: display, inputs: { 1: 3g-sdi bnc } }", "view_screen: { kind: display, inputs: { 1: 3g-sdi bnc }", "view_screen: { kind: display, inputs: { 1: 3g-sdi bnc }"},
}

func small(t testing.TB) string {
	text, err := os.ReadFile("../../testdata/shows/small/rack.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// listing shows findings as people would want them in a failing test.
func listing(found diag.List) string {
	var b strings.Builder
	for _, d := range found {
		at := d.At.Begin()
		fmt.Fprintf(&b, "%d:%d %s: %s\n", at.Line, at.Column, d.Code, d.What)
		for _, m := range d.Mends {
			fmt.Fprintf(&b, "    %s\n", m.Do)
		}
	}
	return b.String()
}

func codes(found diag.List) []string {
	var all []string
	for _, d := range found {
		all = append(all, string(d.Code))
	}
	slices.Sort(all)
	return all
}

func TestEachFaultIsFoundWhereItIs(t *testing.T) {
	whole := small(t)
	for _, f := range faults {
		if strings.Count(whole, f.old) != 1 {
			t.Fatalf("%q does not stand once in the small rack", f.old)
		}
		rack, found := Read(source.New("rack.yaml", []byte(strings.Replace(whole, f.old, f.fresh, 1))))
		if len(found) != 1 || string(found[0].Code) != f.code || f.at != "" && found[0].At.Text() != f.at {
			t.Errorf("%q -> %q: want %s at %q, got\n%s", f.old, f.fresh, f.code, f.at, listing(found))
		}
		if rack == nil {
			t.Errorf("%q: no rack", f.fresh)
		}
	}
}

// A device of an unknown kind may be anything: what it is used for elsewhere
// in the plan is not held against it, and a show may name it as it likes.
func TestAnUnknownKindIsToldOnce(t *testing.T) {
	text := strings.Replace(small(t), "stream: { kind: encoder", "stream: { kind: encoderr", 1)
	rack, found := Read(source.New("rack.yaml", []byte(text)))
	if len(found) != 1 || found[0].Code != "unknown-word" || found[0].At.Text() != "encoderr" {
		t.Errorf("want one finding, got\n%s", listing(found))
	}
	if rack.Names["stream"] != nil || !rack.Partial {
		t.Error("nothing is known about what stream can do")
	}
}

func TestManyFaultsAreAllFound(t *testing.T) {
	whole := small(t)
	rapid.Check(t, func(t *rapid.T) {
		chosen := rapid.SliceOfNDistinct(rapid.IntRange(0, len(faults)-1), 1, 12, rapid.ID).Draw(t, "faults")
		slices.SortFunc(chosen, func(a, b int) int {
			return cmp.Compare(strings.Index(whole, faults[a].old), strings.Index(whole, faults[b].old))
		})
		text, end := "", 0
		var want []string
		for _, i := range chosen {
			f := faults[i]
			at := strings.Index(whole, f.old)
			if at < end {
				continue
			}
			text += whole[end:at] + f.fresh
			end = at + len(f.old)
			want = append(want, f.code)
		}
		slices.Sort(want)
		_, found := Read(source.New("rack.yaml", []byte(text+whole[end:])))
		if got := codes(found); !slices.Equal(got, want) {
			t.Fatalf("want %q, got\n%s", want, listing(found))
		}
	})
}
