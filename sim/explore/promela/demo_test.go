package promela

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"cuewright/sim/explore"
	"cuewright/sim/simtest"
)

// The demo has too many states to count, so it is compared in parts: the whole
// rack, every macro, salvo and rule, and a few buttons of a page, or a few cues.

// piece is an item of a show as it is written: its head and its lines.
type piece struct {
	kind, name string
	lines      []string
}

// pieces cuts a show where a line begins at the margin with a word.
func pieces(show string) []piece {
	var all []piece
	for line := range strings.Lines(show) {
		words := strings.Fields(line)
		if len(words) > 1 && line[0] >= 'a' && line[0] <= 'z' {
			all = append(all, piece{kind: words[0], name: words[1]})
		}
		if n := len(all); n > 0 {
			all[n-1].lines = append(all[n-1].lines, line)
		}
	}
	return all
}

// only writes a show with the buttons and cues that keep says. Pages with any
// come before those without: a surface begins with its first page.
func only(all []piece, keep func(p piece, line string) bool) string {
	var head, first, rest strings.Builder
	for _, p := range all {
		switch p.kind {
		case "show":
			head.WriteString(p.lines[0])
		case "rehearsal":
		case "page", "rundown":
			text, some := thinned(p, keep)
			switch {
			case some:
				first.WriteString(text)
			case p.kind == "page":
				rest.WriteString(text)
			}
		default:
			rest.WriteString(strings.Join(p.lines, ""))
		}
	}
	return head.String() + first.String() + rest.String()
}

// thinned is a page or rundown with some of its buttons or cues, if there are.
func thinned(p piece, keep func(p piece, line string) bool) (text string, some bool) {
	var out strings.Builder
	for _, line := range p.lines {
		if words := strings.Fields(line); len(words) > 0 && (words[0] == "button" || words[0] == "cue") {
			if !keep(p, line) {
				continue
			}
			some = true
		}
		out.WriteString(line)
	}
	return out.String(), some
}

// demoParts is so many parts of the demo: some buttons of a page of each surface,
// and in every third part the beginning of the rundown.
func demoParts(t *testing.T, n int) []sample {
	var text [2]string
	for i, name := range []string{"league.show", "rack.yaml"} {
		read, err := os.ReadFile("../../../testdata/shows/league/" + name)
		if err != nil {
			t.Fatal(err)
		}
		text[i] = string(read)
	}
	all := pieces(text[0])
	desk := []string{"cameras", "next", "replay", "robots", "machines"}
	wing := []string{"displays", "graphics"}
	var parts []sample
	for seed := uint64(0); len(parts) < n; seed++ {
		r := rand.New(rand.NewPCG(seed, 1))
		pages := []string{desk[r.IntN(len(desk))], wing[r.IntN(len(wing))]}
		cues, odds := 0, 2+r.IntN(3)
		if seed%3 == 0 {
			cues = 3 + r.IntN(5)
			pages = pages[1:]
		}
		show := only(all, func(p piece, line string) bool {
			if p.kind == "rundown" {
				cues--
				return cues >= 0
			}
			return slices.Contains(pages, p.name) && !strings.Contains(line, "{ go") && r.IntN(odds) == 0
		})
		s := sample{name: fmt.Sprintf("part %d of the demo\n%s", seed, show), p: simtest.Compile(t, show, text[1])}
		states, whole := explore.New(s.p).Reach(explore.Options{States: most})
		if s.states = states; whole && states >= 100 {
			parts = append(parts, s)
		}
	}
	return parts
}

// TestSpinOnTheDemo holds explore against SPIN on parts of the demo.
func TestSpinOnTheDemo(t *testing.T) {
	findSpin(t)
	n := 12
	if testing.Short() {
		n = 3
	}
	compareAll(t, demoParts(t, n), 4)
}
