package plan

import (
	"slices"

	"cuewright/macro/diag"
)

// sdi are the serial digital interfaces by rate (SMPTE ST 259, ST 292-1, ST
// 424, ST 2081-10, ST 2082-10). An input takes its own rate and lower ones:
// common practice, no published source.
var sdi = []string{"sd-sdi", "hd-sdi", "3g-sdi", "6g-sdi", "12g-sdi"}

// accepts says whether an input of one signal takes another. An unsaid signal
// fits all.
func accepts(input, output string) bool {
	if input == "" || output == "" || input == output {
		return true
	}
	in, out := slices.Index(sdi, input), slices.Index(sdi, output)
	return in >= 0 && out >= 0 && out <= in
}

// fits checks that what comes out of a cable's one end can go in at the other.
func (r *reader) fits(c *Cable) {
	if a, at := carried(c.From, func(p *Port) string { return p.Signal }); !accepts(c.To.Signal, a) {
		r.add(diag.New("signal-mismatch", c.At, "%s gives %s, and %s wants %s", c.From.label(), a, c.To.label(), c.To.Signal).
			With(at.At, a).With(c.To.At, c.To.Signal).
			Mend("put a converter from %s to %s between them", a, c.To.Signal))
		return // the connectors differ too then, and a converter mends both
	}
	if a, b := c.From.Connector, c.To.Connector; a != "" && b != "" && a != b {
		r.add(diag.New("connector-mismatch", c.At, "%s has %s, and %s has %s", c.From.label(), a, c.To.label(), b).
			With(c.From.At, a).With(c.To.At, b).
			Mend("put the adapter into the plan as a converter"))
	}
	a, at := carried(c.From, func(p *Port) string { return p.Raster })
	if b := c.To.Raster; a != "" && b != "" && a != b {
		r.add(diag.New("raster-mismatch", c.At, "%s gives %s, and %s wants %s", c.From.label(), a, c.To.label(), b).
			With(at.At, a).With(c.To.At, b).
			Mend("set both to one raster, or put a converter between them"))
	}
}

// carried is what an output gives, and the port that says so: the output, or
// the nearest port upstream that what passes through comes by. A converter
// may change it.
func carried(out *Port, what func(*Port) string) (string, *Port) {
	start := out
	for range maxHops {
		if word := what(out); word != "" {
			return word, out
		}
		if out.Device.Kind == Converter || out.Switch != nil || out.From == nil || out.From.Input == nil {
			break
		}
		in := out.From.Input
		if word := what(in); word != "" {
			return word, in
		}
		if in.Cable == nil {
			break
		}
		out = in.Cable.From
	}
	return "", start
}

// maxHops bounds the way upstream, which may go in a circle.
const maxHops = 64
