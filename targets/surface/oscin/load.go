package oscin

import (
	"time"

	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// load has the show loaded from its file again, on trial where that is asked
// for. It takes a while, in which other messages go on being heard.
func (p *peer) load(trial bool, args []osc.Arg) {
	how, number := p.order(trial, args)
	switch {
	case number != 0 && !p.newer(number):
		p.answer(surface.Answer{Outcome: surface.Repeated, Text: "it came twice"}, number)
	case !p.s.beside(func() surface.Answer { return p.loaded(how) }, func(a surface.Answer) { p.answer(a, number) }):
		p.answer(surface.Answer{Outcome: surface.Busy, Text: "another show is being loaded"}, number)
	}
}

// order reads the seconds of a trial, 0 for the usual time, the digest, "" for
// any, and the running number. What is left out is the last ones.
func (p *peer) order(trial bool, args []osc.Arg) (how surface.Load, number uint64) {
	how.By = p.hand.By
	if trial {
		how.Trial = surface.UsualTrial
		if len(args) > 0 {
			if seconds, _ := whole(args[0]); seconds != 0 {
				how.Trial = time.Duration(max(min(seconds, 1e6), -1)) * time.Second // the desk says what is too long
			}
			args = args[1:]
		}
	}
	if len(args) > 0 && args[0].Tag == 's' {
		how.Expect = args[0].Text()
		args = args[1:]
	}
	return how, numberIn(args, 0)
}

func (p *peer) loaded(how surface.Load) surface.Answer {
	got, err := p.s.desk.Load(how)
	if err != nil {
		return surface.Answer{Outcome: surface.Refused, Text: err.Error()}
	}
	return surface.Answer{Text: got.Words()}
}

// beside does one thing beside the hearing and then answers. It says false while
// it does another.
func (s *Surface) beside(do func() surface.Answer, answer func(surface.Answer)) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.busy || s.closed {
		return false
	}
	s.busy = true
	s.telling.Go(func() {
		a := do()
		s.mu.Lock()
		s.busy = false
		s.mu.Unlock()
		answer(a)
	})
	return true
}
