package pair

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"cuewright/targets/control"
	"cuewright/targets/lease"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// cable cuts or heals the cable between the two.
func (d *duo) cable(cut bool) {
	for _, w := range d.ways {
		w.set(cut)
	}
}

// isolate cuts one off from everybody, or heals that.
func (d *duo) isolate(s lease.Seat, cut bool) {
	d.cable(cut)
	if d.votes[s] != nil {
		d.votes[s].set(cut)
	}
}

// sends waits until one of the two may send.
func (d *duo) sends(s lease.Seat) {
	d.t.Helper()
	await(d.t, s.String()+" leads", func() bool { v := d.desks[s].View().Pair; return v.Leads && v.Sends })
}

// rungs are the rungs of the ladder that were heard.
func (d *duo) rungs() []int { return levels(d.out.heard("lights")) }

// climbed checks that each rung came once and in order, but for those of which
// was said that nobody knows.
func (d *duo) climbed(doubt []int) {
	d.t.Helper()
	got := d.rungs()
	at := 0
	for n := 1; n <= rungs; n++ {
		switch {
		case at < len(got) && got[at] == n:
			at++
		case !slices.Contains(doubt, n):
			d.t.Fatalf("%d is missing, comes twice or is out of order: %v", n, got)
		}
	}
	if at < len(got) {
		d.t.Errorf("too much: %v", got)
	}
}

func (d *duo) climb(s lease.Seat, up int) {
	d.t.Helper()
	if a := d.tap(s, "Ladder", "climb"); a.Outcome != surface.Done {
		d.t.Fatalf("%+v", a)
	}
	await(d.t, "it is under way", func() bool { return len(d.rungs()) >= up })
}

func (d *duo) atTheTop() {
	d.t.Helper()
	await(d.t, "the macro comes to its end", func() bool { return slices.Contains(d.rungs(), rungs) })
	time.Sleep(2 * rung) // for what should not come
}

func (d *duo) switchAt(s lease.Seat) surface.Answer {
	return d.desks[s].Press(surface.Press{Kind: surface.SwitchOver, Surface: -1, Button: -1, Cue: -1, By: "me"})
}

// The cable between the two is cut in the middle of a macro: with a witness
// the leader goes on and the other one keeps still. When it is whole again the
// other one has all of it.
func TestCutWithWitness(t *testing.T) {
	d := newDuoOf(t, ladder(), true, false)
	leader, follower := d.both()
	d.climb(leader, 10)
	d.cable(true)
	d.atTheTop()
	time.Sleep(2 * lease.Promise)
	if v := d.ends[follower].Standing(); v.Leads || !v.Stale {
		t.Errorf("the one that was cut off: %+v", v)
	}
	d.climbed(nil)
	if v := d.ends[leader].Standing(); !v.Sends || v.InStep {
		t.Errorf("the leader: %+v", v)
	}
	// It cannot lead without a person's word either while the leader does.
	if a := d.switchAt(follower); a.Outcome != surface.Refused {
		t.Errorf("it leads on a press although the other one does: %+v", a)
	}
	d.cable(false)
	if now, _ := d.inStep(); now != leader {
		t.Errorf("%s leads", now)
	}
	if v := d.desks[follower].View(); len(v.Alerts) == 0 {
		t.Error("the one that follows does not show the alerts")
	}
	d.stop(follower)
	d.stop(leader)
	d.replays()
}

// The leader is cut off from everybody in the middle of a macro. It fences
// itself, the other one goes on with the macro, and nothing comes twice. When
// the cable is whole again the old leader follows.
func TestLeaderCutOff(t *testing.T) {
	d := newDuoOf(t, ladder(), true, false)
	leader, follower := d.both()
	d.climb(leader, 10)
	d.isolate(leader, true)
	d.sends(follower)
	if a := d.tap(leader, "Wide", "late"); a.Outcome == surface.Done {
		t.Errorf("the one that was cut off does a press: %+v", a)
	}
	d.atTheTop()
	d.climbed(levels([]string{d.alerts(follower)}))
	d.isolate(leader, false)
	if now, _ := d.inStep(); now != follower {
		t.Errorf("%s leads", now)
	}
	time.Sleep(lease.Promise)
	d.climbed(levels([]string{d.alerts(follower)}))
	if n := len(d.out.heard("cut main to wide")); n != 0 {
		t.Errorf("a press that was refused was sent %d times", n)
	}
	d.stop(leader)
	d.stop(follower)
	d.replays()
}

// Without a witness, and without being told to go by silence, the one that
// follows keeps still while the cable is cut.
func TestCutWithoutWitness(t *testing.T) {
	d := newDuoOf(t, ladder(), false, false)
	leader, follower := d.both()
	d.climb(leader, 10)
	d.cable(true)
	d.atTheTop()
	time.Sleep(2 * lease.Promise)
	if d.ends[follower].Standing().Leads {
		t.Error("it leads")
	}
	d.climbed(nil)
	d.cable(false)
	if now, _ := d.inStep(); now != leader {
		t.Errorf("%s leads", now)
	}

	// With the leader gone, one press has it lead, and it goes on.
	d.out.forget()
	d.climb(leader, 10)
	d.crash(leader)
	if a := d.switchAt(follower); a.Outcome == surface.Done {
		t.Logf("at once: %+v", a)
	}
	await(t, "a press has it lead", func() bool { return d.switchAt(follower).Outcome == surface.Done || d.ends[follower].May() })
	d.atTheTop()
	d.climbed(levels([]string{d.alerts(follower)}))
}

