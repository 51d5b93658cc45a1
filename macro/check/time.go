package check

import (
	"errors"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/syntax"
	"cuewright/macro/timecode"
)

// timeRule says what a time is for, and so what makes sense.
type timeRule uint8

const (
	waitTime timeRule = iota
	cueWaitTime
	withinTime
	transitionTime
	holdTime
	stepHoldTime
	freeTime // any time, none at all too
)

// zeroMends say what to write instead of no time at all.
var zeroMends = [...]string{
	waitTime:       "leave the wait out, or write how long",
	cueWaitTime:    "leave the wait out, or write how long",
	withinTime:     "write how long it may take, such as `within 2s`",
	transitionTime: "write `cut` or `take` for a change at once, or how long it lasts",
	holdTime:       "write how long the button is held, such as `hold 1s`",
	stepHoldTime:   "write `press` for a short press, or how long it is held",
}

const (
	second       timecode.Micros = 1_000_000
	shortHold                    = second / 5
	longHold                     = 10 * second
	longMix                      = 60 * second
	longWaitTime                 = 3600 * second
)

// time checks a duration. A parameter's is checked for each call.
func (c *checker) time(op syntax.Operand, rule timeRule) {
	if op.Kind == syntax.Bad {
		return
	}
	if rule == waitTime && c.at == inCue && c.env == nil {
		rule = cueWaitTime
	}
	g := c.operand(op, noun.Duration)
	if g.param && g.ok {
		c.macro.later = append(c.macro.later, later{time: op, rule: rule})
	}
	if !g.known() {
		return
	}
	t, err := c.rack.Rate.Duration(g.value.Text)
	var m *timecode.Mistake
	switch {
	case errors.As(err, &m) && c.rack.Unrated && strings.ContainsAny(g.value.Text, ":;"):
		// nobody can tell, and that has been said
	case errors.As(err, &m):
		d := diag.New("duration-unreadable", g.value.At, "%s", m.What)
		for _, w := range m.Write {
			d = d.Replace(g.value.At, w, false, "write `%s`", w)
		}
		if len(m.Write) == 0 {
			d = d.Mend("write a time such as `12f`, `500ms`, `1.5s` or `2m`")
		}
		c.report(d, g)
	case t == 0 && rule != freeTime:
		c.report(diag.New("duration-zero", g.value.At, "`%s` is no time at all", g.value.Text).Mend("%s", zeroMends[rule]), g)
	case (rule == holdTime || rule == stepHoldTime) && (t < shortHold || t > longHold):
		c.oddHold(g, rule, t)
	case rule == transitionTime && t > longMix:
		c.report(diag.New("long-transition", g.value.At, "`%s` is more than a minute", g.value.Text).
			Mend("write a time such as `12f` or `2s`"), g)
	case rule == cueWaitTime && t > longWaitTime:
		c.report(diag.New("long-wait", g.value.At, "this cue waits for `%s`", g.value.Text).
			Mend("make it a cue of its own that is fired by hand"), g)
	}
}

// transition checks how long a mix, wipe or fade takes. A parameter's time is
// checked for each call by itself, without the action.
func (c *checker) transition(op syntax.Operand) {
	if c.env == nil {
		touch := c.touch
		c.time(op, transitionTime)
		c.touch = touch
	}
}

// oddHold warns of a button's hold that fingers cannot do well. In a
// rehearsal any hold can be tried.
func (c *checker) oddHold(g given, rule timeRule, t timecode.Micros) {
	if rule == stepHoldTime {
		return
	}
	what := "shorter than a fifth of a second"
	if t > longHold {
		what = "longer than ten seconds"
	}
	c.report(diag.New("hold-time", g.value.At, "`%s` is %s", g.value.Text, what).Mend("write a time such as `hold 1s`"), g)
}
