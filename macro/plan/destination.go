package plan

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
)

// destination reads a destination. One that can be on air refuses multiviews
// and bars unless it says otherwise.
func (r *reader) destination(key, body *node) {
	e, named := r.name(key, noun.Destination)
	f, ok := r.fields(body, "a destination", "at", "on air", "refuses", "protected", "after power cut")
	if !ok {
		return
	}
	d := &Destination{Name: key.text, Index: len(r.rack.Destinations), At: key.at, RefusedBy: key.at,
		Refuses: map[*Source]bool{}, Protected: r.yes(f.get("protected"), "`protected`")}
	if n := f.get("on air"); n != nil {
		r.onAir(d, n)
	}
	refuses := f.get("refuses")
	if refuses != nil {
		d.RefusedBy = refuses.at
		r.refuses(d, refuses)
	} else if d.OnAir || d.While != nil {
		d.Refuses = r.usualRefusals()
	}
	n := f.need("at", "it is the input where the picture is seen")
	if n == nil {
		return
	}
	d.Input = r.end(n, false)
	if d.Input == nil || !named {
		return
	}
	e.Destination = d
	r.rack.Destinations = append(r.rack.Destinations, d)
	r.lit(d, n)
	if n := f.get("after power cut"); n != nil {
		r.afterCut(d, n)
	}
}

// onAir reads `always`, `never` or `while ENCODER`.
func (r *reader) onAir(d *Destination, n *node) {
	word, ok := r.words(n, "`on air`")
	if !ok {
		return
	}
	encoder, while := strings.CutPrefix(word, "while ")
	switch {
	case word == "always":
		d.OnAir = true
	case word == "never":
	case !while:
		r.unknownWord(n.at, word, "a time to be on air", []string{"always", "never", "while ENCODER"})
	default:
		encoder = strings.TrimSpace(encoder)
		if e := r.rack.Names[encoder]; e != nil && e.Kind.Has(noun.Encoder) {
			d.While = e.Device
			return
		}
		if r.rack.Lost[encoder] {
			return
		}
		bad := diag.New("unknown-device", n.at, "there is no encoder `%s`", encoder)
		names := r.named(noun.Encoder)
		if near := r.near(encoder, names); len(near) > 0 {
			names = near
		}
		for _, name := range names[:min(4, len(names))] {
			bad = bad.Replace(n.at, "while "+name, false, "write `while %s`", name)
		}
		r.lose(bad)
	}
}

// refuses reads names of sources and kinds of picture.
func (r *reader) refuses(d *Destination, n *node) {
	for _, item := range r.items(n, "what is refused") {
		word, ok := r.words(item, "what is refused")
		if !ok {
			continue
		}
		known := slices.Contains(pictureWords, word)
		if known {
			r.refuseKind(d, PictureKind(word))
		}
		if e := r.rack.Names[word]; e != nil && e.Source != nil {
			d.Refuses[e.Source] = true
			known = true
		}
		if known || r.rack.Lost[word] {
			continue
		}
		bad := diag.New("unknown-source", item.at, "`%s` is neither a source nor a kind of picture", word)
		for _, near := range r.near(word, append(r.named(noun.Source), pictureWords...)) {
			bad = bad.Replace(item.at, near, false, "write `%s`", near)
		}
		r.lose(bad)
	}
}

func (r *reader) refuseKind(d *Destination, kind PictureKind) {
	for _, s := range r.ofKind()[kind] {
		if r.total.refusals++; r.total.refusals > allPicks {
			r.tooMany(d.At, "refusals", allPicks, r.total.refusals-1 == allPicks)
			return
		}
		d.Refuses[s] = true
	}
}

// usualRefusals are the multiviews and the bars: one map for all.
func (r *reader) usualRefusals() map[*Source]bool {
	if r.usual == nil {
		d := &Destination{Refuses: map[*Source]bool{}}
		r.refuseKind(d, Multiview)
		r.refuseKind(d, Bars)
		r.usual = d.Refuses
	}
	return r.usual
}

// ofKind are the sources by kind; all of them are known when it is asked.
func (r *reader) ofKind() map[PictureKind][]*Source {
	if r.kinds == nil {
		r.kinds = map[PictureKind][]*Source{}
		for _, s := range r.rack.Sources {
			r.kinds[s.Picture] = append(r.kinds[s.Picture], s)
		}
	}
	return r.kinds
}

// lit reports a destination that nothing reaches, unless a cable that was not
// understood may be the missing one.
func (r *reader) lit(d *Destination, n *node) {
	in, seen := d.Input, map[*Port]bool{}
	for in.Cable != nil {
		out := in.Cable.From
		if seen[in] || out.Switch != nil || out.From == nil || out.From.Input == nil {
			return // it comes from somewhere, or from a circle, which is reported as such
		}
		seen[in] = true
		in = out.From.Input
	}
	if r.loose || r.ports[in] || r.unsure[in.Device] || r.broken[in.Device] {
		return
	}
	r.add(diag.New("destination-uncabled", n.at, "nothing reaches `%s`: no cable goes to %s", d.Name, in.label()).
		Mend("write `- { from: …, to: %s }` under `cables`", in.short()))
}
