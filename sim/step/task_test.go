package step

import (
	"testing"

	"cuewright/macro/program"
)

func sleep(micros int64) program.Instr { return program.Instr{Op: program.Sleep, Micros: micros} }

// call runs a task and waits for it; over is where the task goes when it could
// not start, counted from the start of the calling task.
func call(task, over int32) []program.Instr {
	return []program.Instr{{Op: program.Run, A: task, B: over}, {Op: program.Join, A: task}}
}

func TestExpect(t *testing.T) {
	for _, c := range []struct {
		name   string
		ready  int64
		effect []EffectKind
		failed uint32
	}{
		{"in time", second, []EffectKind{Came, Noted}, 0},
		{"late", 3 * second, []EffectKind{Missed, Alerted, Noted}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newMaker()
			k.Recorders[0].Ready = c.ready
			rolling := k.is(k.Recorders[0].State, program.MachineRunning)
			button := k.button(k.do(program.Record, 0, 0),
				program.Instr{Op: program.Until, A: rolling, B: 3, C: 1, Micros: 2 * second},
				program.Instr{Op: program.Jump, B: 5},
				k.say(program.Alert, "not rolling"), program.Instr{Op: program.Fail},
				k.say(program.Note, "after"))
			b := k.run(t)
			b.press(button)
			b.hears(Sent)
			b.wait(2 * second)
			b.hears(c.effect...)
			b.is(k.Tasks[0].Failed, c.failed)
		})
	}
}

func TestExpectAtOnce(t *testing.T) {
	k := newMaker()
	rolling := k.is(k.Recorders[0].State, program.MachineRunning)
	button := k.button(program.Instr{Op: program.Until, A: rolling, B: 2, C: 1}, program.Instr{Op: program.Jump, B: 3},
		k.say(program.Alert, "not rolling"))
	b := k.run(t)
	b.press(button)
	b.hears(Missed, Alerted)
	b.is(k.Tasks[0].Failed, 1)
	b.do(Observe, k.Recorders[0].State, int32(program.MachineRunning))
	b.press(button)
	b.hears(Came)
	b.is(k.Tasks[0].Failed, 0)
}

func TestWaitUntil(t *testing.T) {
	k := newMaker()
	onGoal := k.is(k.Banks[0].Program, uint32(pickGoal))
	button := k.button(program.Instr{Op: program.Until, A: onGoal, B: 1, Micros: second}, k.say(program.Note, "on"))
	endless := k.button(program.Instr{Op: program.Until, A: onGoal, B: 1}, k.say(program.Note, "at last"))
	b := k.run(t)
	b.press(button)
	b.wait(second)
	b.hears(Timed, Noted)
	b.is(k.Tasks[0].Failed, 0) // a wait that runs out is no failure
	b.press(button)
	b.press(endless)
	b.wait(second / 2)
	b.do(Observe, k.Banks[0].Program, pickGoal)
	b.hears(Came, Noted, Came, Noted)
	b.wait(3600 * second)
	b.hears()
}

// Two scripts that wait for the same thing: the one that stands first in the
// table goes on first, and what it does counts for the second.
func TestWakingInTableOrder(t *testing.T) {
	k := newMaker()
	onGoal, onWide := k.is(k.Banks[0].Program, uint32(pickGoal)), k.is(k.Banks[0].Program, uint32(pickWide))
	first := k.button(program.Instr{Op: program.Until, A: onGoal, B: 1}, k.do(program.CutTo, 0, pickWide))
	other := k.button(program.Instr{Op: program.Until, A: onGoal, B: 1}, k.say(program.Note, "goal was seen"))
	third := k.button(program.Instr{Op: program.Until, A: k.isNot(onWide), B: 1}, k.say(program.Note, "not wide"))
	b := k.run(t)
	b.press(first)
	b.press(other)
	b.press(third)
	b.do(Observe, k.Banks[0].Program, pickGoal)
	b.hears(Came, Sent)
	b.is(k.Tasks[1].At, 1)
	b.is(k.Tasks[2].At, 1)
}

