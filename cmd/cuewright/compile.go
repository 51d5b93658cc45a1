package main

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/targets/prepare"
)

func newCompile(s streams) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "compile SHOW -o FILE",
		Short: "Make one file that holds the show and every message it can send",
		Long: `Compile a show and its plan into one file. It is all that rehearse, messages and send
need, and it cannot change any more: the same show always gives the same bytes.

` + exitHelp,
		Example: `  cuewright compile final.show -o final.program`,
		Args:    need("a show", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if out == "" {
				return &mistake{what: "`cuewright compile` needs a file to write", mend: "for example: " + firstExample(c)}
			}
			r := prepare.Show(args[0], prepare.Disk)
			for _, input := range []string{name(r.Show), name(r.Plan)} {
				if sameFile(input, out) {
					return &mistake{word: out, what: fmt.Sprintf("`%s` would be written over", out), mend: "give another name"}
				}
			}
			if err := tell(streams{out: s.err, colourOut: s.colourErr}, r.Findings, false, r.Program != nil && len(r.Findings) == 0); err != nil {
				return err
			}
			if r.Program == nil {
				return exit(max(exitFindings, exitFor(r)))
			}
			data := program.Encode(r.Program)
			if err := replaceFile(out, data); err != nil {
				return &mistake{word: out, what: fmt.Sprintf("`%s` cannot be written: %s", out, reason(err))}
			}
			_, err := fmt.Fprintf(s.out, "%s: %d bytes, %s\n", out, len(data), counted(len(r.Program.Messages), "message", "messages"))
			return err
		},
	}
	c.Flags().StringVarP(&out, "output", "o", "", "the `FILE` to write")
	return c
}

// reason is what the system says about a file, in plain words.
func reason(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "its folder does not exist"
	case errors.Is(err, fs.ErrPermission):
		return "it is not yours to write"
	case errors.Is(err, syscall.ENOSPC):
		return "the disk is full"
	case errors.Is(err, syscall.EROFS):
		return "the disk can only be read"
	}
	return "the system refuses"
}
