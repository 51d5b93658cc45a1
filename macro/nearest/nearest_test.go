package nearest

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestNames(t *testing.T) {
	names := []string{"tower", "north_goal", "south_goal", "roam", "deck", "main"}
	tests := []struct {
		word string
		want []string
	}{
		{"towr", []string{"tower"}},
		{"twoer", []string{"tower"}}, // two letters changed over count once
		{"TOWER", []string{"tower"}},
		{"noth_goal", []string{"north_goal", "south_goal"}},
		{"dekc", []string{"deck"}},
		{"zebra", nil},
		{"deck", nil}, // the word itself is no suggestion
	}
	for _, tt := range tests {
		if got := Names(tt.word, names); !slices.Equal(got, tt.want) {
			t.Errorf("Names(%q) = %q, want %q", tt.word, got, tt.want)
		}
	}
	if got := Names("lin", []string{"line4", "line1", "line2", "line3", "line5"}); len(got) > 4 {
		t.Errorf("more than four: %q", got)
	}
}

func TestQuote(t *testing.T) {
	for want, names := range map[string][]string{
		"": nil, "`a`": {"a"}, "`a` or `b`": {"a", "b"}, "`a`, `b` or `c`": {"a", "b", "c"},
	} {
		if got := Quote(names); got != want {
			t.Errorf("Quote(%q) = %q, want %q", names, got, want)
		}
	}
}

// The distance is the same both ways, none from a word to itself, and one
// letter more or less is a distance of one.
func TestDistance(t *testing.T) {
	word := rapid.StringMatching(`[a-z]{0,12}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		if d, e := distance(a, b, 99), distance(b, a, 99); d != e || (d == 0) != (a == b) {
			t.Fatalf("distance %q %q: %d and %d", a, b, d, e)
		}
		i := rapid.IntRange(0, len(a)).Draw(t, "i")
		if d := distance(a, a[:i]+"x"+a[i:], 99); d != 1 {
			t.Fatalf("a letter more is %d", d)
		}
	})
}
