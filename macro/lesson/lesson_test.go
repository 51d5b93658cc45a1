package lesson

import (
	"slices"
	"strings"
	"testing"

	"cuewright/macro/diag"
)

// Every code is taught, and nothing else is.
func TestEveryCodeHasALesson(t *testing.T) {
	for _, e := range diag.Codes() {
		if _, ok := Get(e.Code); !ok {
			t.Errorf("code %s has no lesson: write macro/lesson/%s.txtar", e.Code, e.Code)
		}
	}
	for _, code := range All() {
		if !diag.Known(code) {
			t.Errorf("macro/lesson/%s.txtar teaches a code that no table has", code)
		}
	}
}

// A lesson is a few lines for a tired reader, with both sides of the matter.
func TestLessonsAreShortAndComplete(t *testing.T) {
	for _, code := range All() {
		l, _ := Get(code)
		if n := len(strings.Split(l.Words, "\n")); l.Words == "" || n > 6 {
			t.Errorf("%s: the lesson has %d lines; 1 to 6 can be read on the night", code, n)
		}
		var sides []string
		for _, f := range l.Files {
			side, form, _ := strings.Cut(f.Name, ".")
			if !slices.Contains([]string{"show", "yaml", "command", "txt"}, form) {
				t.Errorf("%s: what is %s?", code, f.Name)
			}
			sides = append(sides, side)
			if strings.TrimSpace(f.Text) == "" {
				t.Errorf("%s: %s is empty", code, f.Name)
			}
		}
		for _, side := range []string{"wrong", "mended"} {
			if !slices.Contains(sides, side) {
				t.Errorf("%s: no %s example", code, side)
			}
		}
	}
}

func TestAbsentLesson(t *testing.T) {
	for _, code := range []diag.Code{"no-such-code", "", "../diag/codes", "lesson.go"} {
		if l, ok := Get(code); ok {
			t.Errorf("Get(%q) = %v", code, l)
		}
	}
}

// forbidden words are those of compilers, not of the people who read this.
var forbidden = []string{"illegal", "unexpected token", "ast", "node", "parse", "identifier", "expression", "nil",
	"string", "int32", "float64", "struct", "map[", "interface", "syntax tree"}

// Titles and reasons speak the user's language.
func TestTitlesAndReasonsArePlain(t *testing.T) {
	for _, e := range diag.Codes() {
		if e.Title == "" || e.Why == "" {
			t.Errorf("%s: no title or no reason", e.Code)
		}
		text := " " + strings.ToLower(strings.Map(lettersOnly, e.Title+" "+e.Why)) + " "
		for _, word := range forbidden {
			if strings.Contains(text, " "+word+" ") {
				t.Errorf("%s says %q: %s / %s", e.Code, word, e.Title, e.Why)
			}
		}
	}
}

func lettersOnly(r rune) rune {
	if strings.ContainsRune(".,;:!?()`\"'", r) {
		return ' '
	}
	return r
}
