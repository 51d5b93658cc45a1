package control

import (
	"os"
	"strings"
	"testing"
	"time"

	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

func ask(c *Controller, kind surface.Kind, output string) surface.Answer {
	return c.Press(surface.Press{Kind: kind, Surface: -1, Destination: c.View().OutputNamed(output), By: "test"})
}

// The four columns of a field that a device reports, and of a destination, of
// which a part is only assumed.
func TestColumns(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	p = at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String())
	c := start(t, p, Options{dial: peek})
	if o := outputNamed(c, "main.program"); o.Wanted != "" || o.Sent.State != surface.Nothing || o.Observed.String() != "not heard yet: black" {
		t.Errorf("at power-on: %+v", o)
	}
	if o := outputNamed(c, "side"); o.Observed.String() != "assumed: wide" {
		t.Errorf("nobody hears the router: %+v", o)
	}

	went(t, tap(t, c, button(t, p, "Wide")))
	await(t, "it is told", func() bool { return outputNamed(c, "main.program").Wanted == "wide" })
	o := outputNamed(c, "main.program")
	if o.Sent.Words != "cut main to wide" || time.Since(o.Sent.At) > time.Minute || o.Acknowledged.String() != "on its way" || o.Drifted {
		t.Errorf("after a cut: %+v", o)
	}
	if w := outputNamed(c, "web"); w.Wanted != "wide" || w.Sent != o.Sent || w.Observed.State != surface.Unheard {
		t.Errorf("web shows the bank: %+v", w)
	}
	m.says(c, 1)
	await(t, "the mixer says so", func() bool {
		return outputNamed(c, "main.program").Observed.String() == "seen: wide" && outputNamed(c, "web").Observed.String() == "seen: wide"
	})
	went(t, tap(t, c, button(t, p, "Doors")))
	await(t, "screens is assumed, since nobody hears the aux bus", func() bool {
		return outputNamed(c, "screens").Observed.String() == "assumed: wide"
	})
	stop(t, c)
}

// What somebody else has set can be adopted: it is no drift any more, and after
// a power cut it is what the show wanted.
func TestAdopt(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	dir := t.TempDir()
	p = at(leaves(r.Program()), "mixer", "osc.udp", m.conn.LocalAddr().String())
	c := start(t, p, Options{Dir: dir, dial: peek})
	for _, x := range []struct{ name, output string }{{"a field", "main.program"}, {"a destination", "web"}} {
		t.Run(x.name, func(t *testing.T) {
			went(t, tap(t, c, button(t, p, "Wide")))
			time.Sleep(time.Duration(settling)*time.Microsecond + 50*time.Millisecond)
			m.says(c, 2)
			await(t, "it has drifted", func() bool { return outputNamed(c, x.output).Drifted && drifted(c) == "main.program" })
			if o := outputNamed(c, x.output); o.Wanted != "wide" || o.Observed.String() != "seen: goal" || !o.NeedsLook() {
				t.Errorf("drifted: %+v", o)
			}
			sent := m.count()
			a := ask(c, surface.Adopt, x.output)
			if went(t, a); a.Text != "adopted: main.program is goal" {
				t.Errorf("%+v", a)
			}
			await(t, "it is no drift any more", func() bool { return drifted(c) == "" && outputNamed(c, x.output).Wanted == "goal" })
			if m.count() != sent {
				t.Error("adopting has sent something")
			}
			if a := ask(c, surface.Adopt, x.output); a.Outcome != surface.Refused || a.Reason != step.NothingToDo {
				t.Errorf("there is nothing more to adopt: %+v", a)
			}
		})
	}
	time.Sleep(50 * time.Millisecond)
	left := cut(t, dir)
	stop(t, c)
	replays(t, dir)

	c = start(t, p, Options{Dir: left, dial: peek})
	if o := outputNamed(c, "main.program"); o.Wanted != "goal" || o.Sent.Words != "cut main to wide" {
		t.Errorf("after the cut: %+v", o)
	}
	stop(t, c)
	adopted := 0
	if _, err := Read(left, func(e Entry) error {
		if e.Kind == "adopted" && e.What == "main.program is wanted as goal" || e.Kind == "press" && e.What == "adopt: web" {
			adopted++
		}
		return nil
	}); err != nil || adopted != 4 { // a press was refused
		t.Errorf("the log tells %d of two fields and two presses, %v", adopted, err)
	}
}

