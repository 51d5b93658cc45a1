// Package nearest finds the names that a misspelt word may have meant.
package nearest

import (
	"slices"
	"strings"
)

// Names gives up to four of the candidates that are near word, the nearest
// first and equal ones in alphabetical order. Distance is that of Damerau and
// Levenshtein (optimal string alignment), ignoring case; a name counts as near
// up to a third of its length, and at least one.
func Names(word string, candidates []string) []string {
	type hit struct {
		name string
		d    int
	}
	w := strings.ToLower(word)
	var hits []hit
	for _, c := range candidates {
		limit := max(1, max(len(w), len(c))/3)
		if d := distance(w, strings.ToLower(c), limit); d <= limit && c != word {
			hits = append(hits, hit{c, d})
		}
	}
	slices.SortFunc(hits, func(a, b hit) int {
		if a.d != b.d {
			return a.d - b.d
		}
		return strings.Compare(a.name, b.name)
	})
	var out []string
	for _, h := range hits {
		if len(out) < 4 && !slices.Contains(out, h.name) {
			out = append(out, h.name)
		}
	}
	return out
}

// Quote lists names in backticks: "`a`, `b` or `c`".
func Quote(names []string) string {
	var b strings.Builder
	for i, n := range names {
		switch {
		case i == 0:
		case i == len(names)-1:
			b.WriteString(" or ")
		default:
			b.WriteString(", ")
		}
		b.WriteString("`" + n + "`")
	}
	return b.String()
}

// distance is the optimal string alignment distance, or limit+1 when it is
// larger than limit.
func distance(a, b string, limit int) int {
	if len(a)-len(b) > limit || len(b)-len(a) > limit {
		return limit + 1
	}
	two, one, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range one {
		one[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		best := i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(one[j]+1, row[j-1]+1, one[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], two[j-2]+1)
			}
			best = min(best, row[j])
		}
		if best > limit {
			return limit + 1
		}
		two, one, row = one, row, two
	}
	return one[len(b)]
}
