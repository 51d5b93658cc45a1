package compare

import (
	"cuewright/macro/program"
)

// most is the most cells of the table of a line comparison; where the two
// sides are larger, they are told whole.
const most = 4 << 20

// hunks are the differences of two scripts, which stand at wasAt and isAt.
func (d *differ) hunks(was, is []line, wasAt, isAt program.Place) []Hunk {
	head := 0
	for head < len(was) && head < len(is) && was[head].text == is[head].text {
		head++
	}
	tail := 0
	for tail < len(was)-head && tail < len(is)-head && was[len(was)-1-tail].text == is[len(is)-1-tail].text {
		tail++
	}
	a, b := was[head:len(was)-tail], is[head:len(is)-tail]
	var all []Hunk
	open := false
	if head > 0 { // a side without lines stands where the line before it does
		wasAt, isAt = was[head-1].at, is[head-1].at
	}
	last := func() *Hunk {
		if !open {
			all = append(all, Hunk{WasAt: d.was.place(wasAt), IsAt: d.is.place(isAt)})
			open = true
		}
		return &all[len(all)-1]
	}
	walk(a, b, func(x, y *line) {
		switch {
		case x != nil && y != nil:
			open, wasAt, isAt = false, x.at, y.at
		case x != nil:
			h := last()
			if h.Was = append(h.Was, x.text); len(h.Was) == 1 {
				h.WasAt = d.was.place(x.at)
			}
		default:
			h := last()
			if h.Is = append(h.Is, y.text); len(h.Is) == 1 {
				h.IsAt = d.is.place(y.at)
			}
		}
	})
	return all
}

// walk visits the lines of both sides in order: pairs that are the same, and
// lines that only one side has, along a longest common subsequence.
func walk(a, b []line, visit func(x, y *line)) {
	if len(a)*len(b) > most {
		for i := range a {
			visit(&a[i], nil)
		}
		for j := range b {
			visit(nil, &b[j])
		}
		return
	}
	common := make([][]int32, len(a)+1)
	for i := range common {
		common[i] = make([]int32, len(b)+1)
	}
	for i := len(a) - 1; i >= 0; i-- {
		for j := len(b) - 1; j >= 0; j-- {
			if a[i].text == b[j].text {
				common[i][j] = common[i+1][j+1] + 1
			} else {
				common[i][j] = max(common[i+1][j], common[i][j+1])
			}
		}
	}
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		switch {
		case i < len(a) && j < len(b) && a[i].text == b[j].text:
			visit(&a[i], &b[j])
			i++
			j++
		case j == len(b) || i < len(a) && first(common[i+1][j], common[i][j+1], a[i].text, b[j].text):
			visit(&a[i], nil)
			i++
		default:
			visit(nil, &b[j])
			j++
		}
	}
}

// first says whether the line of the old side goes first: when more stays in
// common so; where it is the same, by the texts, so that the same lines are
// told whichever version is the old one.
func first(afterOld, afterNew int32, old, now string) bool {
	return afterOld > afterNew || afterOld == afterNew && old < now
}
