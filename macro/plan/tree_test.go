package plan

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"cuewright/macro/source"
)

// The finding stands on the very bytes, whatever comes before it in the line
// or the file. Columns in the YAML reader are code points, and it ends lines
// at more places than an editor does.
func TestPlacesAreInBytes(t *testing.T) {
	const wrong = "robotik"
	for what, before := range map[string]string{
		"plain":               "",
		"a byte order mark":   "\ufeff",
		"Umlauts and emoji":   "# Größe 🤖🎬\n",
		"CRLF":                "# one\r\n# two\r\n",
		"a lone CR":           "# one\r# two\r",
		"NEL, LS and PS":      "# one\u0085# two\u2028# three\u2029",
		"a tab in a comment":  "#\t\ttabs\n",
		"a directive and ---": "%YAML 1.1\n---\n",
	} {
		for where, line := range map[string]string{
			"block": "  cam:\n    kind: camera\n    about: \"🤖\tö\"\n    " + wrong + ": true\n",
			"flow":  "  cam: { about: \"🤖 \tö \\\" }\", kind: camera, " + wrong + ": true }\n",
		} {
			text := before + bare + line
			_, found := Read(source.New("rack.yaml", []byte(text)))
			if len(found) != 1 || found[0].At.Text() != wrong {
				t.Errorf("after %s, in %s: %s", what, where, listing(found))
			}
		}
	}
}

// The place of a text is what stands between its quotes, if it stands there as
// it is read.
func TestPlaceOfATextInQuotes(t *testing.T) {
	for written, want := range map[string]string{
		`/a`:      `/a`,
		`"/a"`:    `/a`,
		`'/a'`:    `/a`,
		`"/\x61"`: `"/\x61"`,
		`'/a''b'`: `'/a''b'`,
	} {
		rack, _ := Read(source.New("rack.yaml", []byte(bare+"  hall: { kind: machine }\ncontrol: { hall: { to: \"osc.udp://h:1\" } }\n"+
			"messages: { horn: { device: hall, osc: "+written+" } }\n")))
		if got := rack.Messages[0].Template.Path.At.Text(); got != want {
			t.Errorf("%s: the place is %s, want %s", written, got, want)
		}
	}
}

// What plans do without, and what the YAML reader lets pass.
func TestYAMLThatPlansDoWithout(t *testing.T) {
	for _, c := range []struct{ text, code, at string }{
		{bare + "  a: &x { kind: machine }\n", "yaml-extra", "&x"},
		{bare + "  a: !!map { kind: machine }\n", "yaml-extra", "!!map"},
		{bare + "  a: { kind: machine }\n--- \nrack: S\n", "yaml-extra", "---"},
		{bare + "  ? [a, b]\n  : { kind: machine }\n", "yaml-extra", "[a, b]"},
		{bare + "  a: { kind: machine }\n  a: { kind: machine }\n", "key-twice", "a"},
		{bare + "  a: { kind: machine, <<: { about: x } }\n", "unknown-key", "<<"},
		{bare + "  a: { kind: machine }\nmessages: " + strings.Repeat("{a: ", 60) + strings.Repeat("}", 60), "plan-too-deep", "a"},
		{"rack: \xff\n", "yaml-fault", "\xff"},
		{"rack: a\x01b\n", "yaml-fault", "\x01"},
		{strings.Repeat(",", maxMarks+1), "plan-too-large", ""},
		{strings.Repeat("x", maxBytes+1), "plan-too-large", ""},
		{"", "missing-key", ""},
		{"# nothing\n", "missing-key", ""},
		{"just words", "wrong-shape", "just words"},
	} {
		_, found := Read(source.New("rack.yaml", []byte(c.text)))
		ok := false
		for _, d := range found {
			ok = ok || string(d.Code) == c.code && d.At.Text() == c.at
		}
		if !ok {
			t.Errorf("%.60q: want %s at %q, got\n%s", c.text, c.code, c.at, listing(found))
		}
	}
}

// An alias bomb costs nothing: aliases are refused, not followed.
func TestAliasBomb(t *testing.T) {
	text := "a: &a [x, x, x, x, x, x, x, x, x]\n"
	for c := 'b'; c < 'z'; c++ {
		text += fmt.Sprintf("%c: &%c [%s*%c]\n", c, c, strings.Repeat(fmt.Sprintf("*%c, ", c-1), 8), c-1)
	}
	_, found := Read(source.New("rack.yaml", []byte(text)))
	if len(found) == 0 || !found.Blocking() {
		t.Error("nothing is said")
	}
}

