package simtest

import "strings"

// rig is a rack and what a show can do with it. A show uses a few of its
// things, so that all that can happen stays countable.
type rig struct {
	rack    string
	picks   map[string][]string // by bank
	keyer   string
	places  []string            // destinations
	brings  map[string][]string // by destination or tie line: what a route can bring
	sources []string            // for shows(…) and on_air
	deck    bool
}

const machines = `
  iso: { kind: recorder, ready: 300ms, inputs: { 1: 3g-sdi } }
  stream: { kind: encoder, ready: 1s, inputs: { 1: 3g-sdi } }
  hall_screen: { kind: display, inputs: { 1: 3g-sdi } }
  side_screen: { kind: display, inputs: { 1: 3g-sdi } }
  deck: { kind: deck, ready: 400ms, clips: { opener: { length: 8s }, loop: {} }, outputs: { 1: 3g-sdi } }
  near: { kind: camera, outputs: { 1: 3g-sdi } }
  arm: { kind: camera, robotic: true, shots: { 1: whole, 2: line }, outputs: { 1: 3g-sdi } }
  slides: { kind: computer, outputs: { 1: 3g-sdi } }
  strip: { kind: power, outlets: { fan: 1 } }
  lights: { kind: machine }
`

const lights = `
control:
  lights: { to: "osc.udp://127.0.0.1:9301" }
messages:
  dim: { device: lights, osc: /dim }
`

// MixerRack is the plan of a mixer with two banks, a deck, a recorder and an encoder.
func MixerRack() string { return mixing.rack }

// mixing is a mixer with two banks, one behind the other, a keyer, and buses.
var mixing = rig{
	rack: `rack: Mixer
rate: 50
devices:` + machines + `
  mixer:
    kind: mixer
    inputs: { 1-3: 3g-sdi }
    internal: { black: { picture: black, number: 100 }, card: { picture: still, number: 101 } }
    banks:
      main: { number: 1, takes: [inputs, card, under], keyers: { logo: { number: 1, fill: card } } }
      under: { number: 2, takes: [inputs, black] }
    outputs:
      1: { port: 3g-sdi, shows: main }
      2: { port: 3g-sdi, aux: bus, number: 1, takes: [inputs, main, under] }
      3: { port: 3g-sdi, aux: second_bus, number: 2, takes: [main, card] }
      4: { port: 3g-sdi, shows: main clean }
cables:
  - { from: near, to: mixer.1 }
  - { from: arm, to: mixer.2 }
  - { from: deck, to: mixer.3 }
  - { from: mixer.1, to: stream }
  - { from: mixer.2, to: hall_screen }
  - { from: mixer.3, to: side_screen }
  - { from: mixer.4, to: iso }
destinations:
  hall: { at: hall_screen, on air: always }
  side: { at: side_screen }
  web: { at: stream, on air: while stream }
surfaces:
  desk: { rows: 3, columns: 6, by: osc }
` + lights,
	picks:   map[string][]string{"main": {"near", "arm", "deck", "card", "under"}, "under": {"near", "arm", "deck", "black"}},
	keyer:   "logo",
	places:  []string{"hall", "side"},
	brings:  map[string][]string{"hall": {"near", "arm", "main", "under"}, "side": {"main", "card"}},
	sources: []string{"near", "arm", "deck", "card", "black"},
	deck:    true,
}

// circle is a mixer whose banks take each other: a picture can come round.
var circle = func() rig {
	r := mixing
	r.rack = strings.Replace(r.rack, "under: { number: 2, takes: [inputs, black] }", "under: { number: 2, takes: [inputs, main] }", 1)
	r.picks = map[string][]string{"main": {"near", "deck", "card", "under"}, "under": {"near", "arm", "main"}}
	r.sources = []string{"near", "arm", "deck", "card"}
	return r
}()

// routing is a router before a mixer, with two tie lines between them and one
// back, and destinations on both.
var routing = rig{
	rack: `rack: Router
rate: 50
devices:` + machines + `
  mixer:
    kind: mixer
    inputs: { 1-3: 3g-sdi }
    internal: { black: { picture: black, number: 100 }, card: { picture: still, number: 101 } }
    banks:
      main: { number: 1, takes: [inputs, black], keyers: { logo: { number: 1, fill: card } } }
    outputs:
      1: { port: 3g-sdi, shows: main }
      2: { port: 3g-sdi, aux: bus, number: 1, takes: [inputs, main] }
      3: { port: 3g-sdi, aux: back_bus, number: 2, takes: [main, card] }
  router: { kind: router, inputs: { 1-4: 3g-sdi }, outputs: { 1-4: 3g-sdi } }
cables:
  - { from: near, to: mixer.1 }
  - { from: arm, to: router.1 }
  - { from: slides, to: router.2 }
  - { from: deck, to: router.3 }
  - { from: router.1, to: mixer.2, tie: line1 }
  - { from: router.2, to: mixer.3, tie: line2 }
  - { from: mixer.3, to: router.4, tie: line3 }
  - { from: mixer.1, to: stream }
  - { from: mixer.2, to: hall_screen }
  - { from: router.3, to: side_screen }
  - { from: router.4, to: iso }
destinations:
  hall: { at: hall_screen, on air: always }
  side: { at: side_screen }
  web: { at: stream, on air: while stream }
surfaces:
  desk: { rows: 3, columns: 6, by: osc }
` + lights,
	picks:  map[string][]string{"main": {"near", "line1", "line2", "black"}},
	keyer:  "logo",
	places: []string{"hall", "side"},
	brings: map[string][]string{"hall": {"near", "arm", "slides", "deck", "main"}, "side": {"arm", "slides", "main", "card"},
		"line1": {"arm", "slides"}, "line2": {"slides", "deck"}},
	sources: []string{"near", "arm", "slides", "deck", "card"},
	deck:    true,
}

// chain is two routers one behind the other, with two tie lines and a
// converter between them: ways of two lengths.
var chain = rig{
	rack: `rack: Routers
rate: 50
devices:` + machines + `
  box: { kind: converter, inputs: { 1: 3g-sdi }, outputs: { 1: 3g-sdi } }
  first: { kind: router, inputs: { 1-4: 3g-sdi }, outputs: { 1-4: 3g-sdi } }
  second: { kind: router, inputs: { 1-3: 3g-sdi }, outputs: { 1-3: 3g-sdi } }
cables:
  - { from: near, to: first.1 }
  - { from: arm, to: first.2 }
  - { from: slides, to: first.3 }
  - { from: deck, to: second.1 }
  - { from: first.1, to: second.2, tie: line1 }
  - { from: first.2, to: box, tie: line2 }
  - { from: box, to: second.3 }
  - { from: second.3, to: first.4, tie: line3 }
  - { from: second.1, to: hall_screen }
  - { from: second.2, to: side_screen }
  - { from: first.3, to: stream }
  - { from: first.4, to: iso }
destinations:
  hall: { at: hall_screen, on air: always }
  side: { at: side_screen }
  web: { at: stream, on air: while stream }
surfaces:
  desk: { rows: 3, columns: 6, by: osc }
` + lights,
	places: []string{"hall", "side", "web"},
	brings: map[string][]string{"hall": {"near", "arm", "slides", "deck"}, "side": {"near", "arm", "deck"}, "web": {"near", "deck"},
		"line1": {"near", "slides"}, "line2": {"arm", "slides"}},
	sources: []string{"near", "arm", "slides", "deck"},
	deck:    true,
}

var rigs = []rig{mixing, circle, routing, chain}