func (k *maker) isNot(cond int32) int32 {
	k.Conds = append(k.Conds, program.Cond{Op: program.Not, L: cond})
	return int32(len(k.Conds) - 1)
}

func TestRunAgain(t *testing.T) {
	for _, c := range []struct {
		name   string
		again  uint8
		second []EffectKind // of the press while it runs
		end    int64        // when the last run has ended
	}{
		{"ignored", program.Ignore, []EffectKind{Ignored, Noted}, 2 * second},
		{"restarted", program.Restart, []EffectKind{Noted}, 3 * second},
		{"queued", program.Queue, []EffectKind{Ignored, Noted}, 4 * second},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := newMaker()
			m := k.macro("m", c.again, k.say(program.Note, "begin"), sleep(2*second))
			x := k.button(append(call(m, 2), k.say(program.Note, "x goes on"))...)
			y := k.button(append(call(m, 2), k.say(program.Note, "y goes on"))...)
			b := k.run(t)
			b.press(x)
			b.wait(second)
			b.press(y)
			b.hears(c.second...)
			at := k.Tasks[m].At
			b.wait(c.end - second - 1)
			b.is(at, 1)
			b.wait(1)
			b.is(at, 0)
			b.is(k.Tasks[1].At, 0)
			b.is(k.Tasks[2].At, 0)
		})
	}
}

// Who waited goes on when the run it waited for has ended, though the next
// one has begun.
func TestQueuedRunFreesTheFirst(t *testing.T) {
	k := newMaker()
	m := k.macro("m", program.Queue, sleep(second))
	x := k.button(append(call(m, 2), k.say(program.Note, "x goes on"))...)
	y := k.button(call(m, 2)...)
	z := k.button(call(m, 2)...)
	b := k.run(t)
	b.press(x)
	b.press(y)
	b.why(0, WasQueued)
	b.press(z)
	b.why(0, AlreadyRunning) // the queue is one deep
	b.wait(second)
	b.hears(Noted)
	b.is(k.Tasks[m].At, 1)
	b.wait(second)
	b.is(k.Tasks[m].At, 0)
}

func TestTogether(t *testing.T) {
	k := newMaker()
	short := k.branch("short", sleep(second), k.say(program.Abandon, "not so"), k.say(program.Note, "never said"))
	long := k.branch("long", sleep(2*second))
	both := k.macro("both", program.Restart, program.Instr{Op: program.Run, A: short, B: 1}, program.Instr{Op: program.Run, A: long, B: 2},
		program.Instr{Op: program.Join, A: short}, program.Instr{Op: program.Join, A: long}, k.say(program.Note, "both"))
	button := k.button(call(both, 2)...)
	other := k.button(program.Instr{Op: program.Run, A: both, B: 1})
	b := k.run(t)
	b.press(button)
	b.wait(second)
	b.hears(Alerted)
	b.is(k.Tasks[short].Failed, 1)
	b.is(k.Tasks[both].Failed, 0)
	b.press(other) // starts both branches again, however far they are
	b.is(k.Tasks[short].At, 1)
	b.is(k.Tasks[short].Failed, 0)
	b.wait(2*second - 1)
	b.hears(Alerted)
	b.wait(1)
	b.hears(Noted)
	b.is(k.Tasks[both].At, 0)
	b.is(k.Tasks[2+1].At, 0) // the first press waited all along
}

func TestUnless(t *testing.T) {
	k := newMaker()
	onWide := k.is(k.Banks[0].Program, uint32(pickWide))
	button := k.button(program.Instr{Op: program.Unless, A: onWide, B: 3}, k.do(program.CutTo, 0, pickGoal), program.Instr{Op: program.Jump, B: 4},
		k.do(program.CutTo, 0, pickWide))
	b := k.run(t)
	b.press(button)
	b.is(k.Banks[0].Program, uint32(pickGoal))
	b.press(button)
	b.is(k.Banks[0].Program, uint32(pickWide))
}

