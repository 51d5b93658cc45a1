package syntax_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cuewright/macro/diag"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"pgregory.net/rapid"
)

const root = "../../testdata/"

func parse(text string) (*syntax.File, diag.List) {
	return syntax.Parse(source.New("test.show", []byte(text)))
}

func read(t testing.TB, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// sampleShows are the texts of all shows under testdata/shows.
func sampleShows(t testing.TB) []string {
	t.Helper()
	paths, _ := filepath.Glob(root + "shows/*/*.show")
	if len(paths) == 0 {
		t.Fatal("no sample shows")
	}
	var list []string
	for _, p := range paths {
		list = append(list, read(t, p))
	}
	return list
}

// sampleItems are the items of the small show, each a show of its own.
func sampleItems(t testing.TB) []string {
	f, _ := parse(read(t, root+"shows/small/small.show"))
	var list []string
	for _, item := range f.Items {
		list = append(list, "show \"x\" uses \"y\"\n"+item.Span().Text()+"\n")
	}
	return list
}

// twiceParts says whether a finding is of the one rule that the grammar tells
// in words.
func twiceParts(found diag.List) bool {
	for _, d := range found {
		if d.Code == "part-twice" {
			return true
		}
	}
	return false
}

// mutate takes out, doubles, swaps or puts in a token that means something.
func mutate(t *rapid.T, text string) string {
	f, _ := parse(text)
	var solid []int
	for i, token := range f.Tokens {
		if token.Kind > syntax.Comment || token.Kind == syntax.Newline {
			solid = append(solid, i)
		}
	}
	list := make([]string, len(f.Tokens))
	for i, token := range f.Tokens {
		list[i] = f.Text(token)
	}
	for range rapid.IntRange(1, 2).Draw(t, "times") {
		a, b := rapid.SampledFrom(solid).Draw(t, "a"), rapid.SampledFrom(solid).Draw(t, "b")
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			list[a] = ""
		case 1:
			list[a] += " " + list[b]
		case 2:
			list[a], list[b] = list[b], list[a]
		case 3:
			list[a] = list[b]
		}
	}
	return strings.Join(list, "")
}

func TestSamplesHaveNoMistakes(t *testing.T) {
	for _, text := range sampleShows(t) {
		if _, found := parse(text); len(found) > 0 {
			t.Errorf("%s: %s", found[0].Code, found[0].What)
		}
	}
}

func TestTokensAreTheInput(t *testing.T) {
	pieces := append(sampleItems(t), "\"", "{", "}", "(", "12x", "1.2.3", "0:5", "00:00:01;02", "'", "“", "\\", "\xff", "é", "\r\n", "//", "/*", "\ufeff", "&", "==", "#", "\n")
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOf(rapid.SampledFrom(pieces)).Draw(t, "pieces"), "") + string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		checkTokens(t, text)
	})
}

func checkTokens(t rapid.TB, text string) {
	f, _ := parse(text)
	end := int32(0)
	for _, token := range f.Tokens {
		if token.Start != end || token.End <= token.Start {
			t.Fatalf("token %v follows one that ends at %d", token, end)
		}
		end = token.End
	}
	if int(end) != len(text) {
		t.Fatalf("the tokens end at %d of %d", end, len(text))
	}
}