// crash ends one as a power cut does: nobody is told, nothing is handed over.
func (d *duo) crash(s lease.Seat) {
	d.ends[s].Close() // it can say nothing any more
	d.stop(s)
}

// Without a witness, told to go by silence, both lead while the cable is cut.
// When it is whole again it is the one that took over.
func TestBothLead(t *testing.T) {
	d := newDuo(t, false, true)
	leader, follower := d.both()
	d.cable(true)
	d.sends(follower)
	d.sends(leader)
	for s := range d.desks {
		// One that takes over reads the devices first: until then a press is refused, and sends nothing.
		await(t, fmt.Sprint(s, " does a press"), func() bool { return d.tap(lease.Seat(s), "Wide", fmt.Sprint(s)).Outcome == surface.Done })
	}
	await(t, "both send", func() bool { return len(d.out.heard("cut main to wide")) == 2 })
	d.cable(false)
	if now, _ := d.inStep(); now != follower {
		t.Errorf("%s leads", now)
	}
	if d.ends[leader].Standing().Leads {
		t.Error("both lead")
	}
	d.stop(leader)
	d.stop(follower)
	d.replays()
}

// The one that follows dies and comes back: the leader goes on, and it is in
// step again.
func TestFollowerReturns(t *testing.T) {
	for _, witness := range []bool{false, true} {
		t.Run(fmt.Sprint(witness), func(t *testing.T) {
			d := newDuoOf(t, ladder(), witness, false)
			leader, follower := d.both()
			d.climb(leader, 5)
			d.crash(follower)
			if a := d.tap(leader, "Wide", "1"); a.Outcome != surface.Done {
				t.Errorf("without the other one: %+v", a)
			}
			d.atTheTop()
			d.climbed(nil)
			d.start(follower)
			if now, _ := d.inStep(); now != leader {
				t.Errorf("%s leads", now)
			}
			if a := d.switchAt(leader); a.Outcome != surface.Done {
				t.Errorf("switching over: %+v", a)
			}
			d.sends(follower)
			if v := d.desks[follower].View(); v.Held {
				t.Error("it is held")
			}
			if n := len(d.out.heard("cut main to wide")); n != 1 {
				t.Errorf("sent %d times", n)
			}
		})
	}
}

// Started together, one leads by rule, and not before it has listened; started
// alone, it leads with the witness's vote, or with a person's.
func TestBoot(t *testing.T) {
	t.Run("together", func(t *testing.T) {
		d := newDuo(t, false, false)
		began := time.Now()
		d.start(lease.B)
		d.start(lease.A)
		leader, _ := d.inStep()
		if took := time.Since(began); leader != lease.A || took < lease.Listen {
			t.Errorf("%s leads after %v", leader, took)
		}
	})
	t.Run("alone with a witness", func(t *testing.T) {
		d := newDuo(t, true, false)
		began := time.Now()
		d.start(lease.B)
		d.sends(lease.B)
		if took := time.Since(began); took < lease.Listen {
			t.Errorf("it leads after %v", took)
		}
		d.start(lease.A)
		if leader, _ := d.inStep(); leader != lease.B {
			t.Errorf("%s leads", leader)
		}
	})
	t.Run("alone", func(t *testing.T) {
		d := newDuo(t, false, false)
		d.start(lease.A)
		if a := d.switchAt(lease.A); a.Outcome != surface.Refused {
			t.Errorf("it leads before it has listened: %+v", a)
		}
		time.Sleep(lease.Listen + lease.Promise)
		if d.ends[lease.A].May() {
			t.Error("it leads by itself")
		}
		if a := d.switchAt(lease.A); a.Outcome != surface.Done {
			t.Errorf("a press does not have it lead: %+v", a)
		}
		if a := d.tap(lease.A, "Wide", "1"); a.Outcome != surface.Done {
			t.Errorf("%+v", a)
		}
	})
}