func TestGuardedButton(t *testing.T) {
	k := newMaker()
	button := k.button(k.say(program.Note, "fired"))
	k.guard(button)
	b := k.run(t)
	b.press(button)
	b.hears(Ignored)
	b.why(0, CoverOpened)
	b.press(button)
	b.hears(Noted)
	b.press(button) // it fell shut when it fired
	b.why(0, CoverOpened)
	b.wait(program.CoverOpen)
	b.press(button) // and by itself
	b.why(0, CoverOpened)
}

func TestHoldAndRelease(t *testing.T) {
	k := newMaker()
	button := k.button(k.say(program.Note, "press"))
	k.hold(button, second, k.say(program.Alert, "hold"))
	k.release(button, k.do(program.KeyTo, 0, 0))
	talk := k.button(k.do(program.KeyTo, 0, 1))
	k.release(talk, k.do(program.KeyTo, 0, 0))
	b := k.run(t)

	b.do(Down, button, 0)
	b.hears()
	b.do(Down, button, 0)
	b.why(0, StillDown)
	b.wait(second - 1)
	b.do(Up, button, 0)
	b.hears(Noted, Sent)
	b.wait(second)
	b.hears()

	b.do(Down, button, 0)
	b.wait(second)
	b.hears(Alerted)
	b.do(Up, button, 0)
	b.hears(Sent)
	b.do(Up, button, 0)
	b.hears()

	b.do(Down, talk, 0)
	b.is(k.Keyers[0].On, 1)
	b.do(Observe, k.Surfaces[0].Page, 1) // the page turns under the finger
	b.do(Up, talk, 0)
	b.is(k.Keyers[0].On, 0)
	b.do(Down, talk, 0)
	b.why(0, NotShowing)
}

func TestRundown(t *testing.T) {
	k := newMaker()
	k.cue("1", -1, 0, sleep(second))
	k.cue("2", 0, 5*second, k.say(program.Note, "two"))
	k.cue("3", 1, 0, k.say(program.Note, "three"))
	k.cue("4", -1, 0, k.say(program.Note, "four"), program.Instr{Op: program.GoCue, A: -1})
	button := k.button(program.Instr{Op: program.GoCue, A: 3})
	again := k.button(program.Instr{Op: program.GoCue, A: 0})
	b := k.run(t)
	standby := k.StandbyVar()

	b.do(Go, -1, 0)
	b.hears(Fired)
	b.is(standby, 3)
	b.wait(6*second - 1)
	b.hears()
	b.is(k.Cues[1].FollowVar, program.WaitsToFollow)
	b.wait(1)
	b.hears(Fired, Noted, Fired, Noted) // 3 follows 2 at once
	b.is(standby, 3)
	b.press(button)
	b.hears(Fired, Noted, Ignored)
	b.why(2, NothingToDo) // the end of the rundown
	b.is(standby, 4)

	b.press(again)
	b.wait(2 * second)
	b.press(again) // by hand: cue 2 waits anew
	b.do(Go, 0, 0)
	b.why(0, AlreadyRunning)
	b.wait(2 * second)
	b.do(Go, 1, 0) // fired by hand: it waits no more
	b.is(k.Cues[1].FollowVar, 0)
	b.wait(60 * second)
	b.hears()
}

