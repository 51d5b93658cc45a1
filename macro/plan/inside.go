package plan

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/noun"
)

// inner is the reading of one device's inside: what it makes, mixes, and
// shows at its outputs.
type inner struct {
	*reader
	d        *Device
	entry    *Entry // of the device's name
	sources  map[string]*Source
	banks    map[string]*Bank
	inside   []string           // names of internal sources and banks, in order
	black    *Source            // the first internal black
	takes    []func()           // read when all that can be taken is known
	numbers  map[string]numbers // taken numbers, by sort of thing
	every    []*Pick            // a router's picks of all inputs, which its outputs share
	unnamed  []*node            // outputs that make a picture without a name
	nameless []*Port
	shown    map[*Port]bool // outputs with `shows`
}

// inside reads the internal sources, banks and outputs of a device.
func (r *reader) inside(d *Device, e *Entry, f fields) {
	in := &inner{reader: r, d: d, entry: e, sources: map[string]*Source{}, banks: map[string]*Bank{},
		shown: map[*Port]bool{}, numbers: map[string]numbers{"internal source": {}, "mix bank": {}, "aux bus": {}, "output": {}, "keyer": {}}}
	r.each(f.get("internal"), "the internal sources", in.internal)
	r.each(f.get("banks"), "the mix banks", in.bank)
	r.each(f.get("outputs"), "the outputs", in.output)
	in.nameOutputs()
	in.pass(f.get("passes"))
	for _, take := range in.takes {
		take()
	}
}

// internal reads a source that a mixer makes.
func (in *inner) internal(key, body *node) {
	e, named := in.name(key, noun.Source)
	f, ok := in.fields(body, "an internal source", "picture", "number")
	if !named || !ok {
		in.lost(key.text)
		return
	}
	s := &Source{Name: key.text, Index: len(in.rack.Sources), Device: in.d, At: key.at}
	if n := f.need("picture", "it is what kind of picture it is"); n != nil {
		word, _ := in.oneOf(n, "a kind of picture", pictureWords)
		s.Picture = PictureKind(word)
	}
	if n := f.need("number", "it is the number that messages call it by"); n != nil {
		s.Number = in.ownNumber("internal source", 0, n, f)
	}
	e.Source = s
	in.sources[s.Name] = s
	in.inside = append(in.inside, s.Name)
	in.rack.Sources = append(in.rack.Sources, s)
	if s.Picture == Black && in.black == nil {
		in.black = s
	}
}

var pictureWords = []string{string(Live), string(Playback), string(Still), string(Bars), string(Black), string(Multiview)}

// bank reads a mix bank; what it takes is read when all of the mixer is known.
func (in *inner) bank(key, body *node) {
	e, named := in.name(key, noun.Bank|noun.Source)
	f, ok := in.fields(body, "a mix bank", "number", "takes", "keyers")
	b := &Bank{Name: key.text, Index: len(in.rack.Banks), Number: len(in.banks) + 1, Mixer: in.d, At: key.at}
	if named {
		e.Bank = b
		in.banks[b.Name] = b
		in.inside = append(in.inside, b.Name)
		in.rack.Banks = append(in.rack.Banks, b)
	}
	if !ok {
		return
	}
	b.Number = in.ownNumber("mix bank", b.Number, key, f)
	in.each(f.get("keyers"), "the keyers", func(k, n *node) { in.keyer(b, k, n) })
	in.takes = append(in.takes, func() {
		b.Picks = in.picksOf(f.get("takes"), b)
		b.Black = in.black
	})
}

func (in *inner) keyer(b *Bank, key, body *node) {
	e, named := in.name(key, noun.Keyer)
	f, ok := in.fields(body, "a keyer", "number", "fill")
	if !named || !ok {
		return
	}
	k := &Keyer{Name: key.text, Bank: b, At: key.at}
	k.Number = in.ownNumber("keyer", len(in.numbers["keyer"])+1, key, f)
	e.Keyer = k
	b.Keyers = append(b.Keyers, k)
	in.rack.Keyers = append(in.rack.Keyers, k)
	if n := f.need("fill", "it is the picture that the keyer lays over its bank"); n != nil {
		in.fills = append(in.fills, func() { in.fill(k, n) })
	}
}

