package syntax_test

import (
	"fmt"
	"strings"
	"testing"

	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// bigShow is a show of 100 pages with 100 buttons each.
func bigShow() []byte {
	var b strings.Builder
	b.WriteString("show \"Big\" uses \"rack.yaml\"\n\n")
	for page := range 100 {
		fmt.Fprintf(&b, "page p%d on desk {\n", page)
		for row := range 10 {
			for column := range 10 {
				fmt.Fprintf(&b, "  button %d.%d \"Wide %d\"  { cut main to wide%d }  lamp lit when main.program == wide\n",
					row+1, column+1, row, column)
			}
		}
		b.WriteString("}\n\n")
	}
	return []byte(b.String())
}

func BenchmarkParse(b *testing.B) {
	benchmark(b, bigShow())
}

// BenchmarkGarbage answers on 10 MB of the worst kinds of input.
func BenchmarkGarbage(b *testing.B) {
	const size = 10 << 20
	for _, piece := range []string{"{", "}", "(", "(a\n", "\"", "\" {", "x\n", "if a ", "else if a {", "‘„", "\\", "'", "0:", "1.1.",
		"macro a {", "macro a\n", "never \"x\" {\n", "\" {\\", "page a on b {\n", "button 1.1 \"a\" {}\n", "\x00\xff", "\n", ";", "#\n", "//\n", "rec a,"} {
		b.Run(fmt.Sprintf("%q", piece), func(b *testing.B) {
			benchmark(b, []byte(strings.Repeat(piece, size/len(piece))))
		})
	}
}

func benchmark(b *testing.B, text []byte) {
	src := source.New("big.show", text)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		syntax.Parse(src)
	}
}