// A field that was seen to be otherwise can be set again.
func TestResendField(t *testing.T) {
	p := compiled(t)
	r, _ := rack(t, p)
	m := &mixer{sink: newSink(t), t: t}
	dir := t.TempDir()
	p = at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String())
	c := start(t, p, Options{Dir: dir, dial: peek})
	went(t, tap(t, c, button(t, p, "Wide")))
	time.Sleep(time.Duration(settling)*time.Microsecond + 50*time.Millisecond)
	m.says(c, 2)
	await(t, "it has drifted", func() bool { return drifted(c) == "main.program" })
	sent := m.count()
	went(t, ask(c, surface.Resend, "main.program"))
	await(t, "the cut is sent again", func() bool { return m.count() == sent+1 })
	m.says(c, 1)
	await(t, "all is as it should be", func() bool { return drifted(c) == "" })
	if a := ask(c, surface.Resend, "deck.state"); a.Outcome != surface.Refused {
		t.Errorf("a deck's state cannot be sent: %+v", a)
	}
	if a := ask(c, surface.Adopt, "no such output"); a.Outcome != surface.Refused {
		t.Errorf("%+v", a)
	}
	stop(t, c)
	replays(t, dir)
}

const looking = `show "Looking" uses "../../testdata/shows/small/rack.yaml"

page cameras on desk {
  button 1.1 "Seen"    { expect main.program == goal within 9s else note "no" }
  button 1.2 "Timed"   { load deck with "opener"; expect deck.cued within 2s else note "no" }
  button 1.3 "Assumed" { wait until safety.rolling within 100ms }
  button 1.4 "Missed"  { expect screens.shows(goal) within 100ms else note "so be it" }
  button 1.5 "Own"     { expect rundown.standby == 1 else note "no" }
  button 2.1 "Clip"    { expect deck.clip == "opener" else note "no" }
}

rundown {
  cue 1 "Doors" { route screens from main }
}
`

// The log says what an expectation rests on: on what a device has said, on what
// it should have done by now, on nothing that could be heard, or on the show.
func TestSureness(t *testing.T) {
	found := prepare.Show("looking.show", func(name string) ([]byte, error) {
		if name == "looking.show" {
			return []byte(looking), nil
		}
		return os.ReadFile(name)
	})
	if found.Program == nil {
		t.Fatal(found.Findings)
	}
	r, _ := rack(t, found.Program)
	m := &mixer{sink: newSink(t), t: t}
	p := at(r.Program(), "mixer", "osc.udp", m.conn.LocalAddr().String())
	dir := t.TempDir()
	c := start(t, p, Options{Dir: dir, dial: peek})
	for _, label := range []string{"Seen", "Timed", "Assumed", "Missed", "Own", "Clip"} {
		tap(t, c, button(t, p, label))
	}
	m.says(c, 2)
	await(t, "all have ended", func() bool {
		running := false
		look(c, func(s *show) {
			for i := range p.Tasks {
				running = running || s.running(int32(i))
			}
		})
		return !running
	})
	stop(t, c)
	var told []string
	if _, err := journal.Read(dir, func(r journal.Record) error {
		if (r.Kind == journal.Mark || r.Kind == journal.Alert) && r.By == "show" {
			told = append(told, r.Text)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	text := strings.Join(told, "\n") + "\n"
	for _, want := range []string{
		"what was expected is so (seen): looking.show:4",
		"what was expected is so (assumed: the device has not said so of `deck.state`): looking.show:5",
		"waits no longer (assumed: the plan does not say how `safety.state` is heard): looking.show:6",
		"what was expected did not come true (assumed: the plan does not say how `aux1` is heard): looking.show:7",
		"what was expected is so: looking.show:8",
		"what was expected is so (assumed: the plan does not say how `deck.clip` is heard): looking.show:9",
	} {
		if !strings.Contains(text, want+"\n") {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	replays(t, dir)
}
