package plan

import (
	"fmt"
	"strings"
	"testing"

	"cuewright/macro/source"
)

// Smaller mistakes, on a plan of their own: the codes that each has, in the
// order of the alphabet.
func TestCorners(t *testing.T) {
	const hall = "  hall: { kind: machine }\n"
	const control = hall + "control:\n  hall:\n    to: %s\n"
	osc, http := fmt.Sprintf(control, "osc.udp://h:1"), fmt.Sprintf(control, "http://h")
	for _, c := range []struct{ about, plan, want string }{
		// devices
		{"an empty device", "  hall:\n", "missing-key"},
		{"a device that is a word", "  hall: machine\n", "wrong-shape"},
		{"devices as a list", "  - hall\n", "wrong-shape"},
		{"a shot without a number", "  cam: { kind: camera, shots: { wide: 1 } }\n", "bad-number"},
		{"a clip that is a word", "  deck: { kind: deck, clips: { opener: 24s } }\n", "wrong-shape"},
		{"a robot that may be", "  cam: { kind: camera, robotic: maybe }\n", "unknown-word"},
		{"one source under two names of outputs", "  cam: { kind: camera, outputs: { 1: { source: a }, 2: { source: a } } }\n", ""},
		{"a source with a bad name", "  cam: { kind: camera, outputs: { 1: { source: A } } }\n", "bad-name"},
		{"passes to no port", "  box: { kind: converter, inputs: { 1-2: }, outputs: { 1-2: }, passes: { 1: 3, 4: 1 } }\n", "unknown-port unknown-port"},
		{"a splitter with two inputs", "  box: { kind: splitter, inputs: { 1-2: }, outputs: { 1-2: }, passes: { 1: 1, 2: 1 } }\n", ""},
		{"a splitter that does not say", "  box: { kind: splitter, inputs: { 1-2: }, outputs: { 1: } }\n", "output-shows-nothing"},
		{"a range of aux buses", "  m: { kind: mixer, outputs: { 1-2: { aux: a } } }\n", "name-twice"},
		{"a range of one number", "  r: { kind: router, outputs: { 1-2: { number: 3 } } }\n", "number-twice"},
		{"router outputs of one number", "  r: { kind: router, outputs: { 1: { number: 2 }, 2: } }\n", "number-twice"},
		{"two banks without good numbers", "  m: { kind: mixer, banks: { a: { number: x }, b: { number: y } } }\n", "bad-number bad-number"},
		{"what is taken is no list", "  m: { kind: mixer, banks: { a: { takes: inputs } } }\n", "wrong-shape"},
		{"a range of inputs that runs backwards", "  m: { kind: mixer, inputs: { 1-4: }, banks: { a: { takes: [inputs 4-1] } } }\n", "unknown-pick"},
		{"two connectors", "  m: { kind: machine, inputs: { 1: bnc sfp } }\n", "unknown-word"},
		{"displayport over usb-c", "  m: { kind: machine, inputs: { 1: usb-c displayport } }\n", ""},
		{"hdmi three times", "  m: { kind: machine, inputs: { 1: hdmi hdmi hdmi } }\n", "unknown-word"},
		{"a port of a list", "  m: { kind: machine, inputs: { 1: [bnc] } }\n", "wrong-shape"},
		// cables
		{"a cable that is a word", hall + "cables: [hall]\n", "wrong-shape"},
		{"a cable to a list", hall + "cables: [{ from: [hall], to: hall }]\n", "unknown-port wrong-shape"},
		{"a tie line with a bad name", "  r: { kind: router, inputs: { 1: }, outputs: { 1: } }\n  s: { kind: router, inputs: { 1: } }\ncables: [{ from: r, to: s, tie: Line }]\n", "bad-name"},
		{"a tie line from an output of a mistake", "  r: { kind: mixer, inputs: { 1: }, outputs: { 1: { aux: Aux } } }\n  s: { kind: router, inputs: { 1: } }\ncables: [{ from: r, to: s, tie: line }]\n", "bad-name"},
		// control
		{"login and token", http + "    login: A\n    token: B\n", "bad-message"},
		{"a login for OSC", osc + "    login: A\n", "bad-message"},
		{"no address", hall + "control: { hall: { deadline: 1s } }\n", "missing-key"},
		{"actions of a machine", osc + "    does: { play: { osc: /play } }\n", "unknown-action"},
		{"heard without a place", http + "    hears: [{ request: GET /a, sets: hall.state }]\n", ""},
		{"heard at a bad pointer", http + "    hears: [{ request: GET /a, at: /a~2, sets: hall.state }]\n", "bad-message"},
		{"heard of nothing", osc + "    hears: [{ osc: /a }]\n", "missing-key"},
		{"heard at an argument beyond", osc + "    hears: [{ osc: /a, arg: 300, sets: hall.state }]\n", "bad-number"},
		{"heard now and then", osc + "    hears: [{ osc: /a, every: 1s, sets: hall.state }]\n", "bad-message"},
		// messages
		{"a message of nothing", osc + "messages: { horn: { device: hall } }\n", "missing-key"},
		{"a message of both", osc + "messages: { horn: { device: hall, osc: /a, request: GET /a } }\n", "bad-message"},
		{"a request without a path", http + "messages: { horn: { device: hall, request: GET } }\n", "bad-message"},
		{"a request in small letters", http + "messages: { horn: { device: hall, request: get /a } }\n", "bad-message"},
		{"an argument of no type", osc + "messages: { horn: { device: hall, osc: /a, args: [{ z: 1 }] } }\n", "unknown-word"},
		{"an argument of two types", osc + "messages: { horn: { device: hall, osc: /a, args: [{ i: 1, f: 2 }] } }\n", "wrong-shape"},
		{"arguments that are a word", osc + "messages: { horn: { device: hall, osc: /a, args: 1 } }\n", "wrong-shape"},
		{"a brace in quotes", osc + "messages: { horn: { device: hall, osc: \"/a/{'}' + x}/b\" } }\n", ""},
		{"a blank behind a brace in quotes", osc + "messages: { horn: { device: hall, osc: \"/a/{'}' + x}/b c\" } }\n", "broken-address"},
		{"a value with a bad name", osc + "messages: { horn: { device: hall, osc: /a, takes: { X: text } } }\n", "bad-name"},
		{"a header of a list", http + "messages: { horn: { device: hall, request: GET /a, headers: { X: [1] } } }\n", "wrong-shape"},
		// destinations
		{"on air now and then", "  tv: { kind: display, inputs: { 1: } }\n  cam: { kind: camera, outputs: { 1: } }\ncables: [{ from: cam, to: tv }]\ndestinations: { hall: { at: tv, on air: [always] } }\n", "wrong-shape"},
		{"refusing a word", "  tv: { kind: display, inputs: { 1: } }\n  cam: { kind: camera, outputs: { 1: } }\ncables: [{ from: cam, to: tv }]\ndestinations: { hall: { at: tv, refuses: cam } }\n", "wrong-shape"},
	} {
		_, found := Read(source.New("rack.yaml", []byte(bare+c.plan)))
		if got := strings.Join(codes(found), " "); got != c.want {
			t.Errorf("%s: want %q, got %q\n%s", c.about, c.want, got, listing(found))
		}
	}
}