// fill reads a keyer's fill: something inside the mixer, or a source or tie
// line by the input that it reaches. It is read after naming.
func (in *inner) fill(k *Keyer, n *node) {
	word, ok := in.words(n, "the fill")
	if !ok {
		return
	}
	for _, input := range in.d.Inputs {
		if slices.Contains(in.namesOf(input), word) {
			k.Fill = &Pick{Index: -1, Number: input.Number, Feed: Feed{Input: input}, Names: in.namesOf(input), Label: word}
			return
		}
	}
	feeds := in.feeds(word)
	switch {
	case len(feeds) != 1:
		known := in.takeable()
		for _, input := range in.d.Inputs {
			known = append(known, in.namesOf(input)...)
		}
		in.unknownPick(n, word, known)
	case feeds[0].Feed.Bank == k.Bank:
		in.lose(diag.New("bank-takes-itself", n.at, "`%s` would lay `%s` over itself", k.Name, word))
	default:
		k.Fill = feeds[0]
		k.Fill.Index = -1
		in.label(k.Fill)
	}
}

// picksOf reads a `takes` list; nothing written means every input.
func (in *inner) picksOf(n *node, self *Bank) []*Pick {
	if n == nil {
		return in.placed(in.feeds("inputs"))
	}
	var picks []*Pick
	taken := map[Feed]bool{}
	for _, item := range in.items(n, "what is taken") {
		word, ok := in.words(item, "what is taken")
		if !ok {
			continue
		}
		feeds := in.feeds(word)
		if len(feeds) == 0 && word != "inputs" && in.total.picks <= allPicks {
			in.unknownPick(item, word, in.takeable())
		}
		for _, p := range feeds {
			if self != nil && p.Feed.Bank == self {
				in.lose(diag.New("bank-takes-itself", item.at, "`%s` takes its own output", self.Name).
					Mend("delete `%s` here, or take another mix bank", word))
				continue
			}
			if !taken[p.Feed] {
				taken[p.Feed] = true
				picks = append(picks, p)
			}
		}
	}
	return in.placed(picks)
}

// placed gives picks their places, and keeps those of inputs for naming.
func (in *inner) placed(picks []*Pick) []*Pick {
	for i, p := range picks {
		p.Index = i
	}
	in.picks = append(in.picks, picks...)
	return picks
}

// feeds are the picks that a word stands for: `inputs`, `input 3`, `inputs
// 1-4`, an internal source or a mix bank. None: it stands for nothing.
func (in *inner) feeds(word string) []*Pick {
	if s := in.sources[word]; s != nil && s.Port == nil {
		return []*Pick{{Number: s.Number, Feed: Feed{Source: s}}}
	}
	if b := in.banks[word]; b != nil {
		return []*Pick{{Number: b.Number, Feed: Feed{Bank: b}}}
	}
	low, high := 1, maxPorts
	if what, rest, ranged := strings.Cut(word, " "); ranged && (what == "input" || what == "inputs") {
		from, to, two := strings.Cut(rest, "-")
		if !two {
			to = from
		}
		var bad, worse error
		low, bad = strconv.Atoi(strings.TrimSpace(from))
		high, worse = strconv.Atoi(strings.TrimSpace(to))
		if bad != nil || worse != nil || low > high {
			return nil
		}
	} else if word != "inputs" {
		return nil
	}
	if in.total.picks += len(in.d.Inputs); in.total.picks > allPicks {
		in.tooMany(in.d.At, "crosspoints", allPicks, in.total.picks-len(in.d.Inputs) <= allPicks)
		return nil
	}
	var picks []*Pick
	for _, p := range in.d.Inputs {
		if p.Number >= low && p.Number <= high {
			picks = append(picks, &Pick{Number: p.Number, Feed: Feed{Input: p}})
		}
	}
	return picks
}

// takeable are the words that feeds knows, for suggestions.
func (in *inner) takeable() []string {
	return append([]string{"inputs"}, in.inside...)
}

func (in *inner) unknownPick(n *node, word string, known []string) {
	name, _, _ := strings.Cut(word, " ")
	if in.rack.Partial = true; in.broken[in.d] || in.rack.Lost[name] {
		return
	}
	d := diag.New("unknown-pick", n.at, "`%s` has no `%s` inside", in.d.Name, word)
	near := in.near(word, known)
	for _, name := range near {
		d = d.Replace(n.at, name, false, "write `%s`", name)
	}
	if len(near) == 0 {
		d = d.Mend("write `input` and a number, or one of %s", nearest.Quote(known[:min(len(known), 8)]))
	}
	in.lose(d)
}

