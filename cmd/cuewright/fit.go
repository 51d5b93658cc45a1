package main

import (
	"strings"
	"unicode"

	"cuewright/macro/source"
)

// fit cuts or pads a text to a number of terminal cells. Characters that would
// steer the terminal are left out.
func fit(text string, cells int) string {
	var b strings.Builder
	width := 0
	for _, r := range text {
		if unicode.IsControl(r) {
			continue
		}
		w := source.Width(string(r))
		if width+w > cells {
			break
		}
		b.WriteRune(r)
		width += w
	}
	return b.String() + strings.Repeat(" ", cells-width)
}
