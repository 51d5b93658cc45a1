package plan

import (
	"strconv"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
)

// outputSource names the picture of outputs: `source: NAME`. Several outputs of a
// device may carry the same one, and it may have the device's own name.
func (in *inner) outputSource(made []*Port, n *node) {
	if word, ok := in.words(n, "the source's name"); !ok || word == "" {
		return
	}
	s := in.sources[n.text]
	switch {
	case s != nil:
	case n.text == in.d.Name:
		s = in.makes(in.entry, n.text, made[0])
	default:
		e, named := in.name(n, noun.Source)
		if !named {
			return
		}
		s = in.makes(e, n.text, made[0])
		s.At = n.at
	}
	for _, p := range made {
		p.From = &Feed{Source: s}
	}
}

// makes enters a source that a device makes at a port.
func (in *inner) makes(e *Entry, name string, p *Port) *Source {
	s := &Source{Name: name, Index: len(in.rack.Sources), Picture: Live, Device: in.d, Port: p, At: in.d.At}
	if in.d.Kind == Deck {
		s.Picture = Playback
	}
	e.Kind |= noun.Source
	e.Source = s
	p.Source = s
	p.From = &Feed{Source: s}
	in.sources[name] = s
	in.rack.Sources = append(in.rack.Sources, s)
	return s
}

// nameOutputs gives the one output of a camera, computer, remote or deck the
// device's name; when there are several the plan must name them.
func (in *inner) nameOutputs() {
	if len(in.nameless) == 1 && len(in.sources) == 0 {
		in.makes(in.entry, in.d.Name, in.nameless[0])
		return
	}
	for _, key := range in.unnamed {
		in.lost(in.d.Name)
		in.lose(diag.New("unnamed-source", key.at, "`%s` has several outputs, and the picture of output %s has no name", in.d.Name, key.text).
			Mend("write `{ port: …, source: %s }`, or another name for another picture", in.d.Name))
	}
}

// pass connects the outputs of converters, splitters and panels: by `passes`,
// else to the only input, else to the input of the same number.
func (in *inner) pass(n *node) {
	passes := map[int]*Port{}
	in.each(n, "the passes", func(key, body *node) {
		out := in.portNumbered(key, in.d.Output, "output")
		from := in.portNumbered(body, in.d.Input, "input")
		if out != nil {
			passes[out.Number] = from
		}
	})
	if in.d.Kind != Converter && in.d.Kind != Splitter && in.d.Kind != Panel {
		return
	}
	for _, out := range in.d.Outputs {
		if in.shown[out] {
			continue
		}
		from, said := passes[out.Number]
		switch {
		case said:
		case len(in.d.Inputs) == 1:
			from = in.d.Inputs[0]
		case in.d.Kind != Splitter:
			from = in.d.Input(out.Number)
		}
		if from != nil {
			out.From = &Feed{Input: from}
		} else if !said && !in.broken[in.d] {
			in.lose(diag.New("output-shows-nothing", out.At, "the plan does not say which input goes to %s", out.label()).
				Mend("write `passes: { %d: … }` with the number of the input", out.Number))
		}
	}
}

// portNumbered is the port that a number in `passes` means.
func (in *inner) portNumbered(n *node, find func(int) *Port, side string) *Port {
	number, err := strconv.Atoi(n.text)
	if p := find(number); err == nil && p != nil {
		return p
	}
	if !in.broken[in.d] {
		in.lose(diag.New("unknown-port", n.at, "`%s` has no %s `%s`", in.d.Name, side, n.text))
	}
	return nil
}