func TestStopAll(t *testing.T) {
	k := newMaker()
	branch := k.branch("branch", sleep(second), k.say(program.Note, "never"))
	m := k.macro("m", program.Queue, program.Instr{Op: program.Run, A: branch, B: 1}, program.Instr{Op: program.Join, A: branch}, k.say(program.Note, "never"))
	one := k.button(call(m, 2)...)
	two := k.button(call(m, 2)...)
	k.cue("1", -1, 0)
	k.cue("2", 0, second, k.say(program.Note, "never"))
	mix := k.button(k.do(program.PresetTo, 0, pickGoal), k.do(program.Mix, 0, 0, second))
	b := k.run(t)
	b.press(one)
	b.press(two)
	b.do(Go, -1, 0)
	b.press(mix)
	b.do(StopAll, 0, 0)
	b.hears()
	for i := range k.Tasks {
		b.is(k.Tasks[i].Failed, 0)
		if k.Tasks[i].At >= 0 {
			b.is(k.Tasks[i].At, 0)
		}
	}
	b.wait(10 * second)
	b.hears()
	b.is(k.Banks[0].Program, uint32(pickGoal)) // the mixer is not stopped
}

// A finger that is down while everything is stopped sets off nothing but what
// is to be done when it is lifted.
func TestStopAllUnderAFinger(t *testing.T) {
	k := newMaker()
	button := k.button(k.say(program.Note, "press"))
	k.hold(button, second, k.say(program.Note, "hold"))
	b := k.run(t)
	b.do(Down, button, 0)
	b.wait(second / 2)
	b.do(StopAll, 0, 0)
	b.wait(10 * second)
	b.do(Up, button, 0)
	b.hears()
	b.press(button)
	b.hears(Noted)
}

// Macros that run macros, each three times, twelve deep: half a million runs
// in one event would hold up the show.
func TestOneEventEnds(t *testing.T) {
	k := newMaker()
	m := k.macro("m0", program.Ignore)
	for range 12 {
		var code []program.Instr
		for i := range int32(3) {
			code = append(code, call(m, 2*i+2)...)
		}
		m = k.macro("m", program.Ignore, code...)
	}
	button := k.button(call(m, 2)...)
	after := k.button(k.do(program.CutTo, 0, pickGoal))
	b := k.run(t)
	b.press(button)
	tooLong := false
	for _, e := range b.heard {
		tooLong = tooLong || e.Kind == Failed && e.Reason == TooLong
	}
	if !tooLong {
		t.Error("nothing was ended for running on and on")
	}
	for i := range k.Tasks {
		if at := k.Tasks[i].At; at >= 0 {
			b.is(at, 0) // who waited for it ends too: the button is not dead
		}
	}
	b.press(after)
	b.is(k.Banks[0].Program, uint32(pickGoal))
}

func TestLamp(t *testing.T) {
	k := newMaker()
	onWide := k.is(k.Banks[0].Program, uint32(pickWide))
	k.Conds = append(k.Conds, program.Cond{Op: program.SourceOnAir, A: wide}, program.Cond{Op: program.Const, A: 0})
	button := k.button(k.do(program.CutTo, 0, pickWide), sleep(second))
	k.Buttons[button].Lit, k.Buttons[button].Air, k.Buttons[button].Uses = onWide, onWide+1, []int32{mixer}
	said := k.button()
	k.Buttons[said].Lamps = []program.Lamp{{State: "dark", Cond: onWide}, {State: "air", Cond: onWide}, {State: "fault", Cond: onWide + 2}}
	b := k.run(t)
	lamp := func(want LampState) {
		t.Helper()
		if got := b.Lamp(b.s, button); got != want {
			t.Errorf("the lamp is %v, want %v", got, want)
		}
	}
	lamp(LampAir)
	b.do(Observe, k.Switches[0].Var, auxMain)
	b.do(Observe, k.Banks[0].Faded, 1) // black is on air, program stays underneath
	lamp(LampLit)
	b.do(Observe, k.Banks[0].Program, pickGoal)
	lamp(LampDark)
	b.press(button)
	lamp(LampPending)
	b.wait(second)
	b.do(Fault, mixer, int32(program.Away))
	lamp(LampFault)
	b.press(button)
	lamp(LampFault)
	b.do(Fault, mixer, int32(program.Well))
	lamp(LampFault) // its last run failed
	if got := b.Lamp(b.s, said); got != LampAir {
		t.Errorf("the said lamp is %v, want air", got)
	}
}
