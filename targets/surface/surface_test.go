package surface_test

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"cuewright/sim/step"
	"cuewright/targets/surface"
	"cuewright/targets/surface/surfacetest"
)

// TestHandRemembers: a finger comes up from the button that it went down on,
// though the page has turned under it.
func TestHandRemembers(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	h := surface.Hand{Desk: d, By: "test"}
	crew := d.Button(t, "cameras", 3, 4)
	if a := h.Down(0, 3, 4, 1); a.Outcome != surface.Done {
		t.Fatalf("%+v", a)
	}
	if page := d.View().PageName(0); page != "crew" {
		t.Fatalf("the page is %s", page)
	}
	h.Up(0, 3, 4, 2)
	all := d.Pressed()
	if len(all) != 2 || all[1].Kind != surface.Up || all[1].Button != crew || all[1].Number != 2 {
		t.Errorf("pressed %+v", all)
	}
	if a := h.Up(0, 3, 4, 3); a.Outcome != surface.Repeated || len(d.Pressed()) != 2 {
		t.Errorf("a finger that is not there came up: %+v", a)
	}
}

// TestHandGone: every finger comes up, in the order in which they went down.
func TestHandGone(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	h := surface.Hand{Desk: d, By: "test"}
	h.Down(0, 1, 3, 0)
	h.Down(0, 1, 1, 0)
	h.Down(0, 1, 2, 0)
	h.Up(0, 1, 1, 0)
	h.Gone()
	h.Gone()
	all := d.Pressed()
	if len(all) != 6 {
		t.Fatalf("%d presses, want 6: %+v", len(all), all)
	}
	for i, want := range []int32{d.Button(t, "cameras", 1, 3), d.Button(t, "cameras", 1, 2)} {
		if p := all[4+i]; p.Kind != surface.Up || p.Button != want {
			t.Errorf("got %+v, want button %d up", p, want)
		}
	}
}

// TestHandAndReload: what was down before a reload fires nothing after it.
func TestHandAndReload(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	h := surface.Hand{Desk: d, By: "test"}
	h.Down(0, 1, 2, 0)
	d.Swap(surfacetest.Load(t, "league/league.show"))
	if a := h.Up(0, 1, 2, 0); a.Outcome != surface.Refused {
		t.Errorf("%+v", a)
	}
}

// TestGrid: ButtonAt and Grid say the same of every place, and no place
// outside has a button.
func TestGrid(t *testing.T) {
	v := surfacetest.New(t, surfacetest.Load(t, "league/league.show")).View()
	for i := range v.Program.Surfaces {
		s := &v.Program.Surfaces[i]
		grid := v.Grid(int32(i))
		for row := int32(-1); row <= s.Rows+1; row++ {
			for column := int32(-1); column <= s.Columns+1; column++ {
				want := int32(-1)
				if row >= 1 && row <= s.Rows && column >= 1 && column <= s.Columns {
					want = grid[(row-1)*s.Columns+column-1]
				}
				if got := v.ButtonAt(int32(i), row, column); got != want {
					t.Errorf("%s %d.%d: %d, want %d", s.Name, row, column, got, want)
				}
			}
		}
	}
	if v.ButtonAt(-1, 1, 1) != -1 || v.ButtonAt(99, 1, 1) != -1 {
		t.Error("a surface that is none has buttons")
	}
	none := *v
	none.Page = []int32{-1, -1}
	if none.ButtonAt(0, 1, 1) != -1 || none.PageName(0) != "" || none.Grid(0)[0] != -1 {
		t.Error("a surface without a page shows one")
	}
}

// TestWords: what a cover, a cue and an outcome are called.
func TestWords(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	stop := d.Button(t, "cameras", 3, 5)
	if d.View().Cover(stop) != "shut" || d.View().Cover(d.Button(t, "cameras", 1, 1)) != "none" {
		t.Error("covers")
	}
	d.Event(step.Down, stop, 0)
	if d.View().Cover(stop) != "open" {
		t.Error("the cover is not open")
	}
	end := *d.View()
	end.Standby = int32(len(end.Program.Cues))
	if n, l := end.StandbyCue(); n != "" || l != "" {
		t.Errorf("at the end %q %q is on standby", n, l)
	}
	if surface.Done.String() != "done" || surface.Busy.String() != "busy" {
		t.Error("outcomes")
	}
}

