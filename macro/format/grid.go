package format

import (
	"slices"

	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// page lays out a page, and its buttons so that the lines look like the grid:
// places, labels and what follows them stand under one another.
func (l *layout) page(n *syntax.Page) {
	for _, a := range n.Allows {
		l.begin(a.At.Start, 1)
	}
	var row []*syntax.Button
	for i, b := range n.Buttons {
		if i > 0 && l.apart(n.Buttons[i-1].At.End, b.At.Start) {
			l.align(row)
			row = row[:0]
		}
		l.begin(b.At.Start, 1)
		if l.button(b) {
			row = append(row, b)
			continue
		}
		l.align(row)
		row = row[:0]
	}
	l.align(row)
	l.end(n.At, len(n.Buttons)+len(n.Allows))
}

// apart says that a blank line or something other than comments stands between
// two offsets.
func (l *layout) apart(start, end int32) bool {
	ends := 0
	for i := l.index(start); i < len(l.tokens) && l.tokens[i].Start < end; i++ {
		switch k := l.tokens[i].Kind; {
		case k == syntax.Newline:
			if ends++; ends > 1 {
				return true
			}
		case k == syntax.Comment:
			ends = 0
		case !separates(l.f, l.tokens[i]):
			return true
		}
	}
	return false
}

// parts are where the parts of a button begin that follow its press block.
func (l *layout) parts(b *syntax.Button) []int32 {
	var list []int32
	if b.Hold != nil {
		list = append(list, l.before(b.HoldAfter.At.Start))
	}
	if b.Release != nil {
		list = append(list, l.before(b.Release.At.Start))
	}
	for _, lamp := range b.Lamps {
		list = append(list, lamp.At.Start)
	}
	slices.Sort(list)
	return list
}

// button lays out a button and says whether it is one line.
func (l *layout) button(b *syntax.Button) bool {
	parts := l.parts(b)
	oneLine := l.fits(b.At, 1+(len(parts)+1)/2)
	for _, start := range parts {
		oneLine = oneLine && !l.lines(l.before(start), start)
	}
	for _, start := range parts {
		if oneLine {
			l.gap(start, 2)
		} else {
			l.begin(start, 2)
		}
	}
	l.press(b, parts, oneLine)
	l.partBlock(b.Hold, oneLine)
	l.partBlock(b.Release, oneLine)
	return oneLine
}

func (l *layout) press(b *syntax.Button, parts []int32, oneLine bool) {
	switch {
	case b.Press == nil:
	case oneLine:
		l.flat(b.Press)
	default:
		end := b.At.End
		if len(parts) > 0 {
			end = parts[0]
		}
		l.unit(source.Span{File: b.At.File, Start: b.At.Start, End: min(end, b.Press.At.End)}, 1, b.Press)
	}
}

func (l *layout) partBlock(b *syntax.Block, oneLine bool) {
	switch {
	case b == nil:
	case oneLine:
		l.flat(b)
	default:
		l.unit(b.At, 2, b)
	}
}

// align puts the buttons of consecutive lines in columns.
func (l *layout) align(row []*syntax.Button) {
	cells, labels := 0, 0
	for _, b := range row {
		cells = max(cells, source.Width(b.Cell.At.Text()))
		labels = max(labels, source.Width(b.Label.At.Text()))
	}
	for _, b := range row {
		l.gap(b.Label.At.Start, 1+cells-source.Width(b.Cell.At.Text()))
		if after := l.next(b.Label.At.End); after < b.At.End && after > b.Label.At.Start {
			l.gap(after, 2+labels-source.Width(b.Label.At.Text()))
		}
	}
}
