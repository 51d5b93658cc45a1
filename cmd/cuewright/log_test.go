package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"cuewright/sim/story"
	"cuewright/targets/control"
)

// evening is a few records as a journal has them: a press after what it did,
// an answer before its message, one that never came.
func evening() []control.Entry {
	at := func(second int, kind, who, what, came string) control.Entry {
		return control.Entry{Time: time.Date(2027, 1, 31, 23, 59, 50+second, 0, time.UTC), Micros: int64(second) * 1e6, Timecode: "00:00:0" + string(rune('0'+second)) + ":00",
			Kind: kind, Who: who, What: what, Came: came}
	}
	goal := at(1, "event", "", `desk: cameras 1.2 "Goal"`, "")
	goal.Pressed = true
	goal.Beat = &story.Beat{Shows: []story.Change{{What: "hall", To: "goal"}, {What: "lobby", To: "goal"}, {What: "stage", To: "wide"}}, Came: []string{"goal"}}
	up, lifted := goal, at(1, "press", "ann", `cameras 1.2 "Goal" let go`, "done")
	up.Beat, lifted.LetGo = &story.Beat{}, true
	return []control.Entry{
		at(1, "outcome", "deck", "load deck", "done: answered 200"),
		goal,
		at(1, "sent", "mixer", "cut main to goal  [/bank/1/program i:2]", ""),
		at(1, "sent", "deck", "load deck  [PUT /clip]", ""),
		at(1, "cue", "", `cue 1 "Doors"`, ""),
		at(1, "press", "ann", `cameras 1.2 "Goal"`, "done"),
		up, lifted,
		at(2, "press", "osc 192.0.2.7:9000", `cameras 1.2 "Goal"`, "refused: the page is not showing"),
		at(3, "outcome", "mixer", "cut main to goal", "failed: the device is away"),
		at(4, "event", "", "replay: a wait of 7s is over", ""),
		at(4, "sent", "deck", "stop deck  [PUT /stop]", ""),
	}
}

func written(t *testing.T, cells int, how func(streams) (writer, func() error)) string {
	t.Helper()
	var out bytes.Buffer
	write, flush := how(streams{out: &out, width: func() int { return cells }})
	for _, e := range evening() {
		if err := write(e); err != nil {
			t.Fatal(err)
		}
	}
	if err := flush(); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// A press stands before what it did, and each message with what became of it.
func TestLogTable(t *testing.T) {
	const want = `2027-01-31
time          timecode     what
23:59:51.000  00:00:01:00  press  cameras 1.2 "Goal"  -> done, by ann
                                  mixer: cut main to goal  [/bank/1/program i:2]  -> failed: the device is away
                                  deck: load deck  [PUT /clip]  -> answered 200
                                  cue 1 "Doors" is fired
23:59:52.000  00:00:02:00  press  cameras 1.2 "Goal"  -> refused: the page is not showing, by osc 192.0.2.7:9000
23:59:54.000  00:00:04:00         replay: a wait of 7s is over
                                  deck: stop deck  [PUT /stop]  -> nobody knows
`
	if got := written(t, 0, table); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// On a terminal no line is wider than it, and nothing is left out.
func TestLogOnATerminal(t *testing.T) {
	words := func(text string) string { return strings.Join(strings.Fields(text), " ") }
	for _, cells := range []int{80, 120} {
		got := written(t, cells, table)
		for line := range strings.Lines(got) {
			if n := len(strings.TrimRight(line, "\n")); n > cells {
				t.Errorf("%d cells on a terminal of %d: %s", n, cells, line)
			}
		}
		if words(got) != words(written(t, 0, table)) {
			t.Errorf("on %d cells it says\n%s", cells, got)
		}
	}
}

// The sheet has who pressed what, and what is seen where, those that show the
// same in one line.
func TestAsRunSheet(t *testing.T) {
	const want = `2027-01-31
time          timecode     what
23:59:51.000  00:00:01:00  PRESS  cameras 1.2 "Goal", by ann
                           CUE    cue 1 "Doors"
                                  hall, lobby show goal
                                  stage shows wide
                                  on air: goal
23:59:52.000  00:00:02:00  PRESS  cameras 1.2 "Goal"  -> refused: the page is not showing, by osc 192.0.2.7:9000
`
	if got := written(t, 0, sheet); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A device that answers nothing holds up no more than mostDeeds deeds.
func TestLogDoesNotWait(t *testing.T) {
	n := 0
	d := &deeds{write: func(deed) error { n++; return nil }}
	for i := range 3 * mostDeeds {
		e := control.Entry{Kind: "event", Micros: int64(i)}
		if err := d.add(e); err != nil {
			t.Fatal(err)
		}
		e.Kind, e.Who = "sent", "deck"
		if err := d.add(e); err != nil {
			t.Fatal(err)
		}
		if len(d.all) > mostDeeds+1 {
			t.Fatalf("%d deeds wait", len(d.all))
		}
	}
	if err := d.end(); err != nil || n != 3*mostDeeds {
		t.Errorf("%d written, %v", n, err)
	}
}
