package promela

import (
	"fmt"

	"cuewright/macro/program"
)

// arm starts a timer, when time is real.
func (w *writer) arm(timer int32, micros int64) {
	if w.o.Tick == 0 || timer < 0 {
		return
	}
	if micros%w.o.Tick != 0 {
		w.err = fmt.Errorf("%d µs is no whole number of ticks of %d", micros, w.o.Tick)
		return
	}
	w.most[timer] = max(w.most[timer], micros/w.o.Tick)
	w.line("%s;", w.set(w.clock(timer), micros/w.o.Tick+1))
}

// disarm stops a timer, when time is real.
func (w *writer) disarm(timer int32) {
	if w.o.Tick > 0 && timer >= 0 {
		w.line("%s;", w.set(w.clock(timer), 0))
	}
}

// due says that some timer before one in the table is due.
func (w *writer) due(before int32) string {
	var all []string
	for t := range before {
		all = append(all, w.is(w.clock(t), 1))
	}
	return or(all...)
}

// onTimer adds the event that a timer runs out, which can be when it runs; of
// those that are due at one moment the first in the table is first.
func (w *writer) onTimer(timer int32, runs string, do func()) {
	if w.o.Tick == 0 {
		w.on(runs, do)
		return
	}
	w.on(and(w.is(w.clock(timer), 1), not(w.due(timer))), func() {
		w.disarm(timer)
		do()
	})
}

// onPress adds an event from outside; timers that are due come first.
func (w *writer) onPress(when string, do func()) {
	if w.o.Tick > 0 {
		when = and(when, not(w.due(int32(len(w.p.Timers)))))
	}
	w.on(when, do)
}

// pass lets a tick of time pass, when no timer is due.
func (w *writer) pass() {
	var running []string
	for t := range w.p.Timers {
		running = append(running, not(w.is(w.clock(int32(t)), 0)))
	}
	w.onPress(or(running...), func() {
		for t := range w.p.Timers {
			if v := w.clock(int32(t)); w.changes[v] {
				w.when(not(w.is(v, 0)), w.set(v, w.get(v)+" - 1"))
			}
		}
	})
}

// timed says why a model cannot have ticks.
func timed(p *program.Program, o Options) error {
	if o.Tick < 0 || o.Tick > 0 && o.Faults > 0 {
		return fmt.Errorf("a model with ticks of %d µs and %d faults cannot be written", o.Tick, o.Faults)
	}
	return nil
}
