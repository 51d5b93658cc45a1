// Command cuewright checks, rehearses, compiles and sends live shows written
// in the cue language. `cuewright help` says what it can do; each command is
// one file here.
package main

import (
	"io"
	"log"
	"os"

	"golang.org/x/term"
)

func main() {
	log.SetOutput(io.Discard) // net/http would write there what a device sends, whatever that is
	s := streams{in: os.Stdin, out: os.Stdout, err: os.Stderr}
	s.colourOut = colourOn(os.Stdout)
	s.colourErr = colourOn(os.Stderr)
	s.terminal = term.IsTerminal(int(os.Stdin.Fd()))
	s.width = func() int {
		width, _, err := term.GetSize(int(os.Stdout.Fd()))
		if err != nil {
			return 0
		}
		return width
	}
	os.Exit(run(os.Args[1:], s))
}

// streams are where a command reads and writes.
type streams struct {
	in                   io.Reader
	out, err             io.Writer
	colourOut, colourErr bool
	terminal             bool       // somebody sees the prompt
	width                func() int // cells of a line of the output, 0 when that is no terminal; may be nil
}

// colourOn says whether a file is a terminal that wants colour. NO_COLOR with
// any value switches it off (no-color.org), and so does a dumb terminal.
func colourOn(f *os.File) bool {
	return os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd()))
}
