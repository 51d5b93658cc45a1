package control

import (
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/state"
	"cuewright/targets/surface"
)

// A press that meets a reload: it was made by who saw one show and comes when
// another runs. It runs once, under the show that runs, if it names there what
// it named before: the button of the same label at the same place of the same
// page, the cue of the same number and label. Else it is refused, since it
// would do something else than what was seen.

// meets has a press name what it means in the show that runs. It says false
// where there is no such thing.
func (s *show) meets(p *surface.Press) bool {
	was := p.Of
	switch {
	case was == nil || was == s.p:
		return true
	case p.Kind == surface.StopAll || p.Kind == surface.Resume: // whatever runs
		p.Surface = -1
		return true
	}
	if p.Kind == surface.Keep || p.Kind == surface.Return || !within(p, was) {
		return false // it was about that show, or about nothing
	}
	q := *p
	q.Of = s.p
	if p.Surface >= 0 {
		q.Surface = int32(slices.IndexFunc(s.p.Surfaces, func(x program.Surface) bool { return x.Name == was.Surfaces[p.Surface].Name }))
	}
	found := p.Surface < 0 || q.Surface >= 0
	switch p.Kind {
	case surface.Down, surface.Up:
		q.Button = s.sameButton(was, p.Button)
		found = found && q.Button >= 0
	case surface.Go, surface.Disarm, surface.Arm:
		if p.Cue >= 0 {
			q.Cue = int32(slices.IndexFunc(s.p.Cues, func(x program.Cue) bool {
				return x.Number == was.Cues[p.Cue].Number && x.Label == was.Cues[p.Cue].Label
			}))
			found = found && q.Cue >= 0
		}
	case surface.Resend, surface.Adopt:
		q.Destination = int32(slices.Index(surface.OutputNames(s.p), surface.OutputNames(was)[p.Destination]))
		found = found && q.Destination >= 0
	}
	if found {
		*p = q
	}
	return found
}

// sameButton is the button that looks the same to a finger: the same label and
// cover at the same place of the same page; or -1.
func (s *show) sameButton(was *program.Program, button int32) int32 {
	b := &was.Buttons[button]
	return int32(slices.IndexFunc(s.p.Buttons, func(x program.Button) bool {
		return x.Row == b.Row && x.Column == b.Column && x.Label == b.Label && x.Guarded == b.Guarded &&
			s.p.Pages[x.Page].Name == was.Pages[b.Page].Name
	}))
}

// liftStrangers lifts fingers off buttons that are not what the finger went
// down on, without what that would set off.
func (s *show) liftStrangers(was *show) {
	kept := map[int32]bool{}
	for i := range was.p.Buttons {
		kept[s.sameButton(was.p, int32(i))] = true
	}
	for i := range s.p.Buttons {
		if !kept[int32(i)] {
			s.liftButton(int32(i))
		}
	}
}

// lift takes all fingers off the buttons, without what that would set off: who
// had them there when the power went has long taken them away.
func (s *show) lift() {
	for i := range s.p.Buttons {
		s.liftButton(int32(i))
	}
}

func (s *show) liftButton(button int32) {
	b := &s.p.Buttons[button]
	if b.Down >= 0 {
		s.m.L.Set(s.state, b.Down, 0)
	}
	if b.HoldTimer >= 0 {
		s.state.Due[b.HoldTimer] = state.Off
	}
}
