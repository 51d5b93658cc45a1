package main

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"sync"

	"github.com/spf13/cobra"

	"cuewright/macro/diag"
	"cuewright/macro/format"
	"cuewright/macro/report"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/targets/prepare"
)

// longestInput is the most that is read from the standard input, in bytes.
const longestInput = 4 << 20

// standardInput is what the show from there is called.
const standardInput = "standard input"

// reading reads files, and by its name the standard input, which comes once.
func (s streams) reading() func(string) ([]byte, error) {
	input := sync.OnceValues(func() ([]byte, error) { return io.ReadAll(io.LimitReader(s.in, longestInput+1)) })
	return func(name string) ([]byte, error) {
		if name == standardInput {
			return input()
		}
		return prepare.Disk(name)
	}
}

func newFmt(s streams) *cobra.Command {
	var write, check bool
	c := &cobra.Command{
		Use:   "fmt FILE…",
		Short: "Lay a show out in the one layout",
		Long: `Lay shows out. There is one layout and there are no options for it; buttons are drawn as
the grid that they are. A show that cannot be read is left alone.
With - the show comes from the standard input.

` + exitHelp + ` With --check: 1 when a file would change.`,
		Example: `  cuewright fmt -w final.show       rewrite the file
  cuewright fmt --check *.show      list the files that would change
  cuewright fmt - < draft.show      write the layout to the output`,
		Args: need("a show", 1, -1),
		RunE: func(_ *cobra.Command, args []string) error {
			if write && check {
				return &mistake{word: "--check", what: "-w and --check cannot go together", mend: "give one of them"}
			}
			if write && slices.Contains(args, "-") {
				return &mistake{word: "-w", what: "the standard input cannot be rewritten", mend: "leave -w out: the layout goes to the output"}
			}
			f := formatter{s: s, write: write, check: check}
			for _, path := range args {
				if err := f.file(path); err != nil {
					return err
				}
			}
			if len(f.found) > 0 {
				if err := report.Text(s.err, f.found.Tidy(), s.colourErr); err != nil {
					return err
				}
			}
			return ended(f.code)
		},
	}
	c.ValidArgsFunction = completing(-1, false, nil)
	c.Flags().BoolVarP(&write, "write", "w", false, "rewrite the files")
	c.Flags().BoolVar(&check, "check", false, "list the files that would change, and write nothing")
	return c
}

// formatter is one run of fmt.
type formatter struct {
	s            streams
	write, check bool
	found        diag.List
	code         int
}

func (f *formatter) file(path string) error {
	text, found, err := f.laidOut(path)
	if err != nil {
		return err
	}
	f.found.Add(found...)
	if text == nil {
		f.code = max(f.code, exitFindings)
		for _, d := range found {
			if d.Code == "missing-file" || d.Code == "unusable-file" {
				f.code = exitUsage
			}
		}
		return nil
	}
	switch {
	case f.check:
		if !bytes.Equal(text.was, text.is) {
			f.code = max(f.code, exitFindings)
			_, err = fmt.Fprintln(f.s.out, path)
		}
	case f.write && path != "-":
		if !bytes.Equal(text.was, text.is) {
			if err := writeFile(path, text.is); err != nil {
				return unwritten(path, err)
			}
		}
	default:
		_, err = f.s.out.Write(text.is)
	}
	return err
}

// layout is a show's text before and after.
type layout struct{ was, is []byte }

// laidOut reads and formats one show; the layout is nil when it cannot be read.
func (f *formatter) laidOut(path string) (*layout, diag.List, error) {
	read := prepare.Disk
	name := path
	if path == "-" {
		name, read = standardInput, f.s.reading()
	}
	file, bad := prepare.Text(name, read)
	if bad != nil {
		return nil, diag.List{*bad}, nil
	}
	tree, found := syntax.Parse(file)
	if found.Blocking() {
		return nil, found, nil
	}
	is, err := format.Show(tree)
	if err != nil {
		at := source.New(name, file.Bytes).At(0, 0)
		return nil, diag.List{diag.New("unusable-file", at, "`%s` is left as it is: %v", name, err)}, nil
	}
	return &layout{file.Bytes, is}, nil, nil
}
