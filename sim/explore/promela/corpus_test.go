package promela

import (
	"fmt"
	"os"
	"sync"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/explore"
	"cuewright/sim/simtest"
)

// small is how many states a show of the corpus may have for the plain search,
// and batch how many shows share a compiled model.
const (
	corpus = 200
	small  = 20_000
	batch  = 20
)

// sample is a show of the corpus.
type sample struct {
	seed   uint64
	faults int
	p      *program.Program
	text   string
	plain  census
}

// samples takes the shows of the first seeds that stay small.
func samples(t *testing.T, n int) []sample {
	var all []sample
	for seed := uint64(0); len(all) < n; seed++ {
		show, rack := writeShow(seed)
		s := sample{seed: seed, p: simtest.Compile(t, show, rack), text: show}
		if seed%5 == 0 {
			s.faults = 1
		}
		if s.plain = count(s.p, s.faults, small); s.plain.whole {
			all = append(all, s)
		}
	}
	return all
}

// TestSpin holds SPIN against the plain search: the same number of states, and
// the same rules decided.
func TestSpin(t *testing.T) {
	findSpin(t)
	n := corpus
	if testing.Short() {
		n = batch
	}
	all := samples(t, n)
	var wait sync.WaitGroup
	slots := make(chan bool, 2)
	for from := 0; from < len(all); from += batch {
		some := all[from:min(from+batch, len(all))]
		wait.Go(func() {
			slots <- true
			defer func() { <-slots }()
			compare(t, some)
		})
	}
	wait.Wait()
}

func compare(t *testing.T, some []sample) {
	for faults := range 2 {
		var ps []*program.Program
		var of []sample
		for _, s := range some {
			if s.faults == faults {
				ps, of = append(ps, s.p), append(of, s)
			}
		}
		if len(ps) == 0 {
			continue
		}
		model, err := Batch(ps, Options{Faults: faults})
		if err != nil {
			t.Error(err)
			continue
		}
		v, err := compile(t.TempDir(), model, "-O0")
		if err != nil {
			os.WriteFile("/tmp/sp/bad.pml", model, 0o666)
			t.Error(err)
			continue
		}
		for i, s := range of {
			h, err := v.run(i, "-m1000000", "-w20")
			if err != nil {
				t.Errorf("seed %d: %v\n%s", s.seed, err, s.text)
				continue
			}
			if why := differs(s, h); why != "" {
				t.Errorf("seed %d: %s\n%s", s.seed, why, s.text)
			}
		}
	}
}

// differs says what SPIN sees otherwise. It counts one state more: the one in
// which the show is not chosen yet.
func differs(s sample, h heard) string {
	if h.states-1 != int64(s.plain.states) {
		return fmt.Sprintf("SPIN finds %d states, the plain search %d", h.states-1, s.plain.states)
	}
	e := explore.New(s.p)
	if n, whole := e.Reach(explore.Options{Faults: s.faults}); !whole || int64(n) != h.states-1 {
		return fmt.Sprintf("SPIN finds %d states, Reach %d, %v", h.states-1, n, whole)
	}
	for i, seen := range s.plain.seen {
		if seen == h.unseen[i] {
			return fmt.Sprintf("rule %d (%s): decided in the plain search: %v; by SPIN: %v", i, s.p.Rules[i].Name, seen, !h.unseen[i])
		}
		r := e.Rule(i, explore.Options{Faults: s.faults})
		r2 := e.Rule(i, explore.Options{Faults: s.faults, NoSlice: true})
		says := r.Verdict == explore.Refuted
		if s.p.Rules[i].Kind == program.Possible {
			says = r.Verdict == explore.Proved
		}
		if says != seen || r.Verdict != r2.Verdict {
			return fmt.Sprintf("rule %d (%s): seen %v verdict %v %v spurious %d zones %d", i, s.p.Rules[i].Name, seen, r.Verdict, r2.Verdict, r.Spurious, r.Zones)
		}
	}
	return ""
}
