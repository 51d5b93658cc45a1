package plan

import (
	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/timecode"
)

// Read reads a routing plan. The Rack is never nil and holds what could be
// understood; the findings are every mistake of the plan, in reading order.
func Read(src *source.File) (*Rack, diag.List) {
	r := &reader{
		src:    src,
		rack:   &Rack{File: src, Names: map[string]*Entry{}, Lost: map[string]bool{}},
		said:   map[string]source.Span{},
		unsure: map[*Device]bool{},
		ports:  map[*Port]bool{}, broken: map[*Device]bool{},
		misnamed: map[*Cable]bool{}, reach: map[*Port][]string{},
	}
	r.plan(r.tree())
	return r.rack, r.found.Tidy()
}

// reader is one reading of one plan.
type reader struct {
	src   *source.File
	rack  *Rack
	found diag.List

	said     map[string]source.Span    // every name of the plan and of its aux buses
	broken   map[*Device]bool          // its kind or ports were not understood
	ports    map[*Port]bool            // a cable of it was not understood
	misnamed map[*Cable]bool           // its tie has a name that was refused
	loose    bool                      // a cable was not understood, and it may be any port's
	unsure   map[*Device]bool          // … or any input of this device
	reach    map[*Port][]string        // see naming
	picks    []*Pick                   // every pick, for naming
	fills    []func()                  // keyers' fills, read after naming
	kinds    map[PictureKind][]*Source // see ofKind
	usual    map[*Source]bool          // see usualRefusals
	total    struct{ ports, picks, refusals, guesses int }
}

// add reports a finding.
func (r *reader) add(d diag.Diagnostic) { r.found.Add(d) }

// lose reports a finding for which something was left out of the rack.
func (r *reader) lose(d diag.Diagnostic) {
	r.rack.Partial = true
	switch d.Code {
	case "unknown-key", "key-twice", "wrong-shape", "missing-key", "yaml-fault", "yaml-extra":
		r.rack.Holes = true
	}
	r.found.Add(d)
}

// plan reads the sections, in the order in which they need each other.
func (r *reader) plan(root *node) {
	r.rack.Rate, _ = timecode.ParseRate("25") // to go on with when it is not said
	r.rack.Unrated = true
	if root == nil {
		if !r.rack.Partial {
			r.lose(diag.New("missing-key", r.src.At(0, 0), "the plan is empty").
				Mend("begin with `rack:`, `rate:` and `devices:`"))
		}
		return
	}
	f, ok := r.fields(root, "a plan", "rack", "rate", "devices", "cables", "destinations", "surfaces", "control", "messages")
	if !ok {
		return
	}
	if n := f.need("rack", "it is the rack's name"); n != nil {
		if r.rack.Name, _ = r.words(n, "the rack's name"); n.shape == isText && n.text == "" {
			r.lose(diag.New("missing-key", n.at, "the rack's name is empty"))
		}
	}
	if n := f.need("rate", "it is the frame rate of the show"); n != nil {
		if word, ok := r.oneOf(n, "a frame rate", timecode.Rates()); ok {
			r.rack.Rate, _ = timecode.ParseRate(word)
			r.rack.Unrated = false
		}
	}
	r.each(f.get("devices"), "the devices", r.device)
	for _, n := range r.items(f.get("cables"), "the cables") {
		r.cable(n)
	}
	for _, c := range r.rack.Cables {
		r.fits(c)
	}
	r.ties()
	r.loops()
	r.naming()
	r.each(f.get("destinations"), "the destinations", r.destination)
	r.each(f.get("surfaces"), "the surfaces", r.surface)
	r.each(f.get("control"), "the control part", r.control)
	r.each(f.get("messages"), "the messages", r.message)
}

// surface reads one surface.
func (r *reader) surface(key, body *node) {
	s := &Surface{Name: key.text, Index: len(r.rack.Surfaces), At: key.at}
	e, named := r.name(key, noun.Surface)
	f, ok := r.fields(body, "a surface", "rows", "columns", "by")
	if !named || !ok {
		return
	}
	e.Surface = s
	r.rack.Surfaces = append(r.rack.Surfaces, s)
	if n := f.need("rows", "it is the number of rows of buttons"); n != nil {
		s.Rows, _ = r.number(n, "the number of rows", 1, maxGrid)
	}
	if n := f.need("columns", "it is the number of buttons in a row"); n != nil {
		s.Columns, _ = r.number(n, "the number of columns", 1, maxGrid)
	}
	if n := f.need("by", "it is how the surface connects"); n != nil {
		s.By, _ = r.oneOf(n, "a way to connect a surface", []string{"osc", "http", "websocket", "midi", "keyboard"})
	}
}

// maxGrid bounds the buttons of a surface.
const maxGrid = 64
