package pair

import (
	"context"
	"fmt"
	"time"

	"cuewright/sim/step"
	"cuewright/targets/lease"
	"cuewright/targets/surface"
)

// The times of switching over.
const (
	handTime = 2 * time.Second        // all in all
	restTime = 500 * time.Millisecond // for what is being sent
)

// SwitchOver lets the other one lead, or this one when nobody does.
func (p *Pair) SwitchOver(ctx context.Context) surface.Answer {
	var said lease.Said
	p.step(func(m *lease.Member) { said = m.Press(p.now()) })
	switch said {
	case lease.HandOver:
		return p.handOver(ctx)
	case lease.Nothing:
		return refused("it leads, and waits for the other one or the witness to say so")
	case lease.Listening:
		return refused("it was only just started, and listens whether the other one leads")
	}
	if !p.until(ctx, handTime, func(m *lease.Member) bool { return m.May(p.now()) && p.acted.lead && p.acted.epoch == m.Epoch() }) {
		s := p.Standing()
		return refused(s.Words())
	}
	return surface.Answer{Text: p.config.Seat.String() + " leads"}
}

func refused(text string) surface.Answer {
	return surface.Answer{Outcome: surface.Refused, Reason: step.NothingToDo, Text: text}
}

// handOver has the partner lead: this one sends what it has, sees to it that
// the partner knows all of it, and releases.
func (p *Pair) handOver(ctx context.Context) surface.Answer {
	if !p.handing.TryLock() {
		return refused("it is handing over already")
	}
	defer p.handing.Unlock()
	other := p.config.Seat.Other()
	p.mu.Lock()
	leads, alone := p.member.May(p.now()), p.member.Alone()
	p.mu.Unlock()
	switch {
	case !leads:
		return refused("it does not lead")
	case alone:
		return refused(fmt.Sprintf("%s is not there, or does not know everything yet", other))
	}
	rest, cancel := context.WithTimeout(ctx, restTime)
	defer cancel()
	p.desk.Rest(rest)
	released := false
	p.until(ctx, restTime, func(m *lease.Member) bool { return m.Alone() || m.AllKnown() })
	p.step(func(m *lease.Member) { released = m.Release(p.now()) })
	if !released {
		p.desk.Rouse()
		return refused(fmt.Sprintf("%s does not answer: %s goes on leading", other, p.config.Seat))
	}
	leads = false
	p.until(ctx, handTime, func(m *lease.Member) bool {
		role, _ := m.Partner()
		leads = role == lease.Leading
		return leads || m.Role() == lease.Leading
	})
	if !leads {
		return refused(fmt.Sprintf("%s has been asked to lead and does not answer", other))
	}
	s := p.Standing()
	return surface.Answer{Text: s.Words()}
}

// until waits until something is so.
func (p *Pair) until(ctx context.Context, most time.Duration, is func(*lease.Member) bool) bool {
	ctx, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	for {
		p.mu.Lock()
		yes, changed := is(p.member), p.changed
		p.mu.Unlock()
		if yes {
			return true
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return false
		case <-p.ctx.Done():
			return false
		}
	}
}

// Leave has a leader hand over, if there is another that can lead.
func (p *Pair) Leave(ctx context.Context) { p.handOver(ctx) }
