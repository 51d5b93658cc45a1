package control

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/timecode"
	"cuewright/targets/chase"
	"cuewright/targets/surface"
)

// onCode runs the small show with its cue 4 at a timecode, and one more. What
// they do is told by alerts.
func onCode(t *testing.T, test func(*evening)) {
	onEvening(t, func(e *evening) {
		e.swap("at timecode 01:02:03:04 { key logo off }", `at timecode 01:00:00:10 { alert "anthem" }`+"\n"+`  cue 5 "Flag" at timecode 01:00:00:20 { alert "flag" }`,
			"timecode 01:02:03:04; expect not logo.on", "timecode 01:00:00:10")
		test(e)
	})
}

func code(text string) timecode.Rate {
	r, ok := timecode.ParseRate(text)
	if !ok {
		panic(text)
	}
	return r
}

// hour is 01:00:00:00 at 25.
const hour = 3600 * 25

func (e *evening) code(m chase.Move) {
	if m.Rate.Num == 0 {
		m.Rate = code("25")
	}
	e.Timecode(m)
	e.wait(50 * time.Millisecond)
}

func rolls(frame, ran int64) chase.Move {
	return chase.Move{State: chase.Locked, Frame: hour + frame, Ran: ran, Was: -1}
}

// A cue fires when the timecode runs through its frame, once; a jump over it is
// told.
func TestByTheTimecode(t *testing.T) {
	jump := func(was, frame, ran int64) chase.Move {
		m := rolls(frame, ran)
		m.Jumped, m.Was = true, hour+was
		return m
	}
	for _, c := range []struct {
		name        string
		moves       []chase.Move
		fired, says string
	}{
		{"up to just before it", []chase.Move{rolls(9, 10)}, "", ""},
		{"onto it", []chase.Move{rolls(9, 10), rolls(10, 1)}, "anthem", "anthem"},
		{"through it", []chase.Move{rolls(12, 5)}, "anthem", "anthem"},
		{"through both", []chase.Move{rolls(30, 25)}, "anthem flag", "flag"},
		{"twice", []chase.Move{rolls(10, 1), jump(10, 5, 0), rolls(12, 7)}, "anthem", "anthem"},
		{"back and through the second", []chase.Move{rolls(10, 1), jump(10, 5, 0), rolls(25, 20)}, "anthem flag", "flag"},
		{"jumped over", []chase.Move{rolls(5, 1), jump(5, 15, 2)}, "", `the timecode has jumped over cue 4 "Anthem" at timecode 01:00:00:10: it is not fired`},
		{"jumped onto it", []chase.Move{rolls(5, 1), jump(5, 10, 0)}, "", `jumped over cue 4 "Anthem"`},
		{"jumped over the first and ran through the second", []chase.Move{rolls(5, 1), jump(5, 21, 3)}, "flag", `jumped over cue 4 "Anthem"`},
		{"jumped back over it", []chase.Move{jump(15, 5, 0)}, "", ""},
		{"backwards", []chase.Move{{State: chase.Locked, Frame: hour + 10, Was: -1, Back: true}}, "", ""},
		{"another rate", []chase.Move{{State: chase.Locked, Rate: code("24"), Frame: hour/25*24 + 10, Ran: 1, Was: -1}}, "", "the timecode counts as at 24, and the show as at 25: it fires nothing"},
		{"it starts at it", []chase.Move{{State: chase.Locked, Frame: hour + 11, Ran: 2, Was: -1, Jumped: true}}, "anthem", "anthem"},
	} {
		t.Run(c.name, func(t *testing.T) {
			onCode(t, func(e *evening) {
				e.t = t
				for _, m := range c.moves {
					e.code(m)
				}
				var fired []string
				for _, a := range e.View().Alerts {
					if a.Text == "anthem" || a.Text == "flag" {
						fired = append(fired, a.Text)
					}
				}
				if got := strings.Join(fired, " "); got != c.fired {
					t.Errorf("fired %q, want %q", got, c.fired)
				}
				e.says(c.says, true)
				e.end()
			})
		})
	}
}

// Surfaces see where it is, and what it fires next.
func TestTimecodeIsShown(t *testing.T) {
	onCode(t, func(e *evening) {
		if v := e.View().Code; v != (surface.Code{Next: 4}) {
			t.Errorf("without one: %+v", v)
		}
		e.code(chase.Move{Frame: -1, Was: -1})
		if v := e.View().Code; v != (surface.Code{State: "silent", Next: 4}) {
			t.Errorf("silent: %+v", v)
		}
		e.code(rolls(5, 1))
		if v := e.View().Code; v != (surface.Code{State: "locked", Label: "01:00:00:05", Next: 4}) {
			t.Errorf("locked: %+v", v)
		}
		e.code(rolls(12, 7))
		if v := e.View().Code; v != (surface.Code{State: "locked", Label: "01:00:00:12", Next: 5}) {
			t.Errorf("past the first: %+v", v)
		}
		e.end()
	})
}

// However moves are gathered while the loop is busy, the same frames have been
// run through.
func TestMovesAreGathered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b moves
		frame := int64(1000)
		want, got := map[int64]bool{}, map[int64]bool{}
		read := func() {
			for _, m := range b.take() {
				for n := range m.Ran {
					got[m.Frame-n] = true
				}
			}
		}
		jumps := 0
		for range rapid.IntRange(0, 40).Draw(t, "moves") {
			m := chase.Move{State: chase.Locked, Rate: code("25"), Was: -1}
			if rapid.IntRange(0, 4).Draw(t, "jump") == 0 && jumps < mostMoves {
				m.Jumped, m.Was = true, frame
				frame += rapid.Int64Range(-200, 200).Draw(t, "by")
				jumps++
			} else {
				m.Ran = rapid.Int64Range(0, 3).Draw(t, "ran")
				frame += m.Ran
			}
			m.Frame = frame
			for n := range m.Ran {
				want[frame-n] = true
			}
			if b.put(m); rapid.Bool().Draw(t, "read") {
				read()
				jumps = 0
			}
		}
		read()
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("ran through %v, want %v", got, want)
		}
	})
}

// A timecode that floods costs no more than a turn at a time, and presses come
// through.
func TestTimecodeFloods(t *testing.T) {
	p := deaf(compiled(t))
	synctest.Test(t, func(t *testing.T) {
		o, _ := byHand(Options{})
		c := start(t, p, o)
		for i := range int64(100_000) {
			c.Timecode(chase.Move{State: chase.Locked, Rate: code("25"), Frame: i, Ran: 1, Jumped: i%2 == 0, Was: -1})
		}
		went(t, c.Press(down(button(t, p, "Wide"))))
		stop(t, c)
	})
}
