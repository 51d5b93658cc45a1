package prove

import (
	"fmt"
	"slices"

	"cuewright/macro/program"
	"cuewright/sim/onair"
	"cuewright/sim/signal"
	"cuewright/sim/state"
	"cuewright/sim/step"
	"cuewright/sim/story"
)

// tale is a story played from power-on.
type tale struct {
	beats   []story.Beat
	found   []onair.Finding // by the last event
	effects []step.Effect   // of the last event
	state   *state.State    // at its end
	wrong   string          // why it could not be played, or ""
	ran     map[int32]bool  // tasks that it set off
}

// plain is a story in which no other finger moves while one is down, if only
// the moment at which that one goes down has to be another: a rehearsal can do
// it. Whether it comes to the same is for who plays it to see.
func plain(p *program.Program, events []step.Event) []step.Event {
	out := slices.Clone(events)
	for i := 0; i < len(out); i++ {
		up := out[i]
		if up.Kind != step.Up || p.Buttons[up.A].Hold >= 0 {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if down := out[j]; down.Kind == step.Down && down.A == up.A {
				down.At = up.At
				out = slices.Insert(slices.Delete(out, j, j+1), i-1, down)
				break
			}
		}
	}
	return out
}

// play plays a story: its events at their times, and whatever else runs out
// in between.
func (a *asker) play(events []step.Event) *tale {
	p := a.player()
	for i, e := range events {
		p.until(e)
		if p.wrong == "" && !p.can(e) {
			p.wrong = fmt.Sprintf("event %d of the story cannot happen", i+1)
		}
		if p.wrong != "" {
			break
		}
		p.apply(e, i == len(events)-1)
	}
	p.tale.state = p.s
	return &p.tale
}

// player is a show being played from power-on.
func (a *asker) player() *player {
	p := &player{asker: a, s: a.m.Start(), before: a.m.Start(), watch: onair.NewWatch(a.x.p, a.m.L),
		gb: signal.New(a.x.p, a.m.L), ga: signal.New(a.x.p, a.m.L)}
	p.tale.beats, p.ran = []story.Beat{a.tell.PowerOn(p.s)}, map[int32]bool{}
	return p
}

type player struct {
	*asker
	tale
	s, before *state.State
	watch     *onair.Watch
	gb, ga    *signal.Graph
}

// until lets run out what does before an event: all timers due earlier, and
// at its moment those that stand before it.
func (p *player) until(e step.Event) {
	for {
		timer, due := p.s.Next()
		if timer < 0 || due > e.At || due == e.At && (e.Kind != step.Expire || timer >= e.A) {
			return
		}
		p.apply(step.Event{Kind: step.Expire, A: timer, At: max(due, p.s.Now)}, false)
	}
}

// can says whether an event can happen now.
func (p *player) can(e step.Event) bool {
	if e.Kind == step.Expire {
		return p.s.Due[e.A] == e.At
	}
	return p.m.Enabled(p.s, e)
}

// apply applies an event, watches it and tells it when it did anything.
func (p *player) apply(e step.Event, last bool) {
	p.before.CopyFrom(p.s)
	p.effects = p.m.Apply(p.s, e, p.effects[:0])
	for i := range p.effects {
		if e := &p.effects[i]; e.Kind == step.Started {
			p.ran[e.A] = true
		}
	}
	p.gb.Look(p.before)
	p.ga.Look(p.s)
	p.found = p.watch.Look(p.before, p.s, p.gb, p.ga, e, p.effects)
	beat := p.tell.Tell(p.before, e, p.effects, p.s)
	if last || beat.Did() {
		beat.Number = len(p.beats)
		p.beats = append(p.beats, beat)
	}
}
