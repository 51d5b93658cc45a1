package control

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"cuewright/macro/program"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// book is a show on the disk that a test rewrites.
type book struct {
	t    *testing.T
	path string
	text string
}

func newBook(t *testing.T) *book {
	dir := t.TempDir()
	for _, name := range []string{"small.show", "rack.yaml"} {
		data, err := os.ReadFile("../../testdata/shows/small/" + name)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b := &book{t: t, path: filepath.Join(dir, "small.show")}
	data, _ := os.ReadFile(b.path)
	b.text = string(data)
	return b
}

func (b *book) load() prepare.Result { return prepare.Show(b.path, prepare.Disk) }

// with writes the show with other words in it.
func (b *book) with(pairs ...string) {
	b.t.Helper()
	text := b.text
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			b.t.Fatalf("the show has no %q", pairs[i])
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	if err := os.WriteFile(b.path, []byte(text), 0o600); err != nil {
		b.t.Fatal(err)
	}
}

// running is the book's show on stand-ins. It does not hear what they say.
func (b *book) running(dir string) (*Controller, *lines) {
	p := b.load().Program
	r, out := rack(b.t, p)
	places := r.Program().Devices
	c := start(b.t, deaf(p), Options{Dir: dir, Load: func() prepare.Result {
		r := b.load()
		if r.Program != nil {
			r.Program = deaf(r.Program)
		}
		return r
	}, Devices: func(p *program.Program) ([]program.Device, error) {
		all := slices.Clone(p.Devices)
		for i := range all {
			for _, at := range places {
				if at.Name == all[i].Name {
					all[i].Wire, all[i].Address = at.Wire, at.Address
				}
			}
		}
		return all, nil
	}})
	return c, out
}

func (b *book) reload(c *Controller, how surface.Load) surface.Loaded {
	b.t.Helper()
	r, err := c.Load(how)
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (l *lines) total() int { return l.heard("") }

func (b *book) button(c *Controller, label string) int32 {
	b.t.Helper()
	return button(b.t, c.View().Program, label)
}

// A new show takes over between two presses: page, standby and buses stay by
// their names, and nothing is sent.
func TestReload(t *testing.T) {
	b, dir := newBook(t), t.TempDir()
	c, out := b.running(dir)
	went(t, tap(t, c, b.button(c, "Wide")))
	went(t, tap(t, c, b.button(c, "Crew")))
	went(t, c.Press(surface.Press{Kind: surface.Go, Cue: 0, Surface: -1, By: "test"}))
	await(t, "the doors are open", func() bool { return out.heard("route aux1 from main") == 1 })
	time.Sleep(20 * time.Millisecond)
	sent := out.total()

	old := c.View()
	b.with(`button 1.1 "Wide"    { cut main to wide }`, `button 1.1 "Goal now" { cut main to goal }`,
		`cue 1 "Doors"     { run doors }`, "cue 0.5 \"Before\" { note \"before\" }\n  cue 1 \"Doors\"     { run doors }")
	if r := b.reload(c, surface.Load{}); !r.Taken {
		t.Errorf("it waits for %v", r.Waits)
	}
	await(t, "surfaces see it", func() bool { return c.View().Running != old.Running && c.View().Running == c.View().OnDisk })
	v := c.View()
	if page := v.Program.Pages[v.Page[0]].Name; page != "crew" {
		t.Errorf("the desk shows %s", page)
	}
	if q := v.Program.Cues[v.Standby].Number; q != "2" {
		t.Errorf("cue %s is on standby", q)
	}
	look(c, func(s *show) {
		if got := s.p.Banks[0].Picks[s.m.L.Get(s.state, s.p.Banks[0].Program)].Label; got != "wide" {
			t.Errorf("main shows %s", got)
		}
	})
	time.Sleep(20 * time.Millisecond)
	if out.total() != sent {
		t.Error("loading a show has sent something")
	}
	if a := c.Press(surface.Press{Of: old.Program, Kind: surface.Down, Button: 0, Surface: -1, By: "late"}); a.Outcome != surface.Refused {
		t.Errorf("a press by the old page: %+v", a)
	}
	went(t, tap(t, c, b.button(c, "Back")))
	went(t, tap(t, c, b.button(c, "Goal now")))
	await(t, "the new button does what it says", func() bool { return out.heard("cut main to goal") == 1 })
	stop(t, c)
	if r := replays(t, dir); r.Messages != out.total() {
		t.Errorf("%d messages were replayed, %d were heard", r.Messages, out.total())
	}
}

// A macro that runs and is the same in both goes on where it is, at its time.
// One that is not is waited for, or ended when that is forced.
func TestReloadWhileScriptsRun(t *testing.T) {
	b := newBook(t)
	b.text = strings.Replace(b.text, "fade main to black over 1s", "note \"quiet begins\"; wait 600ms; key logo on; wait 100ms; key logo off", 1)
	b.with()
	c, out := b.running("")
	went(t, tap(t, c, b.button(c, "Quiet")))
	b.with(`"Wide"    { cut main to wide }`, `"Broad" { cut main to wide }`)
	if r := b.reload(c, surface.Load{}); !r.Taken {
		t.Fatalf("it waits for %v", r.Waits)
	}
	running := func() bool {
		is := false
		look(c, func(s *show) { is = len(s.tell.Scene(s.state).Running) > 0 })
		return is
	}
	if !running() {
		t.Fatal("the macro was ended")
	}
	await(t, "it goes on", func() bool { return out.heard("switch fan on") == 1 })

	b.with("wait 600ms", "wait 700ms")
	r := b.reload(c, surface.Load{})
	if r.Taken || !slices.Contains(r.Waits, "quiet") && !strings.Contains(strings.Join(r.Waits, " "), "quiet") {
		t.Errorf("taken %v, waits for %v", r.Taken, r.Waits)
	}
	if v := c.View(); v.Running == r.Digest {
		t.Error("it has taken over already")
	}
	await(t, "it takes over when the macro has ended", func() bool { return c.View().Running == r.Digest })

	time.Sleep(30 * time.Millisecond)
	went(t, tap(t, c, b.button(c, "Quiet")))
	b.with("wait 600ms", "wait 800ms")
	if r := b.reload(c, surface.Load{Force: true}); !r.Taken || running() {
		t.Errorf("forced: %+v, running %v", r, running())
	}
	stop(t, c)
}

func TestReloadRefusesErrors(t *testing.T) {
	b := newBook(t)
	c, _ := b.running("")
	b.with("cut main to wide", "cut main to wdie")
	if _, err := c.Load(surface.Load{Force: true}); err == nil || !strings.Contains(err.Error(), "wdie") {
		t.Errorf("got %v", err)
	}
	if v := c.View(); v.Program.Show != "Small show" {
		t.Error("the old show does not run on")
	}
	stop(t, c)
	if _, err := c.Load(surface.Load{}); err == nil {
		t.Error("a stopped show reloads")
	}
}

// A show on the disk that is not the one that runs is to be seen on every
// surface, without anybody asking.
func TestOnDisk(t *testing.T) {
	b := newBook(t)
	p := b.load().Program
	c := start(t, p, Options{Load: b.load, Devices: func(p *program.Program) ([]program.Device, error) {
		return make([]program.Device, len(p.Devices)), nil
	}})
	b.with("cut main to wide", "cut main to goal")
	await(t, "the digests differ", func() bool { return c.View().OnDisk != c.View().Running })
	b.with("cut main to wide", "cut main to nowhere")
	await(t, "it has errors", func() bool { return c.View().OnDisk == "with errors" })
	stop(t, c)
}
