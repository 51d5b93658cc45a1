package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/source"
)

// Bounds of ports and crosspoints, well beyond any rack on wheels; they keep
// a small file from filling the memory.
const (
	maxPorts = 1024    // of one device, each way
	allPorts = 1 << 14 // of a plan
	allPicks = 1 << 20 // of a plan
)

// inputs reads the inputs of a device: `{ 1-6: 3g-sdi bnc }`.
func (r *reader) inputs(d *Device, n *node) {
	r.each(n, "the inputs", func(key, body *node) {
		for _, p := range r.makePorts(d, key, false) {
			r.portWords(p, body)
		}
	})
}

// makePorts makes the ports of a number or a range, and keeps the device's list
// in order.
func (r *reader) makePorts(d *Device, key *node, output bool) []*Port {
	low, high, ok := r.rangeOf(d, key)
	if !ok {
		r.broken[d] = true
		return nil
	}
	side, list := "input", &d.Inputs
	if output {
		side, list = "output", &d.Outputs
	}
	var made []*Port
	for number := low; number <= high; number++ {
		if old := numberedPort(*list, number); old != nil {
			r.lose(diag.New("bad-ports", key.at, "%s %d of `%s` is written twice", side, number, d.Name).With(old.At, "the first time"))
			continue
		}
		if r.total.ports++; r.total.ports > allPorts {
			r.tooMany(key.at, "ports", allPorts, r.total.ports-1 == allPorts)
			return made
		}
		p := &Port{Device: d, Number: number, Output: output, At: key.at}
		at, _ := slices.BinarySearchFunc(*list, number, func(p *Port, n int) int { return p.Number - n })
		*list = slices.Insert(*list, at, p)
		made = append(made, p)
	}
	return made
}

// tooMany reports once that the plan as a whole has too many of something.
func (r *reader) tooMany(at source.Span, what string, most int, first bool) {
	if first {
		r.lose(diag.New("plan-too-large", at, "with these the plan has more than %d %s", most, what))
	}
}

// rangeOf reads `3` or `1-6`.
func (r *reader) rangeOf(d *Device, key *node) (low, high int, ok bool) {
	if key.shape != isText {
		r.lose(diag.New("wrong-shape", headOf(key.at), "a port is a number, as `3`, or a range, as `1-6`"))
		return 0, 0, false
	}
	from, to, isRange := strings.Cut(key.text, "-")
	if !isRange {
		to = from
	}
	low, bad := strconv.Atoi(strings.TrimSpace(from))
	high, worse := strconv.Atoi(strings.TrimSpace(to))
	bd := diag.New("bad-ports", key.at, "`%s` is not a port of `%s`", key.text, d.Name)
	switch {
	case bad != nil || worse != nil:
		bd = bd.Mend("write a number, as `3`, or a range, as `1-6`")
	case low < 1:
		bd = diag.New("bad-ports", key.at, "ports are counted from 1, and this is `%s`", key.text)
	case high < low:
		bd = diag.New("bad-ports", key.at, "the range `%s` runs backwards", key.text).
			Replace(key.at, fmt.Sprintf("%d-%d", high, low), false, "write `%d-%d`", high, low)
	case high > maxPorts:
		bd = diag.New("bad-ports", key.at, "`%s` goes beyond %d, the most ports that a device can have here", key.text, maxPorts)
	default:
		return low, high, true
	}
	r.lose(bd)
	return 0, 0, false
}

// The words of a port. hdmi and displayport are signals and connectors; the
// one that the other words leave open is meant, the signal first.
var (
	signals    = []string{"sd-sdi", "hd-sdi", "3g-sdi", "6g-sdi", "12g-sdi", "hdmi", "displayport", "ip"}
	connectors = []string{"bnc", "mini-bnc", "hdmi", "displayport", "usb-c", "rj45", "sfp"}
)

// portWords reads what a port is: `3g-sdi bnc 1080p50`, words in any order.
func (r *reader) portWords(p *Port, n *node) {
	if n == nil || n.empty() {
		return
	}
	text, ok := r.words(n, "what a port is")
	if !ok {
		return
	}
	at := int(n.inside().Start)
	type word struct {
		text string
		at   source.Span
	}
	var either []word
	for rest := text; rest != ""; {
		w, tail, _ := strings.Cut(rest, " ")
		here := word{w, r.src.At(at, min(at+len(w), len(r.src.Bytes)))}
		if n.inside().Text() != text {
			here.at = n.at
		}
		at, rest = at+len(w)+1, tail
		isSignal, isConnector := slices.Contains(signals, w), slices.Contains(connectors, w)
		switch {
		case w == "":
		case isSignal && isConnector:
			either = append(either, here)
		case isSignal:
			r.oncePerPort(&p.Signal, here.text, here.at, "signal")
		case isConnector:
			r.oncePerPort(&p.Connector, here.text, here.at, "connector")
		case isRaster(w):
			r.oncePerPort(&p.Raster, here.text, here.at, "raster")
		default:
			known := append(slices.Clone(signals), connectors...)
			if near := nearest.Names(w, known); len(near) > 0 {
				r.unknownWord(here.at, w, "a signal, a connector or a raster", known)
			} else {
				r.unknownWord(here.at, w, "a signal, a connector or a raster", []string{"3g-sdi", "bnc", "1080p50"})
			}
		}
	}
	for _, w := range either {
		if p.Signal == "" {
			p.Signal = w.text
		} else {
			r.oncePerPort(&p.Connector, w.text, w.at, "connector")
		}
	}
}

func (r *reader) oncePerPort(field *string, word string, at source.Span, what string) {
	if *field != "" {
		r.lose(diag.New("unknown-word", at, "`%s` is a second %s for this port, beside `%s`", word, what, *field).
			Mend("delete one of the two"))
		return
	}
	*field = word
}

// isRaster says that a word is lines, i or p, and a rate: 1080p50, 720p59.94.
func isRaster(word string) bool {
	at := strings.IndexAny(word, "ip")
	return at > 0 &&
		slices.Contains([]string{"480", "486", "525", "576", "625", "720", "1080", "2160", "4320"}, word[:at]) &&
		slices.Contains([]string{"23.98", "24", "25", "29.97", "30", "50", "59.94", "60", "100", "119.88", "120"}, word[at+1:])
}

// label is a port in words: "input 3 of `mixer`".
func (p *Port) label() string {
	side := "input"
	if p.Output {
		side = "output"
	}
	return fmt.Sprintf("%s %d of `%s`", side, p.Number, p.Device.Name)
}

// short is a port as a cable names it: "mixer.3".
func (p *Port) short() string { return fmt.Sprintf("%s.%d", p.Device.Name, p.Number) }
