package check

import (
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/plan"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// labelCells is how many terminal cells of a label a small key shows. Common
// practice, no published source.
const labelCells = 14

// openButton is an unguarded button, with what its scripts stop and run.
type openButton struct {
	stops []stop
	runs  []run
}

// page checks a page: its surfaces, then each button by itself and beside the
// others.
func (c *checker) page(n *syntax.Page) {
	c.at, c.macro = inButton, nil
	var on []*plan.Surface
	for i, s := range n.Surfaces {
		if hasName(n.Surfaces[:i], s.Text) && s.Text != "" {
			c.add(diag.New("name-taken", s.At, "`%s` is named twice", s.Text).Mend("leave one of the two out"))
			continue
		}
		if e := c.planName(s, noun.Surface); e != nil {
			on = append(on, e.Surface)
		}
	}
	for _, a := range n.Allows {
		c.allow(a, n.At)
	}
	turns, runs := len(c.turns), len(c.runs)
	clear(c.taken)
	for _, b := range n.Buttons {
		c.place(n, b, on)
		c.label(b)
		c.button(b)
	}
	if p := c.pages[n.Name.Text]; p != nil && p.node == n {
		p.turns, p.runs = c.turns[turns:], c.runs[runs:]
	}
}

// place checks where a button stands.
func (c *checker) place(n *syntax.Page, b *syntax.Button, on []*plan.Surface) {
	if b.Cell.Row == 0 || b.Cell.Column == 0 {
		return // it could not be read, and that has been said
	}
	cell := [2]int{b.Cell.Row, b.Cell.Column}
	if first, dup := c.taken[cell]; dup {
		c.add(diag.New("place-taken", b.Cell.At, "page `%s` already has a button at %d.%d", n.Name.Text, cell[0], cell[1]).
			With(first, "the first one").Mend("give one of the two another place"))
		return
	}
	c.taken[cell] = b.Cell.At
	for _, s := range on {
		if s.Rows == 0 || s.Columns == 0 {
			continue // its size could not be read, and that has been said
		}
		if cell[0] > s.Rows || cell[1] > s.Columns {
			c.add(diag.New("button-off-grid", b.Cell.At, "`%s` has %d rows and %d columns, and no place %d.%d",
				s.Name, s.Rows, s.Columns, cell[0], cell[1]).
				With(s.At, "the surface in the plan").
				Mend("move the button, or take the page off `%s`", s.Name))
			return
		}
	}
}

// label checks what is written on a button.
func (c *checker) label(b *syntax.Button) {
	if b.Label.At.IsZero() {
		return // missing altogether, and that has been said
	}
	if strings.TrimSpace(b.Label.Text) == "" {
		c.add(diag.New("label-missing", b.Label.At, "this button has an empty label").
			Mend("write in one or two words what it does"))
	} else if w := source.Width(b.Label.Text); w > labelCells {
		c.add(diag.New("label-long", b.Label.At, "this label is %d characters wide, and a small key shows %d", w, labelCells).
			Mend("find a shorter one, and begin with what tells it from its neighbours"))
	}
}

// button checks a button's scripts and lamps.
func (c *checker) button(b *syntax.Button) {
	stops, runs := len(c.stops), len(c.runs)
	c.body(b.Press)
	if b.Hold != nil {
		c.time(b.HoldAfter, holdTime)
		c.body(b.Hold)
	}
	c.body(b.Release)
	for _, l := range b.Lamps {
		c.cond(l.When)
	}
	if b.Guarded.IsZero() && (len(c.stops) > stops || len(c.runs) > runs) {
		c.open = append(c.open, openButton{c.stops[stops:len(c.stops):len(c.stops)], c.runs[runs:len(c.runs):len(c.runs)]})
	}
}

// openStops warns of recorders and encoders that an unguarded button stops,
// itself or by what it runs.
func (c *checker) openStops() {
	const code = "stop-unguarded"
	for _, b := range c.open {
		for _, s := range b.stops {
			c.add(diag.New(code, s.at, "this button stops `%s` and is not guarded", s.what).
				Mend("write `guarded` after the button's label"))
		}
		for _, r := range b.runs {
			if len(r.to.first) == 0 {
				continue
			}
			s := r.to.first[0]
			c.add(diag.New(code, r.at, "this button stops `%s` by running `%s`, and is not guarded", s.what, r.to.name.Text).
				With(s.at, "stopped here").
				Mend("write `guarded` after the button's label"))
		}
	}
}
