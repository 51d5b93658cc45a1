package promela

import (
	"fmt"
	"sync"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/simtest"
)

const (
	corpus = 220     // shows
	most   = 200_000 // states of one
	small  = 5_000   // states, for the plain search
	batch  = 20      // shows that share a verifier
)

// sample is a show of the corpus.
type sample struct {
	name   string
	faults int
	p      *program.Program
	states uint64 // as Reach counts them
}

// samples takes the shows of the first seeds that have few enough states. Every
// fifth has one fault.
func samples(t *testing.T, n int) []sample {
	var all []sample
	for seed := uint64(0); len(all) < n; seed++ {
		show, rack := simtest.WriteShow(seed)
		s := sample{name: fmt.Sprintf("seed %d\n%s", seed, show), p: simtest.Compile(t, show, rack)}
		if seed%5 == 0 {
			s.faults = 1
		}
		states, whole := explore.New(s.p).Reach(explore.Options{Faults: s.faults, States: most})
		if s.states = states; whole {
			all = append(all, s)
		}
	}
	return all
}

// TestSpin holds explore against SPIN, and small shows against a plain search
// too: the same number of states, and the same verdict on every rule.
func TestSpin(t *testing.T) {
	findSpin(t)
	n := corpus
	if testing.Short() {
		n = batch
	}
	all := samples(t, n)
	covers(t, all)
	compareAll(t, all, batch)
}

// compareAll compares shows, so many of them in one verifier, two at a time.
func compareAll(t *testing.T, all []sample, batch int) {
	var wait sync.WaitGroup
	slots := make(chan bool, 2)
	for from := 0; from < len(all); from += batch {
		some := all[from:min(from+batch, len(all))]
		wait.Go(func() {
			slots <- true
			defer func() { <-slots }()
			for faults := range 2 {
				compare(t, some, faults)
			}
		})
	}
	wait.Wait()
}

// compare compares those that have so many faults.
func compare(t *testing.T, some []sample, faults int) {
	var ps []*program.Program
	var of []sample
	for _, s := range some {
		if s.faults == faults {
			ps, of = append(ps, s.p), append(of, s)
		}
	}
	if len(ps) == 0 {
		return
	}
	model, err := Batch(ps, Options{Faults: faults})
	if err != nil {
		t.Error(err)
		return
	}
	v, err := compile(t.TempDir(), model, "-O0", "-DNOCOMP")
	if err != nil {
		t.Error(err)
		return
	}
	for i, s := range of {
		h, err := v.run(i, fmt.Sprint("-m", 1000+50*s.states), "-w18")
		if err == nil {
			h.states-- // the one in which the show is not chosen yet
			err = agree(t, s, h)
		}
		if err != nil {
			t.Errorf("%v\n%s", err, s.name)
		}
	}
}

// agree holds the three against each other.
func agree(t *testing.T, s sample, h heard) error {
	if s.states != uint64(h.states) {
		return fmt.Errorf("SPIN finds %d states, Reach %d", h.states, s.states)
	}
	if s.states <= small {
		plain := count(s.p, s.faults, small)
		if plain.states != int(s.states) {
			return fmt.Errorf("SPIN finds %d states, the plain search %d", h.states, plain.states)
		}
		for label, seen := range plain.seen {
			if _, while := whiles(s.p)[label]; (label < len(s.p.Rules) || while) && seen == h.unseen[label] {
				return fmt.Errorf("label %d: seen in the plain search: %v; by SPIN: %v", label, seen, !h.unseen[label])
			}
		}
	}
	return verdicts(t, s, h)
}

// whiles are the labels of a program's whiles.
func whiles(p *program.Program) map[int]bool {
	all := map[int]bool{}
	for i, r := range p.Rules {
		if r.While >= 0 {
			all[len(p.Rules)+i] = true
		}
	}
	return all
}

