package surface_test

import (
	"testing"

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
