package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/prepare"
)

func newCompile(s streams) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "compile SHOW -o FILE",
		Short: "Make one file that holds the show and every message it can send",
		Long: `Compile a show and its plan into one file. It is all that rehearse, messages and send
need, and it cannot change any more: the same show always gives the same bytes. The file
appears whole or not at all. With -o - the bytes go to the output.

` + exitHelp,
		Example: `  cuewright compile final.show -o final.program`,
		Args:    need("a show", 1, 1),
		RunE: func(c *cobra.Command, args []string) error {
			if out == "" {
				return &mistake{what: "`cuewright compile` needs a file to write", mend: "for example: " + firstExample(c)}
			}
			r := prepare.Day(today()).Show(args[0], prepare.Disk)
			for _, input := range []string{name(r.Show), name(r.Plan)} {
				if sameFile(input, out) {
					return &mistake{word: out, what: fmt.Sprintf("`%s` would be written over", out), mend: "give another name"}
				}
			}
			if err := tell(streams{out: s.err, colourOut: s.colourErr}, r.Findings, r.Program != nil && len(r.Findings) == 0); err != nil {
				return err
			}
			if r.Program == nil {
				return exit(max(exitFindings, exitFor(r)))
			}
			data := program.Encode(r.Program)
			if out == "-" {
				_, err := s.out.Write(data)
				return err
			}
			if err := writeFile(out, data); err != nil {
				return unwritten(out, err)
			}
			_, err := fmt.Fprintf(s.out, "%s: %d bytes, %s, program %s\n", out, len(data), counted(len(r.Program.Messages), "message", "messages"), control.Digest(r.Program))
			return err
		},
	}
	c.Flags().StringVarP(&out, "output", "o", "", "the `FILE` to write")
	return c
}
