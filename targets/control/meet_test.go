package control

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/osc"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// Under 10,000 presses by five hands, 100 reloads lose none: each is done once,
// under one show, sends what that show says, and the log says which.
func TestReloadsLoseNoPress(t *testing.T) {
	const hands, presses, reloads = 5, 2000, 100
	b := newBook(t)
	var versions [2]*program.Program
	for i := range versions {
		text := b.text
		for hand := range hands {
			text = strings.Replace(text, "page cameras on desk {", fmt.Sprintf("page cameras on desk {\n  button 2.%d \"Hand %d\" { send lights(level: %d, scene: \"v%d\") }", hand+1, hand, hand, i), 1)
		}
		b.text, text = text, b.text
		b.with(`button 2.1 "Replay"`, `button 3.1 "Replay"`, `button 2.2 "Quiet"`, `button 3.2 "Quiet"`)
		b.text = text
		if versions[i] = b.load().Program; versions[i] == nil {
			t.Fatal(b.load().Findings)
		}
		versions[i] = deaf(versions[i])
	}
	var next atomic.Int32 // the watch over the file reads too
	told, dir := &paper{start: time.Now()}, t.TempDir()
	c := start(t, versions[0], Options{Dir: dir,
		dial: func(program.Device, osc.Handler, func()) (link, error) { return told, nil },
		Load: func() prepare.Result { return prepare.Result{Program: versions[next.Add(1)%2]} }})
	var all sync.WaitGroup
	for hand := range hands {
		all.Go(func() {
			for i := range presses { // each by somebody else, so that nothing is a bounce
				h := surface.Hand{Desk: c, By: fmt.Sprintf("hand %d press %d", hand, i)}
				if a := h.Down(0, 2, int32(hand)+1, 0); a.Outcome != surface.Done {
					t.Errorf("%s: %+v", h.By, a)
				}
				h.Gone()
			}
		})
	}
	for range reloads {
		if r, err := c.Load(surface.Load{By: "test"}); err != nil || !r.Taken {
			t.Errorf("%+v, %v", r, err)
		}
		time.Sleep(time.Millisecond)
	}
	all.Wait()
	stop(t, c)

	var sent []string
	digests := []string{Digest(versions[0]), Digest(versions[1])}
	done, under := 0, map[string]int{}
	if _, err := Read(dir, func(e Entry) error {
		switch {
		case e.Kind == "sent":
			sent = append(sent, e.What)
		case e.Kind == "press" && !strings.Contains(e.What, "let go"):
			done++
			under[e.Program]++
			version := slices.Index(digests, e.Program)
			if want := fmt.Sprintf("/lights/v%d ", version); len(sent) != 1 || !strings.Contains(sent[0], want) || e.Came != "done" {
				t.Errorf("%s %s -> %s under version %d sent %q", e.Who, e.What, e.Came, version, sent)
			}
			sent = nil
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if done != hands*presses || len(told.all) != hands*presses || len(under) != 2 {
		t.Errorf("%d presses are in the log, %d messages were sent, under %v", done, len(told.all), under)
	}
	replays(t, dir)
}

// What a press means that was made on the show before.
func TestPressMeetsReload(t *testing.T) {
	b := newBook(t)
	was := deaf(b.load().Program)
	b.with(`"Wide"    { cut main to wide }`, `"Wide"    { cut main to goal }`, `"Quiet"   {`, `"Silent"  {`, `button 3.4 "Crew"`, `button 3.3 "Crew"`,
		`cue 2 "Titles"`, `cue 2 "Headlines"`, `cue 1 "Doors"     { run doors }`, `cue 0.5 "Before" { note "before" }`+"\n  "+`cue 1 "Doors"     { run doors }`)
	now := deaf(b.load().Program)
	s := newShow(now, Digest(now))
	cue := func(number string) int32 {
		return int32(slices.IndexFunc(was.Cues, func(c program.Cue) bool { return c.Number == number }))
	}
	press := func(k surface.Kind, label string) surface.Press {
		p := surface.Press{Of: was, Kind: k, Surface: 0, Button: -1, Cue: -1, Destination: -1}
		if label != "" {
			p.Button = button(t, was, label)
		}
		return p
	}
	means := func(what string, p surface.Press, want bool) surface.Press {
		t.Helper()
		if s.meets(&p) != want {
			t.Errorf("%s: it means something: %v", what, !want)
		}
		return p
	}
	if p := means("the same label", press(surface.Down, "Wide"), true); p.Of != now || p.Button != button(t, now, "Wide") {
		t.Errorf("it became %+v", p)
	}
	means("the finger comes up", press(surface.Up, "Wide"), true)
	means("another label", press(surface.Down, "Quiet"), false)
	means("another place", press(surface.Down, "Crew"), false)
	means("no button", surface.Press{Of: was, Kind: surface.Down, Surface: 0, Button: 9999}, false)
	means("another show", surface.Press{Of: new(program.Program), Kind: surface.Down}, false)
	to := press(surface.Go, "")
	to.Cue = cue("1")
	if p := means("a cue", to, true); now.Cues[p.Cue].Number != "1" || p.Cue == to.Cue {
		t.Errorf("it became %+v", p)
	}
	to.Cue = cue("2")
	means("another cue of that number", to, false)
	means("the cue on standby", press(surface.Go, ""), true)
	means("standby", press(surface.Skip, ""), true)
	means("keep", press(surface.Keep, ""), false)
	means("end the trial", press(surface.Return, ""), false)
	again := press(surface.Resend, "")
	again.Destination = 0
	means("a destination", again, true)
	lost := press(surface.StopAll, "")
	lost.Of, lost.Surface = new(program.Program), 7
	means("stop all", lost, true)
	lost.Kind = surface.Resume
	means("resume", lost, true)
}

// A finger that is down when a show takes over comes up from the same button,
// or, where there is none any more, has been lifted; so it never stays down.
func TestFingerOverReload(t *testing.T) {
	onStage(t, func(s *stage) {
		h := surface.Hand{Desk: s.Controller, By: "hand"}
		isDown := func(label string) (down bool) {
			look(s.Controller, func(x *show) { down = x.m.L.Get(x.state, x.p.Buttons[button(t, x.p, label)].Down) != 0 })
			return down
		}
		load := func(pairs ...string) {
			t.Helper()
			s.book.with(pairs...)
			if r, err := s.Load(surface.Load{By: "test"}); err != nil || !r.Taken {
				t.Fatalf("%+v %v", r, err)
			}
			time.Sleep(50 * time.Millisecond)
		}
		went(t, h.Down(0, 1, 3, 0))                          // Talk: a release of its own
		load(`"Wide"    {`, `"Wide"    { cut main to goal;`) // another button
		if !isDown("Talk") {
			t.Error("the finger is not down any more")
		}
		went(t, h.Up(0, 1, 3, 0))
		if isDown("Talk") {
			t.Error("the finger is still down")
		}
		s.wants("down and up", "/keyer/1 F:false", "/keyer/1 T:true")
		time.Sleep(time.Second)
		went(t, h.Down(0, 1, 2, 0)) // Goal: it fires when the finger comes up
		load(`"Goal"    {`, `"Target"  {`)
		if isDown("Target") {
			t.Error("a finger is on what it never touched")
		}
		if a := h.Up(0, 1, 2, 0); a.Outcome != surface.Refused {
			t.Errorf("it came up: %+v", a)
		}
		time.Sleep(2 * time.Second)
		s.wants("nothing fired")
		s.end()
	})
}

// holder is who has taken a surface over.
func (s *stage) holder(name string) string { return s.View().Holder[s.View().SurfaceNamed(name)] }

// From the press on that takes a surface over only the taker's presses count on
// it, until somebody else takes it or it is given back. What helps in need is
// for everybody, and so is what is on no surface.
func TestTakeOver(t *testing.T) {
	onStage(t, func(s *stage) {
		desk := func(by string, kind surface.Kind, label string) surface.Answer {
			t.Helper()
			p := surface.Press{Kind: kind, Surface: 0, Button: -1, Cue: -1, Destination: 0, By: by}
			if label != "" {
				p.Button = button(t, s.View().Program, label)
			}
			a := s.Press(p)
			time.Sleep(50 * time.Millisecond)
			return a
		}
		denied := func(a surface.Answer) {
			t.Helper()
			if a.Outcome != surface.Refused || a.Text != "desk has been taken over by "+s.holder("desk") {
				t.Errorf("%+v", a)
			}
		}
		went(t, desk("keypad", surface.Down, "Talk"))
		went(t, desk("tablet", surface.TakeOver, ""))
		if s.holder("desk") != "tablet" || s.holder("side_desk") != "" || !strings.Contains(s.alerts(), "desk has been taken over by tablet") {
			t.Errorf("holders %v: %s", s.View().Holder, s.alerts())
		}
		went(t, desk("keypad", surface.Up, "Talk")) // a finger may always come up
		for _, kind := range []surface.Kind{surface.Go, surface.Back, surface.Skip, surface.Resend} {
			denied(desk("keypad", kind, ""))
		}
		denied(desk("keypad", surface.Down, "Wide"))
		s.wants("by the keypad", "/keyer/1 F:false", "/keyer/1 T:true")
		went(t, desk("tablet", surface.Down, "Wide"))
		s.wants("by the tablet", "/bank/1/program i:1")
		went(t, desk("keypad", surface.StopAll, ""))
		for _, kind := range []surface.Kind{surface.Resume, surface.Keep, surface.Return} {
			if a := desk("keypad", kind, ""); a.Reason != step.NothingToDo {
				t.Errorf("%v: %+v", kind, a)
			}
		}
		if a := desk("keypad", surface.GiveBack, ""); a.Outcome != surface.Refused {
			t.Errorf("somebody else gave it back: %+v", a)
		}
		if a := desk("tablet", surface.TakeOver, ""); a.Outcome != surface.Refused || a.Reason != step.NothingToDo {
			t.Errorf("taken over twice: %+v", a)
		}
		went(t, desk("keypad", surface.TakeOver, ""))
		denied(desk("tablet", surface.Down, "Goal"))
		s.book.with(`"Wide"    {`, `"Wide 2"  {`)
		if _, err := s.Load(surface.Load{By: "test"}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(50 * time.Millisecond)
		if s.holder("desk") != "keypad" {
			t.Error("a reload gave it back")
		}
		went(t, s.Press(surface.Press{Kind: surface.GiveBack, Surface: -1, Button: -1, By: "keypad"})) // all that it has
		time.Sleep(50 * time.Millisecond)
		if s.holder("desk") != "" || !strings.Contains(s.alerts(), "desk is everybody's again") {
			t.Errorf("holders %v", s.View().Holder)
		}
		went(t, desk("tablet", surface.Down, "Wide 2"))
		if a := s.Press(surface.Press{Kind: surface.TakeOver, Surface: -1, Button: -1, By: "x"}); a.Outcome != surface.Refused {
			t.Errorf("no surface was taken over: %+v", a)
		}
		went(t, desk("tablet", surface.TakeOver, ""))
		s.dir = s.cut()
		s.begin()
		if s.holder("desk") != "" {
			t.Error("after a restart somebody holds it")
		}
		went(t, desk("tablet", surface.TakeOver, "")) // also while it is held
		s.end()
	})
}

// A hand that leaves gives back what it has taken, and only that; one that took
// nothing leaves without a word.
func TestHandLeaves(t *testing.T) {
	onStage(t, func(s *stage) {
		one, two := surface.Hand{Desk: s.Controller, By: "one"}, surface.Hand{Desk: s.Controller, By: "two"}
		went(t, one.Give(surface.TakeOver, 0, -1, -1, 0))
		went(t, two.Give(surface.TakeOver, 1, -1, -1, 0))
		went(t, one.Down(0, 1, 3, 0))
		time.Sleep(50 * time.Millisecond)
		one.Leave()
		one.Leave()
		time.Sleep(50 * time.Millisecond)
		if s.holder("desk") != "" || s.holder("side_desk") != "two" {
			t.Errorf("holders %v", s.View().Holder)
		}
		s.wants("its finger came up", "/keyer/1 F:false", "/keyer/1 T:true")
		went(t, one.Give(surface.TakeOver, 1, -1, -1, 0))
		two.Leave()
		time.Sleep(50 * time.Millisecond)
		if s.holder("side_desk") != "one" {
			t.Error("who has lost it gave it back")
		}
		s.end()
	})
}

// Every press that is refused is in the log, with who, what and why.
func TestRefusalsAreInTheLog(t *testing.T) {
	onStage(t, func(s *stage) {
		p := s.View().Program
		press := func(by string, kind surface.Kind, label string, number uint64) surface.Press {
			x := surface.Press{Of: p, Kind: kind, Surface: 0, Button: -1, Cue: -1, Destination: -1, By: by, Number: number}
			if label != "" {
				x.Button = button(t, p, label)
			}
			return x
		}
		h := surface.Hand{Desk: s.Controller, By: "hand"}
		s.Press(press("ann", surface.Down, "Wide", 1))
		s.Press(press("ann", surface.Down, "Wide", 1))
		s.Press(press("ann", surface.Down, "Wide", 2)) // a bounce
		s.Press(press("ann", surface.Down, "Doors", 3))
		h.Down(0, 3, 1, 0)
		h.Judged(surface.Go, -1, 0, surface.Answer{Outcome: surface.Refused, Text: "there is no cue of that number"})
		s.Press(press("bob", surface.TakeOver, "", 0))
		s.Press(press("ann", surface.Down, "Goal", 4))
		s.Press(press("bob", surface.Down, "Stop", 0)) // opens its cover, which is done
		s.Press(press("bob", surface.Back, "", 0))
		s.Press(press("bob", surface.Keep, "", 0))
		late := press("cat", surface.Down, "Wide", 0)
		late.Of = new(program.Program)
		s.Press(late)
		s.owner.Lock() // too much waits
		for full := false; !full; {
			select {
			case s.queue <- func() {}:
			default:
				full = true
			}
		}
		s.Press(press("dan", surface.Down, "Goal", 0))
		s.owner.Unlock()
		s.dir = s.cut()
		s.begin()
		s.Press(press("eve", surface.Go, "", 0))
		stop(t, s.Controller)
		s.Controller = nil
		var got []string
		if _, err := Read(s.dir, func(e Entry) error {
			if e.Kind == "press" && !strings.HasPrefix(e.Came, "done") {
				got = append(got, e.Who+": "+e.What+": "+e.Came)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		want := []string{
			`ann: desk: cameras 1.1 "Wide": ignored: it came twice`,
			`ann: desk: cameras 1.1 "Wide": ignored: it came twice`,
			`ann: desk: crew 1.3 "Doors": refused: crew 1.3 "Doors" is not showing on desk`,
			`hand: desk: press: refused: there is no button at 3.1 now`,
			`hand: go: refused: there is no cue of that number`,
			`ann: desk: cameras 1.2 "Goal": refused: desk has been taken over by bob`,
			`bob: desk: back: refused: the rundown has no more cues in this direction`,
			`bob: desk: keep the show on trial: refused: no show is on trial`,
			`cat: desk: cameras 1.1 "Wide": refused: another show has been loaded`,
			`dan: desk: cameras 1.2 "Goal": too busy: too much is waiting: it was not done`,
			`eve: desk: go: held: nothing is done before somebody resumes`,
		}
		if fmt.Sprint(strings.Join(got, "\n")) != strings.Join(want, "\n") {
			t.Errorf("in the log:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	})
}