// A body keeps its types: what is plain is a value, what is in quotes a text.
func TestJSONKeepsItsTypes(t *testing.T) {
	rack := read(t, bare+"  hall: { kind: machine }\ncontrol: { hall: { to: http://h } }\nmessages:\n"+
		`  m: { device: hall, request: PUT /, json: { a: 1, b: "1", c: true, d: True, e: ~, f: yes, g: 0x10, h: [1.5, x], i: "{level}", j: -1e3, k: .inf } }`+"\n")
	var show func(j *JSON) string
	show = func(j *JSON) string {
		var parts []string
		switch j.Kind {
		case 'v':
			return j.Raw
		case 's':
			return "'" + j.Words.Text + "'"
		}
		for i, v := range j.Values {
			if j.Kind == 'o' {
				parts = append(parts, j.Keys[i]+":"+show(v))
			} else {
				parts = append(parts, show(v))
			}
		}
		return string(j.Kind) + "(" + strings.Join(parts, " ") + ")"
	}
	want := "o(a:1 b:'1' c:true d:true e:null f:'yes' g:'0x10' h:a(1.5 'x') i:'{level}' j:-1e3 k:'.inf')"
	if got := show(rack.Messages[0].Template.JSON); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}

// A plan full of mistakes takes no longer for guessing at spellings.
func TestGuessesEnd(t *testing.T) {
	var b strings.Builder
	for i := range 5000 {
		fmt.Fprintf(&b, "  - { from: camera%d, to: screen%d }\n", i, i)
	}
	_, found := Read(source.New("rack.yaml", []byte(bare+"  camera: { kind: machine }\ncables:\n"+b.String())))
	guessed := 0
	for _, d := range found {
		guessed += len(d.Mends)
	}
	if len(found) != 10000 || guessed == 0 || guessed > maxGuesses {
		t.Errorf("%d findings, %d guesses", len(found), guessed)
	}
}