// While presses come as fast as they can, the two change places again and
// again: each press that was done is sent once.
func TestSwitchUnderLoad(t *testing.T) {
	d := newDuo(t, true, false)
	d.both()
	stop := make(chan struct{})
	var load sync.WaitGroup
	done := make([]int, 4)
	labels := []string{"Wide", "Goal", "Wide", "Goal"}
	for i := range done {
		load.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
				}
				for s := range d.desks {
					p := surface.Press{Kind: surface.Down, Surface: -1, Button: d.button(labels[i]), Cue: -1, By: fmt.Sprint(i, n)}
					if labels[i] == "Goal" { // what it does comes when the finger is lifted
						d.desks[s].Press(p)
						p.Kind = surface.Up
					}
					if d.desks[s].Press(p).Outcome == surface.Done {
						done[i]++
					}
					p.Kind = surface.Up
					d.desks[s].Press(p)
				}
				time.Sleep(3 * time.Millisecond)
			}
		})
	}
	for range 4 {
		leader, follower := d.inStep()
		if a := d.switchAt(leader); a.Outcome != surface.Done {
			t.Errorf("%+v", a)
		}
		d.sends(follower)
		time.Sleep(100 * time.Millisecond)
	}
	close(stop)
	load.Wait()
	want := done[0] + done[2]
	await(t, "all is sent", func() bool { return len(d.out.heard("cut main to wide")) >= want })
	time.Sleep(20 * time.Millisecond)
	if n := len(d.out.heard("cut main to wide")); n != want || want == 0 {
		t.Errorf("%d presses were done and %d sent", want, n)
	}
	d.stop(lease.A)
	d.stop(lease.B)
	d.replays()
}

// A show that the leader loads is the other one's too: it runs it when it takes
// over, though it never had the file.
func TestReload(t *testing.T) {
	d := newDuo(t, true, false)
	text, err := os.ReadFile("../../testdata/shows/small/small.show")
	if err != nil {
		t.Fatal(err)
	}
	next := compiled(t, strings.Replace(string(text), `"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`, 1))
	next.Devices = d.program.Devices
	d.change = func(o *control.Options) { o.Load = func() prepare.Result { return prepare.Result{Program: next} } }
	leader, follower := d.both()
	if _, err := d.desks[follower].Load(surface.Load{By: "me"}); err == nil || !strings.Contains(err.Error(), "follows") {
		t.Errorf("the one that follows loads a show: %v", err)
	}
	if r, err := d.desks[leader].Load(surface.Load{By: "me"}); err != nil || !r.Taken {
		t.Fatalf("%+v %v", r, err)
	}
	await(t, "the other one has it", func() bool { return d.desks[follower].View().Running == control.Digest(next) })
	d.inStep()
	d.crash(leader)
	d.sends(follower)
	if a := d.tap(follower, "Wide", "1"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
	await(t, "it runs the new show", func() bool { return len(d.out.heard("cut main to goal")) == 1 })
	if _, err := os.Stat(filepath.Join(d.dirs[follower], control.Digest(next)+".program")); err != nil {
		t.Error(err)
	}
	d.stop(follower)
	d.replays()
}

// The leader goes on alone and then dies: the other one does not know
// everything, so it takes over only by a press, and is held.
func TestStale(t *testing.T) {
	d := newDuo(t, true, false)
	leader, follower := d.both()
	d.cable(true)
	if a := d.tap(leader, "Wide", "1"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
	await(t, "it is sent", func() bool { return len(d.out.heard("cut main to wide")) == 1 })
	d.crash(leader)
	d.cable(false)
	time.Sleep(3 * lease.Promise)
	if v := d.ends[follower].Standing(); v.Leads || !v.Stale {
		t.Errorf("%+v", v)
	}
	if a := d.switchAt(follower); a.Outcome != surface.Done {
		t.Errorf("a press does not have it lead: %+v", a)
	}
	await(t, "it leads, and is held", func() bool { v := d.desks[follower].View(); return v.Pair.Sends && v.Held })
	if a := d.tap(follower, "Goal", "1"); a.Outcome != surface.Held {
		t.Errorf("%+v", a)
	}
}

// The witness goes and comes back: the pair goes on.
func TestWitnessGone(t *testing.T) {
	d := newDuo(t, true, false)
	leader, follower := d.both()
	d.votes[0].set(true)
	d.votes[1].set(true)
	time.Sleep(3 * lease.Promise)
	if a := d.tap(leader, "Wide", "1"); a.Outcome != surface.Done {
		t.Errorf("%+v", a)
	}
	if v := d.ends[follower].Standing(); v.Judge || v.Leads {
		t.Errorf("%+v", v)
	}
	d.votes[0].set(false)
	d.votes[1].set(false)
	await(t, "it is heard again", func() bool { return d.ends[leader].Standing().Judge })
	d.crash(leader)
	d.sends(follower)
}

// A wait that runs when the leader dies ends when it would have.
func TestWaitGoesOn(t *testing.T) {
	const wait = 2 * time.Second
	text := strings.Replace(ladder(), "macro ladder {", fmt.Sprintf("macro slow { send lights(level: 1, scene: \"half\"); wait %v; send lights(level: 2, scene: \"half\") }\nmacro ladder {", wait), 1)
	text = strings.Replace(text, "{ run ladder }", "{ run slow }", 1)
	d := newDuoOf(t, text, true, false)
	leader, follower := d.both()
	d.climb(leader, 1)
	d.crash(leader)
	d.sends(follower)
	await(t, "the wait ends", func() bool { return len(d.rungs()) == 2 })
	late := d.out.last().Sub(d.out.first("lights")) - wait
	t.Logf("late by %v", late)
	if late < -20*time.Millisecond || late > time.Second {
		t.Errorf("a wait of %v was off by %v", wait, late)
	}
}
