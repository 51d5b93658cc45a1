package plan

import (
	"slices"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
)

// afterCut reads `leave`, `restore` or `safe PICTURE`, and checks that it can
// be done. All picks have their names.
func (r *reader) afterCut(d *Destination, n *node) {
	word, ok := r.words(n, "`after power cut`")
	if !ok {
		return
	}
	picture, safe := strings.CutPrefix(word, "safe ")
	switch {
	case word == "leave":
	case word == "restore":
		d.AfterCut = Restore
		if sw, bank := r.busOf(d); sw == nil && bank == nil && !r.unclear(d) {
			r.unfit(d, n, "nothing before `%s` can be switched, so there is nothing to restore", d.Name)
		}
	case safe:
		r.safe(d, n, strings.TrimSpace(picture))
	default:
		r.unknownWord(n.at, word, "what becomes of an output after a power cut", []string{"leave", "restore", "safe PICTURE"})
	}
}

// safe reads the picture that is routed to a destination after a power cut.
func (r *reader) safe(d *Destination, n *node, picture string) {
	e := r.rack.Names[picture]
	if e == nil || e.Source == nil && e.Bank == nil {
		if r.rack.Lost[picture] {
			return
		}
		bad := diag.New("unknown-source", n.at, "there is no picture `%s`", picture)
		for _, near := range r.near(picture, r.named(noun.Source|noun.Bank)) {
			bad = bad.Replace(n.at, "safe "+near, false, "write `safe %s`", near)
		}
		r.lose(bad)
		return
	}
	d.AfterCut, d.Safe = SafePicture, e
	sw, _ := r.busOf(d)
	switch {
	case d.Protected:
		r.unfit(d, n, "`%s` is protected, so no picture can be routed to it", d.Name)
	case sw == nil && !r.unclear(d):
		r.unfit(d, n, "no switch stands before `%s`, so no picture can be routed to it", d.Name)
	case e.Source != nil && d.Refuses[e.Source]:
		r.unfit(d, n, "`%s` refuses `%s`", d.Name, picture)
	case sw != nil && !r.brings(sw, picture, map[*Switch]bool{}) && !r.unclear(d):
		r.unfit(d, n, "no way leads from `%s` to `%s`", picture, d.Name)
	}
}

// unclear says that what was not understood may be the missing way, or that
// nothing reaches the destination at all, which is told already.
func (r *reader) unclear(d *Destination) bool {
	return Trace(d.Input) == nil || r.loose || len(r.ports)+len(r.unsure)+len(r.broken)+len(r.rack.Lost) > 0
}

// unfit refuses a wish; the destination is left as it is.
func (r *reader) unfit(d *Destination, n *node, what string, args ...any) {
	d.AfterCut, d.Safe = Leave, nil
	r.add(diag.New("after-cut-unfit", n.at, what, args...).
		Mend("write `leave`, or a picture that can be routed there"))
}

// busOf is what decides what a destination shows: the first switch upstream,
// or the bank whose output is hard patched to it.
func (r *reader) busOf(d *Destination) (*Switch, *Bank) {
	out := Trace(d.Input)
	switch {
	case out == nil:
		return nil, nil
	case out.Switch != nil:
		return out.Switch, nil
	case out.From == nil || out.From.Preset:
		return nil, nil
	}
	return nil, out.From.Bank
}

// brings says whether a switch can show a picture, itself or by tie lines.
// passed are those already looked at.
func (r *reader) brings(sw *Switch, picture string, passed map[*Switch]bool) bool {
	if passed[sw] {
		return false
	}
	passed[sw] = true
	return slices.ContainsFunc(sw.Picks, func(p *Pick) bool {
		return slices.ContainsFunc(p.Names, func(name string) bool {
			if name == picture {
				return true
			}
			e := r.rack.Names[name]
			return e != nil && e.Tie != nil && e.Tie.Switch != nil && r.brings(e.Tie.Switch, picture, passed)
		})
	})
}
