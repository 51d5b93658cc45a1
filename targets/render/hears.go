package render

import (
	"slices"
	"strconv"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/targets/osc"
)

// observations fills p.Observations from the plan's `hears`, device by device.
func (r *renderer) observations() {
	for i := range r.p.Devices {
		for _, d := range r.rack.Devices {
			if d.Name != r.p.Devices[i].Name || d.Control == nil {
				continue
			}
			for _, o := range d.Control.Hears {
				r.observe(int32(i), d.Control, o)
			}
		}
	}
}

func (r *renderer) observe(device int32, c *plan.Control, o *plan.Observation) {
	v := slices.IndexFunc(r.p.Vars, func(v program.Var) bool { return v.Name == o.Sets.Text && hearable(v.Kind) })
	if v < 0 {
		r.found.Add(r.noField(o))
		return
	}
	out := program.Observation{Device: device, Path: o.Path, Arg: int32(o.Arg), Method: o.Method, Target: o.Target,
		Every: int64(o.Every), Pointer: o.Pointer, Var: int32(v), At: r.place(o)}
	if o.Method != "" {
		out.Target = c.Base + o.Target
	} else if err := osc.CheckAddress(o.Path); err != nil {
		r.found.Add(diag.New(badAddress, o.At, "`%s` cannot be heard: %v", o.Path, err))
		return
	}
	words := r.wordsOf(r.p.Vars[v])
	if len(o.Means) == 0 {
		out.Means = r.usual(r.p.Vars[v])
		if len(out.Means) == 0 {
			r.found.Add(diag.New(meaningless, o.At, "`%s` is heard, but nothing says what the values mean", o.Sets.Text).
				Mend("add `means:` with %s", nearest.Quote(firstOf(words))))
			return
		}
	}
	for _, m := range o.Means {
		at := slices.IndexFunc(words, func(w meaning) bool { return w.word == m.Value })
		if at < 0 {
			d := diag.New(meaningless, m.At, "`%s` cannot be `%s`", o.Sets.Text, m.Value)
			near := nearest.Names(m.Value, firstOf(words))
			for _, n := range near {
				d = d.Mend("write `%s`", n)
			}
			if len(near) == 0 {
				d = d.Mend("write %s", nearest.Quote(firstOf(words)[:min(8, len(words))]))
			}
			r.found.Add(d)
			continue
		}
		out.Means = append(out.Means, program.Meaning{Heard: m.Heard, Value: words[at].value})
	}
	r.p.Observations = append(r.p.Observations, out)
}

// place is where in the sources an observation stands.
func (r *renderer) place(o *plan.Observation) program.Place {
	for i, f := range r.p.Files {
		if r.rack.File != nil && f.Name == r.rack.File.Name {
			at := o.At.Begin()
			return program.Place{File: int32(i), Line: int32(at.Line), Column: int32(at.Column)}
		}
	}
	return program.Place{}
}

func (r *renderer) noField(o *plan.Observation) diag.Diagnostic {
	var all []string
	for _, v := range r.p.Vars {
		if hearable(v.Kind) {
			all = append(all, v.Name)
		}
	}
	d := diag.New(unheard, o.Sets.At, "there is no `%s` that a device could say something about", o.Sets.Text)
	for _, n := range nearest.Names(o.Sets.Text, all) {
		d = d.Replace(o.Sets.At, n, false, "write `%s`", n)
	}
	return d
}

// hearable says whether a device can report a variable of this kind: what is
// the show's own (tasks, covers, the rundown) cannot be heard.
func hearable(k program.VarKind) bool {
	switch k {
	case program.BankProgram, program.BankPreset, program.BankFaded, program.KeyerOn, program.SwitchPick,
		program.DeckState, program.DeckClip, program.RecorderState, program.EncoderState, program.CameraShot, program.OutletOn:
		return true
	}
	return false
}

// meaning is a word that `means` may use, and the variable's value.
type meaning struct {
	word  string
	value uint32
}

// truths are the words of what is on or off.
var truths = []meaning{{"on", 1}, {"off", 0}, {"true", 1}, {"false", 0}, {"yes", 1}, {"no", 0}, {"1", 1}, {"0", 0}}

// deckWords, recorderWords and encoderWords are those of conditions.
var (
	deckWords = []meaning{{"empty", program.DeckEmpty}, {"loading", program.DeckLoading}, {"cued", program.DeckCued},
		{"playing", program.DeckPlaying}, {"paused", program.DeckPaused}, {"ended", program.DeckEnded}}
	recorderWords = []meaning{{"stopped", program.MachineStopped}, {"starting", program.MachineStarting},
		{"rolling", program.MachineRunning}, {"running", program.MachineRunning}}
	encoderWords = []meaning{{"stopped", program.MachineStopped}, {"starting", program.MachineStarting},
		{"live", program.MachineRunning}, {"running", program.MachineRunning}}
)

// wordsOf lists the words for the values of a variable.
func (r *renderer) wordsOf(v program.Var) []meaning {
	switch v.Kind {
	case program.DeckState:
		return deckWords
	case program.RecorderState:
		return recorderWords
	case program.EncoderState:
		return encoderWords
	case program.DeckClip:
		out := []meaning{{"none", 0}}
		for i, c := range r.p.Decks[v.Owner].Clips {
			out = append(out, meaning{r.p.Clips[c].Name, uint32(i) + 1})
		}
		return out
	case program.CameraShot:
		var out []meaning
		for i, s := range r.p.Cameras[v.Owner].Shots {
			out = append(out, meaning{s.Name, uint32(i) + 1}, meaning{strconv.Itoa(int(s.Number)), uint32(i) + 1})
		}
		return out
	}
	if picks := r.picksOf(v); picks != nil {
		var out []meaning
		for i, p := range picks {
			out = append(out, meaning{p.Label, uint32(i)})
		}
		return out
	}
	return truths
}

// picksOf are the picks that a bus variable is an index of, or nil.
func (r *renderer) picksOf(v program.Var) []program.Pick {
	switch v.Kind {
	case program.BankProgram, program.BankPreset:
		return r.p.Banks[v.Owner].Picks
	case program.SwitchPick:
		return r.p.Switches[v.Owner].Picks
	}
	return nil
}

// usual is what values mean where the plan does not say: the numbers of picks
// and shots, 0 and 1, false and true. Words of a machine have no usual form.
func (r *renderer) usual(v program.Var) []program.Meaning {
	var out []program.Meaning
	add := func(heard string, value uint32) { out = append(out, program.Meaning{Heard: heard, Value: value}) }
	switch v.Kind {
	case program.BankProgram, program.BankPreset, program.SwitchPick:
		for i, p := range r.picksOf(v) {
			add(strconv.Itoa(int(p.Number)), uint32(i))
		}
	case program.CameraShot:
		for i, s := range r.p.Cameras[v.Owner].Shots {
			add(strconv.Itoa(int(s.Number)), uint32(i)+1)
		}
	case program.BankFaded, program.KeyerOn, program.OutletOn:
		add("0", 0)
		add("1", 1)
		add("false", 0)
		add("true", 1)
	}
	return out
}

func firstOf(words []meaning) []string {
	var out []string
	for _, w := range words {
		if !slices.Contains(out, w.word) {
			out = append(out, w.word)
		}
	}
	return out
}