// A fault of YAML is found on its line, and the rest of the file is read all
// the same: the second fault is found too.
func TestFaultsOfYAML(t *testing.T) {
	for _, c := range []struct{ entry, at, says string }{
		{"  cam:\n    kind: camera\n    outputs: { 1: bnc\n", "outputs: { 1: bnc", "a bracket is not closed, or a comma is missing"},
		{"  cam:\n    kind: camera\n\tabout: x\n", "about: x", "the line is indented with a tab; YAML wants spaces"},
		{"  cam:\n    kind: camera\n    about: \"x\n", "about: \"x", "a quote is not closed"},
		{"  cam:\n    kind: camera\n    about: one: two\n", "about: one: two", "there is one `: ` too many here, or one too few in the line before"},
		{"  cam:\n    kind: camera\n   about: x\n", "about: x", "the line is indented otherwise than its neighbours, or a text wants quotes"},
		{"  cam:\n    kind: camera\n    about: @x\n", "about: @x", "a text that begins with a sign such as @, ` or % wants quotes"},
		{"  cam:\n    kind: camera\n    about: \"\\q\"\n", "about: \"\\q\"", "there is a `\\` in quotes that means nothing; write `\\\\`, or use single quotes"},
		{"  cam:\n    kind: camera\n    about\n    robotic: true\n", "about", "a `:` is missing"},
		{"  cam:\n    kind: camera\n    about: *x\n", "about: *x", "this stands for something that is written nowhere"},
	} {
		text := bare + "  first: { kind: machine }\n" + c.entry + "  last: { kind: machine, robotic: true }\nextra: 1\n"
		rack, found := Read(source.New("rack.yaml", []byte(text)))
		if got := fmt.Sprint(codes(found)); got != "[unknown-key unknown-key yaml-fault]" || len(rack.Devices) != 2 {
			t.Errorf("%q: %d devices and\n%s", c.entry, len(rack.Devices), listing(found))
			continue
		}
		if d := found[0]; d.At.Text() != c.at || d.What != c.says {
			t.Errorf("%q: at %q: %s\nwant %q: %s", c.entry, d.At.Text(), d.What, c.at, c.says)
		}
	}
}

// Entries that are right one by one, but not beside each other.
func TestEntriesThatDoNotFitTogether(t *testing.T) {
	text := bare + "  one: { kind: machine }\n - two\n  three: { kind: machine }\n"
	rack, found := Read(source.New("rack.yaml", []byte(text)))
	if len(rack.Devices) == 0 || len(found) == 0 || found[0].Code != "yaml-fault" || found[0].At.Text() != "- two" {
		t.Errorf("%d devices and\n%s", len(rack.Devices), listing(found))
	}
}

// A plain text of any characters has its place, wherever it stands.
func TestPlaceOfAnyPlainText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.StringMatching(`[ a-zäß☃🤖]{0,20}`).Draw(t, "before")
		word := rapid.StringMatching(`[a-z🤖ä]{1,8}`).Draw(t, "word")
		text := bare + "  m: { about: \"" + before + "\", kind: " + word + "zz }\n"
		_, found := Read(source.New("rack.yaml", []byte(text)))
		if len(found) != 1 || found[0].At.Text() != word+"zz" {
			t.Fatalf("%s", listing(found))
		}
	})
}

// Text that is costly to read badly: each is of some hundred kilobytes, and a
// reading that is not linear would not end in the time of a test.
func TestCostlyText(t *testing.T) {
	if testing.Short() {
		t.Skip("large texts")
	}
	for what, text := range map[string]string{
		"comments":         strings.Repeat("#\n", 200_000),
		"brackets":         strings.Repeat("[", 300_000),
		"braces":           "a: " + strings.Repeat("{a: ", 80_000),
		"dashes":           strings.Repeat("- ", 100_000),
		"one line":         "a: [" + strings.Repeat("ä, ", 150_000) + "]",
		"faulty entries":   "devices:\n" + strings.Repeat("  a: {\n", 60_000),
		"faulty lines":     "devices:\n  a:\n" + strings.Repeat("    x y\n    : [\n", 20_000),
		"quotes":           strings.Repeat("\"", 300_000),
		"keys":             "a: {" + strings.Repeat("? x : y, ", 50_000) + "}",
		"many ports":       bare + strings.Repeat("  r: { kind: router, inputs: { 1-1024: }, outputs: { 1-1024: } }\n", 500),
		"question marks":   strings.Repeat("? ", 100_000),
		"closing":          strings.Repeat("[]}", 100_000),
		"many crosspoints": bare + manyRouters(300),
	} {
		start := time.Now()
		src := source.New("rack.yaml", []byte(text))
		rack, found := Read(src)
		checkPlaces(t, src, rack, found)
		t.Logf("%s: %d kB in %v, %d findings", what, len(text)>>10, time.Since(start).Round(time.Millisecond), len(found))
	}
}

// manyRouters is more ports and crosspoints than a plan may have.
func manyRouters(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "  r%d: { kind: router, inputs: { 1-1024: }, outputs: { 1-512: { takes: [inputs] }, 513-1024: } }\n", i)
	}
	return b.String()
}
