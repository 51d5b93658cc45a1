package plan

import (
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/noun"
)

// kinds are the kinds of device, with the keys that only some have and the
// role that the kind gives a name.
var kinds = []struct {
	kind DeviceKind
	keys []string
	role noun.Kind
}{
	{Camera, []string{"robotic", "shots"}, noun.Camera},
	{Computer, nil, 0},
	{Remote, nil, 0},
	{Deck, []string{"ready", "clips"}, noun.Deck},
	{Recorder, []string{"ready"}, noun.Recorder},
	{Encoder, []string{"ready"}, noun.Encoder},
	{Mixer, []string{"internal", "banks"}, 0},
	{Router, nil, 0},
	{Converter, []string{"passes"}, 0},
	{Splitter, []string{"passes"}, 0},
	{Panel, []string{"passes"}, 0},
	{Display, nil, 0},
	{Power, []string{"outlets"}, 0},
	{Machine, nil, 0},
}

// device reads one device, its ports and everything inside it.
func (r *reader) device(key, body *node) {
	e, named := r.name(key, noun.Device)
	d := &Device{Name: key.text, Index: len(r.rack.Devices), At: key.at}
	if named {
		e.Device = d
		r.rack.Devices = append(r.rack.Devices, d)
	} else {
		e = &Entry{} // read on, for the findings inside
	}
	f, ok := r.deviceFields(d, e, body)
	if !ok { // it may be anything, so nothing is said about its uses
		r.broken[d] = true
		r.lost(d.Name)
		delete(r.rack.Names, d.Name)
		return
	}
	if n := f.get("about"); n != nil {
		d.About, _ = r.words(n, "what the device is about")
	}
	d.Ready = r.duration(f.get("ready"), "the time to be ready", 0)
	d.Robotic = r.yes(f.get("robotic"), "`robotic`")
	r.each(f.get("shots"), "the shots", func(k, n *node) { r.shot(d, k, n) })
	r.each(f.get("clips"), "the clips", func(k, n *node) { r.clip(d, k, n) })
	r.each(f.get("outlets"), "the outlets", r.outlet(d))
	r.inputs(d, f.get("inputs"))
	r.inside(d, e, f)
}

// deviceFields reads the kind, and the keys that a device of the kind has.
func (r *reader) deviceFields(d *Device, e *Entry, body *node) (fields, bool) {
	common := []string{"kind", "about", "inputs", "outputs"}
	if body.shape != isMapping && !body.empty() {
		return r.fields(body, "a device", common...)
	}
	var words []string
	for _, k := range kinds {
		words = append(words, string(k.kind))
	}
	at := slices.IndexFunc(body.keys, func(k *node) bool { return k.text == "kind" })
	if at < 0 || body.items[at].empty() {
		r.lose(diag.New("missing-key", d.At, "`%s` has no `kind`", d.Name).
			Mend("write `kind:` and one of %s", nearest.Quote(words)))
		return fields{}, false
	}
	word, ok := r.oneOf(body.items[at], "a kind of device", words)
	if !ok {
		return fields{}, false
	}
	row := kinds[slices.Index(words, word)]
	d.Kind = row.kind
	e.Kind |= row.role
	of := noun.Device.A()
	if word != "" {
		of = "a " + word
		if word == string(Encoder) {
			of = "an " + word
		}
	}
	return r.fields(body, of, append(common, row.keys...)...)
}

func (r *reader) shot(d *Device, key, body *node) {
	number, ok := r.number(key, "a shot", 0, maxNumber)
	name, named := r.words(body, "a shot's name")
	if ok && named {
		d.Shots = append(d.Shots, Shot{Number: number, Name: name, At: key.at})
	}
}

// maxNumber bounds the numbers that devices use for what is inside them.
const maxNumber = 1 << 20

func (r *reader) clip(d *Device, key, body *node) {
	c := &Clip{Name: key.text, Index: len(d.Clips), Deck: d, File: key.text, At: key.at}
	d.Clips = append(d.Clips, c)
	if body.empty() {
		return
	}
	f, ok := r.fields(body, "a clip", "length", "file")
	if !ok {
		return
	}
	c.Length = r.duration(f.get("length"), "the length of the clip", 0)
	if n := f.get("file"); n != nil {
		c.File, _ = r.words(n, "the name of the file")
	}
}

func (r *reader) outlet(d *Device) func(key, body *node) {
	taken := numbers{}
	return func(key, body *node) {
		e, named := r.name(key, noun.Outlet)
		number, ok := r.number(body, "the outlet's number", 0, maxNumber)
		if !named || !ok {
			return
		}
		taken.take(r, number, body.at, "outlet")
		e.Outlet = &Outlet{Name: key.text, Index: len(r.rack.Outlets), Number: number, Device: d, At: key.at}
		r.rack.Outlets = append(r.rack.Outlets, e.Outlet)
	}
}

// Clip is the clip of that name on a deck, or nil.
func (r *Rack) Clip(deck *Device, name string) *Clip {
	for _, c := range deck.Clips {
		if c.Name == name {
			return c
		}
	}
	return nil
}

// Input is the input of that number, or nil.
func (d *Device) Input(n int) *Port { return numberedPort(d.Inputs, n) }

// Output is the output of that number, or nil.
func (d *Device) Output(n int) *Port { return numberedPort(d.Outputs, n) }

// numberedPort finds a port by number; ports are in order of their numbers.
func numberedPort(ports []*Port, n int) *Port {
	at, ok := slices.BinarySearchFunc(ports, n, func(p *Port, n int) int { return p.Number - n })
	if !ok {
		return nil
	}
	return ports[at]
}
