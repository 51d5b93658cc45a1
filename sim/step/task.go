package step

import (
	"math/bits"
	"slices"

	"cuewright/macro/program"
)

// running says whether a task has started and not ended.
func (m *Machine) running(task int32) bool {
	at := m.P.Tasks[task].At
	return m.pc[task] != resting || at >= 0 && m.L.Get(m.s, at) != 0
}

// launch starts a task at one of its entries; when it is running, it does what
// the task says about that. It says whether the task begins now.
func (m *Machine) launch(task, entry, by int32) bool {
	k := &m.P.Tasks[task]
	if !m.running(task) {
		m.start(task, entry)
		return true
	}
	switch {
	case k.Again == program.Restart:
		m.halt(task)
		m.start(task, entry)
		return true
	case k.Again == program.Queue && k.Queued >= 0 && m.get(k.Queued) == 0:
		m.mark(k.Queued, uint32(entry)+1)
		m.say(Ignored, WasQueued, by, task)
	default:
		m.say(Ignored, AlreadyRunning, by, task)
	}
	return false
}

// start begins a task that is not running. Until it rests, its TaskAt stands
// at its first rest, so that conditions see it running.
func (m *Machine) start(task, entry int32) {
	k := &m.P.Tasks[task]
	m.mark(k.Failed, 0)
	m.mark(k.At, 1)
	m.goOn(task, k.Entries[entry])
	m.say(Started, NoReason, task, task)
}

// goOn lets a task go on from an address when its turn comes.
func (m *Machine) goOn(task, at int32) {
	m.pc[task] = at
	m.live[task/64] |= 1 << (task % 64)
}

// pause takes a task out of those that go on.
func (m *Machine) pause(task int32) {
	m.pc[task] = resting
	m.live[task/64] &^= 1 << (task % 64)
}

// rest lets a task rest at an instruction, for micros if not 0.
func (m *Machine) rest(task, at int32, micros int64) {
	k := &m.P.Tasks[task]
	n, _ := slices.BinarySearch(k.Rests, at)
	m.pause(task)
	m.mark(k.At, uint32(n)+1)
	if micros > 0 {
		m.arm(k.Timer, micros)
	}
}

// restingAt is the instruction where a task rests, or -1.
func (m *Machine) restingAt(task int32) int32 {
	k := &m.P.Tasks[task]
	n := m.get(k.At)
	if n == 0 || m.pc[task] != resting {
		return -1
	}
	return k.Rests[n-1]
}

// clear makes a task idle.
func (m *Machine) clear(task int32) {
	k := &m.P.Tasks[task]
	m.pause(task)
	m.mark(k.At, 0)
	m.disarm(k.Timer)
	m.say(Ended, NoReason, task, task)
}

// finish is a task that has come to its end: who waited for it goes on, cues
// follow it, and a queued run begins.
func (m *Machine) finish(task int32) {
	k := &m.P.Tasks[task]
	m.clear(task)
	m.release(task)
	if k.Kind == program.CueTask {
		m.follow(k.Owner)
	}
	if queued := m.get(k.Queued); queued > 0 {
		m.mark(k.Queued, 0)
		m.start(task, int32(queued)-1)
	}
}

// release lets those go on who wait for a task to end.
func (m *Machine) release(task int32) {
	for _, j := range m.joins[task] {
		if at := m.P.Tasks[j.task].At; m.pc[j.task] == resting && m.get(at) == j.rest {
			m.goOn(j.task, m.P.Tasks[j.task].Rests[j.rest-1]+1)
		}
	}
}

// halt ends a task and its branches from outside: nothing follows from it.
func (m *Machine) halt(task int32) {
	m.clear(task)
	m.mark(m.P.Tasks[task].Queued, 0)
	for _, b := range m.branches[task] {
		if m.running(b) {
			m.halt(b)
		}
	}
}

// stopAll ends every running task and every wait to follow.
func (m *Machine) stopAll() {
	for t := range m.P.Tasks {
		if m.running(int32(t)) {
			m.halt(int32(t))
		}
	}
	m.unfollow()
	for i := range m.P.Buttons { // a finger still down must not fire its hold, nor its press when it is lifted
		b := &m.P.Buttons[i]
		m.disarm(b.HoldTimer)
		if b.Hold >= 0 && m.get(b.Down) == buttonDown {
			m.mark(b.Down, buttonHeld)
		}
	}
}

// settle lets every task that can go on do so, in table order, until none can.
func (m *Machine) settle() {
	for m.pass() {
	}
}

// pass takes one turn through the tasks that may go on, and says whether one
// did. A task that is started by an earlier one has its turn in the same pass.
func (m *Machine) pass() bool {
	moved := false
	for w := range m.live {
		var past uint64 // tasks of this word that have had their turn
		for {
			left := (m.live[w] | m.waits[w]) &^ past
			if left == 0 {
				break
			}
			bit := bits.TrailingZeros64(left)
			past = 2<<bit - 1
			task := int32(w*64 + bit)
			if m.pc[task] != resting || m.wakes(task) {
				m.run(task)
				moved = true
			}
		}
	}
	return moved
}

// wakes lets a task go on that rests until a condition holds, if it does now.
func (m *Machine) wakes(task int32) bool {
	if m.Asleep != nil && m.Asleep(task) {
		return false
	}
	at := m.restingAt(task)
	if at < 0 {
		return false
	}
	if in := &m.P.Code[at]; in.Op != program.Until || !m.holds(in.A) {
		return false
	}
	m.disarm(m.P.Tasks[task].Timer)
	m.came(task, at)
	m.goOn(task, at+1)
	return true
}

// run carries a task on until it rests or ends.
func (m *Machine) run(task int32) {
	for m.pc[task] != resting {
		if m.fuel == 0 {
			m.mark(m.P.Tasks[task].Failed, 1)
			m.say(Failed, TooLong, task, -1)
			m.halt(task)
			m.release(task) // to the same end, or the button would be dead until all is stopped
			return
		}
		m.fuel--
		m.obey(task, m.pc[task])
	}
}