// TestAlertsAfter: only what is new, and all when what was told is long gone.
func TestAlertsAfter(t *testing.T) {
	a, b, c := surface.Alert{Text: "a"}, surface.Alert{Text: "b"}, surface.Alert{Text: "c"}
	v := &surface.View{Alerts: []surface.Alert{a, b, c}}
	for last, want := range map[surface.Alert]int{a: 2, c: 0, {Text: "gone"}: 3} {
		if got := v.AlertsAfter(last); len(got) != want {
			t.Errorf("after %q: %v", last.Text, got)
		}
	}
}

// edge is a contact that closes or opens some milliseconds after the last did.
type edge struct {
	after  int
	closed bool
}

// TestContacts: a contact that bounces as it closes is one finger that goes
// down and stays; a short touch lasts Bounce; each finger comes up once.
func TestContacts(t *testing.T) {
	for _, c := range []struct {
		name  string
		edges []edge
		want  string // with the milliseconds since the first
	}{
		{"a slow tap", []edge{{0, true}, {100, false}}, "0 down, 100 up"},
		{"a quick one", []edge{{0, true}, {5, false}}, "0 down, 20 up"},
		{"it bounces as it closes", []edge{{0, true}, {2, false}, {3, true}, {1, false}, {4, true}, {490, false}}, "0 down, 500 up"},
		{"and is let go at once", []edge{{0, true}, {2, false}, {3, true}, {5, false}}, "0 down, 20 up"},
		{"opens twice", []edge{{0, true}, {4, false}, {4, false}}, "0 down, 20 up"},
		{"two taps", []edge{{0, true}, {60, false}, {60, true}, {60, false}}, "0 down, 60 up, 120 down, 180 up"},
		{"closes again as it comes to rest", []edge{{0, true}, {5, false}, {16, true}, {100, false}}, "0 down, 20 up, 21 down, 121 up"},
		{"is pulled out while it bounces", []edge{{0, true}, {2, false}}, "0 down, 20 up"},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := &timed{Desk: surfacetest.New(t, surfacetest.Show(t)), began: time.Now()}
				h := surface.Hand{Desk: d, By: "test", Contacts: true}
				for _, e := range c.edges {
					time.Sleep(time.Duration(e.after) * time.Millisecond)
					if e.closed {
						h.Down(0, 1, 3, 0)
					} else {
						h.Up(0, 1, 3, 0)
					}
				}
				time.Sleep(surface.Bounce)
				synctest.Wait()
				h.Gone()
				if got := strings.Join(d.all, ", "); got != c.want {
					t.Errorf("pressed %s, want %s", got, c.want)
				}
			})
		})
	}
}

// timed notes when what is pressed.
type timed struct {
	surface.Desk
	began time.Time
	all   []string
}

func (d *timed) Press(p surface.Press) surface.Answer {
	if p.Judged == nil {
		d.all = append(d.all, fmt.Sprint(time.Since(d.began).Milliseconds(), map[surface.Kind]string{surface.Down: " down", surface.Up: " up"}[p.Kind]))
	}
	return d.Desk.Press(p)
}

// TestGoneWhileItBounces: nothing comes up later from a hand that has gone.
func TestGoneWhileItBounces(t *testing.T) {
	d := surfacetest.New(t, surfacetest.Show(t))
	h := surface.Hand{Desk: d, By: "test", Contacts: true}
	h.Down(0, 1, 3, 0)
	h.Up(0, 1, 3, 0)
	h.Gone()
	time.Sleep(2 * surface.Bounce)
	if n := len(d.Pressed()); n != 2 {
		t.Errorf("%d presses, want 2", n)
	}
}