// verdicts holds each rule's verdict, on a slice and on everything, against
// SPIN's. SPIN lets timers run out in any order; where it sees what explore says
// cannot be, it is asked again with a clock.
func verdicts(t *testing.T, s sample, h heard) error {
	e := explore.New(s.p)
	var clock *heard
	for i := range s.p.Rules {
		is := e.Rule(i, explore.Options{Faults: s.faults}).Verdict
		if whole := e.Rule(i, explore.Options{Faults: s.faults, NoSlice: true}).Verdict; whole != is {
			return fmt.Errorf("rule %d: on its slice %v, on everything %v", i, is, whole)
		}
		if is == verdict(s.p, i, h) {
			continue
		}
		if clock == nil {
			c, err := timedSpin(t.TempDir(), s.p, false)
			if err != nil {
				return err
			}
			clock = &c
		}
		if says := verdict(s.p, i, *clock); is != says {
			return fmt.Errorf("rule %d: explore says %v; SPIN %v, and with a clock %v", i, is, verdict(s.p, i, h), says)
		}
	}
	return nil
}

// verdict is SPIN's verdict on rule i.
func verdict(p *program.Program, i int, h heard) explore.Verdict {
	r, seen := p.Rules[i], !h.unseen[i]
	switch {
	case r.Kind == program.Possible && !seen, r.Kind != program.Possible && seen:
		return explore.Refuted
	case r.Kind == program.Always && r.While >= 0 && h.unseen[len(p.Rules)+i]:
		return explore.NotChecked
	}
	return explore.Proved
}

// timedSpin searches with a clock.
func timedSpin(dir string, p *program.Program, inOrder bool) (heard, error) {
	model, err := Translate(p, Options{Tick: tick(p), InOrder: inOrder})
	if err != nil {
		return heard{}, err
	}
	v, err := compile(dir, model, "-O1")
	if err != nil {
		return heard{}, err
	}
	return v.run(0, "-m10000000", "-w22")
}

// tick is the longest tick, up to 100 ms, that each time of a show is a whole
// number of. The shortest wait of the corpus has five.
func tick(p *program.Program) int64 {
	d := int64(100_000)
	whole := func(micros int64) {
		for micros != 0 {
			d, micros = micros, d%micros
		}
	}
	for _, in := range p.Code {
		whole(in.Micros)
	}
	for _, a := range p.Actions {
		whole(a.Micros)
	}
	for _, x := range p.Decks {
		whole(x.Ready)
	}
	for _, x := range p.Clips {
		whole(x.Length)
	}
	for _, x := range p.Recorders {
		whole(x.Ready)
	}
	for _, x := range p.Encoders {
		whole(x.Ready)
	}
	for _, x := range p.Cues {
		whole(x.After)
	}
	for _, x := range p.Buttons {
		whole(x.HoldAfter)
	}
	return d
}

// covers says what no show of the corpus does.
func covers(t *testing.T, all []sample) {
	if testing.Short() {
		return
	}
	var ops [program.Turn + 1]int
	var verbs [program.Protect + 1]int
	var timers [program.CoverTimer + 1]int
	again, moments := map[uint8]int{}, 0
	for _, s := range all {
		for _, c := range s.p.Cues {
			if c.By != program.NoMoment {
				moments++
			}
		}
		for _, in := range s.p.Code {
			ops[in.Op]++
		}
		for _, a := range s.p.Actions {
			verbs[a.Verb]++
		}
		for _, x := range s.p.Timers {
			timers[x.Kind]++
		}
		for _, k := range s.p.Tasks {
			again[k.Again]++
		}
	}
	verbs[program.Crosspoint]++ // stands in no action
	t.Logf("%d shows: instructions %v, verbs %v, timers %v, again %v", len(all), ops, verbs, timers, again)
	for op, n := range ops {
		if n == 0 {
			t.Errorf("no show has instruction %d", op)
		}
	}
	for verb, n := range verbs {
		if n == 0 {
			t.Errorf("no show has verb %d", verb)
		}
	}
	for kind, n := range timers {
		if n == 0 {
			t.Errorf("no show has a timer of kind %d", kind)
		}
	}
	if moments == 0 {
		t.Error("no cue has a moment")
	}
	if len(again) != 3 {
		t.Errorf("tasks run again in %d of 3 ways", len(again))
	}
}
