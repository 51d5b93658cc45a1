package control

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"cuewright/targets/journal"
	"cuewright/targets/osc"
	"cuewright/targets/surface"
)

// onPaper are devices that write down what they are told.
func onPaper(o Options) (Options, *paper) {
	told := &paper{start: time.Now()}
	o.clock = func(at int64) clock { return bubbleClock{startClock(at)} }
	o.dial = func(program.Device, osc.Handler, func()) (link, error) { return told, nil }
	return o, told
}

func (d *paper) told() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.Clone(d.all)
}

// journalOf are the records of a folder's last file and where each ends in it.
func journalOf(t *testing.T, dir string) (file string, records []journal.Record, ends []int64) {
	t.Helper()
	files, err := journal.Files(dir)
	if err != nil || len(files) == 0 {
		t.Fatalf("%q, %v", files, err)
	}
	file = files[len(files)-1]
	if _, err := journal.ReadFile(file, func(r journal.Record) error { records = append(records, r); return nil }); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(file)
	if err != nil {
		t.Fatal(err)
	}
	at := info.Size()
	ends = make([]int64, len(records))
	for i, r := range slices.Backward(records) {
		ends[i] = at
		at -= int64(len(r.Append(nil)))
	}
	return file, records, ends
}

// nights are journals of which the last three records are of every kind that
// there is where it matters. Each is made in a bubble, so that the same is
// written at the same time.
func nights(p *program.Program) map[string]func(*testing.T, string) {
	run := func(t *testing.T, dir string, do func(*Controller), orderly bool) string {
		o, _ := onPaper(Options{Dir: dir})
		c := start(t, p, o)
		do(c)
		time.Sleep(time.Second)
		left := cut(t, dir)
		stop(t, c)
		if orderly {
			return dir
		}
		return left
	}
	tapped := func(t *testing.T, label string) func(*Controller) {
		return func(c *Controller) { went(t, tap(t, c, button(t, p, label))) }
	}
	copied := func(t *testing.T, from, to string) {
		if err := os.CopyFS(to, os.DirFS(from)); err != nil {
			t.Fatal(err)
		}
	}
	return map[string]func(*testing.T, string){
		"a show that has just begun": func(t *testing.T, dir string) { copied(t, run(t, t.TempDir(), func(*Controller) {}, false), dir) },
		"after a press":              func(t *testing.T, dir string) { copied(t, run(t, t.TempDir(), tapped(t, "Wide"), false), dir) },
		"in the middle of a script":  func(t *testing.T, dir string) { copied(t, run(t, t.TempDir(), tapped(t, "Replay"), false), dir) },
		"at its orderly end":         func(t *testing.T, dir string) { copied(t, run(t, t.TempDir(), tapped(t, "Wide"), true), dir) },
		"the next night begins": func(t *testing.T, dir string) {
			first := run(t, t.TempDir(), tapped(t, "Doors"), true)
			copied(t, run(t, first, func(*Controller) {}, false), dir)
		},
		"cut off twice": func(t *testing.T, dir string) {
			first := run(t, t.TempDir(), tapped(t, "Replay"), false)
			copied(t, run(t, first, func(*Controller) {}, false), dir)
		},
		"resumed and cut off again": func(t *testing.T, dir string) {
			first := run(t, t.TempDir(), tapped(t, "Replay"), false)
			copied(t, run(t, first, func(c *Controller) {
				went(t, c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"}))
				went(t, tap(t, c, button(t, p, "Goal")))
			}, false), dir)
		},
	}
}

// Cut at every byte of its last three records, a journal brings the show back
// to where the whole records have it: with its scripts ended, held, and having
// told no device anything, also after a while. A show that had ended in order,
// or had done nothing, begins anew and is not held.
func TestCutAtEveryByteAndRecover(t *testing.T) {
	p := leaves(deaf(compiled(t)))
	for name, night := range nights(p) {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			synctest.Test(t, func(t *testing.T) { night(t, dir) })
			file, records, ends := journalOf(t, dir)
			if len(records) < 2 {
				t.Fatalf("%d records", len(records))
			}
			first := max(len(records)-3, 0)
			from := ends[first] - int64(len(records[first].Append(nil)))
			for size := from; size <= ends[len(ends)-1]; size++ {
				left := cut(t, dir)
				if err := os.Truncate(filepath.Join(left, filepath.Base(file)), size); err != nil {
					t.Fatal(err)
				}
				synctest.Test(t, func(t *testing.T) {
					recovers(t, p, left, fmt.Sprintf("%s cut at %d of %d", name, size, ends[len(ends)-1]))
				})
				if t.Failed() {
					return
				}
			}
		})
	}
}

// wanted is where a journal says that a show stands, worked out from its
// records alone and from the first of them on, and whether it was cut off.
func wanted(t *testing.T, p *program.Program, dir string) (*show, bool) {
	t.Helper()
	m := newShow(p, Digest(p))
	cutOff, begun := false, m.state.Clone()
	if _, err := journal.Read(dir, func(r journal.Record) error {
		switch r.Kind {
		case journal.Snapshot:
			if !cutOff { // a new night
				m.state.CopyFrom(begun)
			}
			cutOff = cutOff || r.At > 0
		case journal.Event:
			m.effects = m.m.Apply(m.state, step.Event{Kind: step.EventKind(r.A), A: r.B, B: r.C, At: r.At}, m.effects[:0])
			cutOff = true
		case journal.Stopped:
			cutOff = false
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return m, cutOff
}

func recovers(t *testing.T, p *program.Program, dir, where string) {
	want, cutOff := wanted(t, p, dir)
	o, told := onPaper(Options{Dir: dir})
	c := start(t, p, o)
	v := c.View()
	if v.Held != cutOff {
		t.Errorf("%s: held %v, want %v", where, v.Held, cutOff)
	}
	wide := button(t, p, "Wide")
	if !cutOff {
		want = newShow(p, Digest(p))
	} else if a := c.Press(down(wide)); a.Outcome != surface.Held {
		t.Errorf("%s: a press: %+v", where, a)
	}
	if text := fmt.Sprint(v.Alerts); strings.Contains(text, "cut off at") != cutOff || strings.Contains(text, "cannot be told") {
		t.Errorf("%s: told %s", where, text)
	}
	want.halt()
	want.lift()
	look(c, func(s *show) {
		for v := range p.Vars {
			if is, be := s.m.L.Get(s.state, int32(v)), want.m.L.Get(want.state, int32(v)); is != be {
				t.Errorf("%s: %s is %s, want %s", where, p.Vars[v].Name, s.tell.Value(int32(v), is), s.tell.Value(int32(v), be))
			}
		}
	})
	time.Sleep(3 * time.Second)
	if all := told.told(); len(all) > 0 {
		t.Errorf("%s: it has sent %q", where, all)
	}
	if cutOff {
		went(t, c.Press(surface.Press{Kind: surface.Resume, Surface: -1, By: "test"}))
	}
	went(t, tap(t, c, wide))
	time.Sleep(time.Second)
	if all := told.told(); len(all) != 1 {
		t.Errorf("%s: one press afterwards sent %q", where, all)
	}
	stop(t, c)
	replays(t, dir)
}

// leaves is a program whose plan wishes nothing after a power cut.
func leaves(p *program.Program) *program.Program {
	q := *p
	q.Destinations = slices.Clone(p.Destinations)
	for i := range q.Destinations {
		q.Destinations[i].AfterCut, q.Destinations[i].Safe = program.Leave, -1
	}
	return &q
}