// output reads an output, or a range of them.
func (in *inner) output(key, body *node) {
	made := in.makePorts(in.d, key, true)
	f := fields{r: in.reader}
	words := body
	if body.shape == isMapping {
		f, _ = in.fields(body, "an output of a "+string(in.d.Kind), outputKeys(in.d.Kind)...)
		words = f.get("port")
	}
	for i, p := range made {
		if i == 0 {
			in.portWords(p, words)
		} else {
			p.Signal, p.Connector, p.Raster = made[0].Signal, made[0].Connector, made[0].Raster
		}
	}
	if len(made) == 0 {
		return
	}
	switch {
	case f.get("shows") != nil:
		for _, p := range made {
			in.shown[p] = true
		}
		in.takes = append(in.takes, func() { in.shows(made, f.get("shows")) })
	case f.get("source") != nil:
		in.outputSource(made, f.get("source"))
	case f.get("aux") != nil:
		in.aux(made, f)
	case in.d.Kind == Router:
		in.crosspoints(key, made, f)
	case makesPictures(in.d.Kind):
		in.unnamed = append(in.unnamed, key)
		in.nameless = append(in.nameless, made...)
	case in.d.Kind != Converter && in.d.Kind != Splitter && in.d.Kind != Panel:
		in.lose(diag.New("output-shows-nothing", key.at, "the plan does not say what output %s of `%s` shows", key.text, in.d.Name).
			Mend("write `{ port: …, shows: … }`"))
	}
}

// outputKeys are the keys of an output written in braces.
func outputKeys(kind DeviceKind) []string {
	switch {
	case kind == Mixer:
		return []string{"port", "shows", "aux", "number", "takes"}
	case kind == Router:
		return []string{"port", "shows", "number", "takes"}
	case makesPictures(kind), kind == Machine:
		return []string{"port", "shows", "source"}
	}
	return []string{"port", "shows"}
}

// makesPictures says that a device is a source by its own name.
func makesPictures(kind DeviceKind) bool {
	return kind == Camera || kind == Computer || kind == Remote || kind == Deck
}

// shows reads what a hard-patched output shows: `main`, `main clean`, `main
// preset`, an internal source, or `input 3`, a loop-through.
func (in *inner) shows(made []*Port, n *node) {
	word, ok := in.words(n, "what the output shows")
	if !ok {
		return
	}
	name, part, _ := strings.Cut(word, " ")
	var feed *Feed
	if b := in.banks[name]; b != nil && (part == "clean" || part == "preset") {
		feed = &Feed{Bank: b, Clean: part == "clean", Preset: part == "preset"}
	} else if feeds := in.feeds(word); len(feeds) == 1 && word != "inputs" {
		feed = &feeds[0].Feed
	} else {
		known := in.takeable()[1:]
		for _, name := range in.inside {
			if in.banks[name] != nil {
				known = append(known, name+" clean", name+" preset")
			}
		}
		for _, p := range in.d.Inputs[:min(4, len(in.d.Inputs))] {
			known = append(known, fmt.Sprintf("input %d", p.Number))
		}
		in.unknownPick(n, word, known)
	}
	for _, p := range made {
		p.From = feed
	}
}

// aux reads an aux bus.
func (in *inner) aux(made []*Port, f fields) {
	key := f.get("aux")
	if !in.fresh(key) {
		return
	}
	if len(made) > 1 {
		in.lose(diag.New("name-twice", key.at, "`%s` would be the name of %d aux buses", key.text, len(made)).
			Mend("write each output on a line of its own"))
		return
	}
	s := in.newSwitch(made[0], key.text)
	s.At = key.at
	s.Number = in.ownNumber("aux bus", s.Number, key, f)
	in.takes = append(in.takes, func() { s.Picks = in.picksOf(f.get("takes"), nil) })
}

// crosspoints makes switches of a router's outputs. Outputs that take every
// input share their picks.
func (in *inner) crosspoints(key *node, made []*Port, f fields) {
	if n := f.get("number"); n != nil && len(made) > 1 {
		in.lose(diag.New("number-twice", n.at, "%d outputs would have the number `%s`", len(made), n.text).
			Mend("write each output on a line of its own"))
		delete(f.items, "number")
	}
	for _, p := range made {
		s := in.newSwitch(p, p.short())
		s.Number = in.ownNumber("output", s.Number, key, f)
	}
	in.takes = append(in.takes, func() {
		var picks []*Pick
		switch n := f.get("takes"); {
		case n != nil:
			picks = in.picksOf(n, nil)
		case in.every != nil:
			picks = in.every
		default:
			in.every = in.picksOf(nil, nil)
			picks = in.every
		}
		for _, p := range made {
			p.Switch.Picks = picks
		}
	})
}

func (in *inner) newSwitch(p *Port, name string) *Switch {
	p.Switch = &Switch{Name: name, Number: p.Number, Output: p, At: p.At}
	return p.Switch
}

// ownNumber is the number that a thing of some sort has in messages, which no
// other of its sort and device may have: what the plan says, or otherwise.
func (in *inner) ownNumber(sort string, otherwise int, key *node, f fields) int {
	n, number, ok := f.get("number"), otherwise, true
	if n != nil {
		key = n
		number, ok = in.number(n, "the number", 0, maxNumber)
	}
	if ok {
		in.numbers[sort].take(in.reader, number, key.at, sort)
	}
	return number
}
