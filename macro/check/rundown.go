package check

import (
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/syntax"
)

// declareCues lists the cues of the rundown and reports numbers given twice
// or out of order.
func (c *checker) declareCues() {
	if c.info.Rundown == nil {
		return
	}
	cues := c.info.Rundown.Cues
	c.moments(c.info.Rundown)
	c.info.Cues = make(map[string]int, len(cues))
	values := make(map[string]int, len(cues))
	last := -1
	for i, q := range cues {
		if q.Number.Text == "" {
			continue
		}
		c.info.Cues[q.Number.Text] = i
		v := cueValue(q.Number.Text)
		if first, dup := values[v]; dup {
			c.add(diag.New("cue-twice", q.Number.At, "there is already a cue %s", q.Number.Text).
				With(cues[first].Number.At, "the first one").Mend("give one of the two another number"))
			c.info.Cues[cues[first].Number.Text] = first
			continue
		}
		values[v] = i
		if last >= 0 && !rises(cueValue(cues[last].Number.Text), v) {
			c.add(diag.New("cue-order", q.Number.At, "cue %s stands after cue %s", q.Number.Text, cues[last].Number.Text).
				With(cues[last].Number.At, "the one before").
				Mend("put the cues in the order of their numbers"))
			continue
		}
		last = i
	}
}

// cueValue is a cue's number without leading and trailing zeros, so that 2,
// 02 and 2.0 are one.
func cueValue(text string) string {
	whole, part, _ := strings.Cut(text, ".")
	return strings.TrimLeft(whole, "0") + "." + strings.TrimRight(part, "0")
}

// rises says whether cue value b is above a.
func rises(a, b string) bool {
	aw, ap, _ := strings.Cut(a, ".")
	bw, bp, _ := strings.Cut(b, ".")
	if len(aw) != len(bw) {
		return len(aw) < len(bw)
	}
	return aw < bw || aw == bw && ap < bp
}

// rundown checks the cues' scripts and what they follow.
func (c *checker) rundown(n *syntax.Rundown) {
	c.at, c.macro = inCue, nil
	turns, first := len(c.turns), len(c.runs)
	for i, q := range n.Cues {
		if q.Follow.Text != "" && c.cueNamed(q.Follow) && c.info.Cues[q.Follow.Text] >= i {
			what := "after it"
			if c.info.Cues[q.Follow.Text] == i {
				what = "itself"
			}
			c.add(diag.New("follow-later", q.Follow.At, "cue %s follows cue %s, which is %s", q.Number.Text, q.Follow.Text, what).
				Mend("follow a cue that stands before this one"))
		}
		c.time(q.After, freeTime)
		goes, runs := len(c.goes), len(c.runs)
		c.body(q.Body)
		c.jumps(q, c.goes[goes:])
		for _, r := range c.runs[runs:] {
			c.fired(q, r.to)
		}
	}
	c.cueTurns, c.cueRuns = c.turns[turns:], c.runs[first:]
}

// cueNamed says whether the rundown has a cue, and reports when it has not.
func (c *checker) cueNamed(n syntax.Name) bool {
	if _, ok := c.info.Cues[n.Text]; ok {
		return true
	}
	if c.env != nil {
		return false
	}
	if c.info.Rundown == nil {
		c.add(diag.New("unknown-cue", n.At, "there is no cue %s: this show has no rundown", n.Text).
			Mend("write `rundown { cue %s \"…\" { … } }`", n.Text))
		return false
	}
	d := diag.New("unknown-cue", n.At, "the rundown has no cue %s", n.Text)
	var names []string
	for _, q := range c.info.Rundown.Cues {
		if cueValue(q.Number.Text) == cueValue(n.Text) {
			c.add(d.Replace(n.At, q.Number.Text, true, "write `%s`, as the cue does", q.Number.Text))
			return false
		}
		names = append(names, q.Number.Text)
	}
	for _, name := range c.nearest(n.Text, names) {
		d = d.Replace(n.At, name, false, "write `%s`", name)
	}
	if len(d.Mends) == 0 {
		d = d.Mend("add the cue to the rundown")
	}
	c.add(d)
	return false
}

// jumps reports cues fired by number in a cue's own script.
func (c *checker) jumps(q *syntax.Cue, goes []namedGo) {
	for _, g := range goes {
		c.add(diag.New("go-in-cue", g.at, "cue %s fires a cue by number", q.Number.Text).
			With(q.Number.At, "the cue").
			Mend("write `go` without a number, or give the button that number"))
	}
}

// fired reports the cues that a macro fires by number when a cue runs it.
func (c *checker) fired(q *syntax.Cue, m *macro) {
	if m.fired {
		return
	}
	m.fired = true
	for _, g := range m.goes {
		c.add(diag.New("go-in-cue", g.at, "`%s` fires a cue by number, and cue %s runs it", m.name.Text, q.Number.Text).
			With(q.Number.At, "the cue that runs it").
			Mend("write `go` without a number, or give the button that number"))
	}
	for _, callee := range m.calls {
		c.fired(q, callee)
	}
}
