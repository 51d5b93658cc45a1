package main

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"cuewright/macro/diag"
	"cuewright/macro/report"
	"cuewright/targets/control"
	"cuewright/targets/prepare"
)

func newCheck(s streams) *cobra.Command {
	var asJSON, quiet, fix bool
	c := &cobra.Command{
		Use:   "check SHOW…",
		Short: "Find every mistake of shows and their plans",
		Long: `Check shows, the plans that they use, and every message that they can send.
All mistakes are told in one run. Nothing is sent, and without --fix nothing is written.
Of each show that could run the digest is told: "run" can be made to load only that one.
With - the show comes from the standard input, and its plan from this folder.

` + exitHelp,
		Example: `  cuewright check final.show
  cuewright check --json final.show       for other programs
  cuewright check --fix final.show        apply the mends that cannot change what you meant`,
		Args: need("a show", 1, -1),
		RunE: func(_ *cobra.Command, args []string) error {
			if fix && slices.Contains(args, "-") {
				return &mistake{word: "--fix", what: "the standard input cannot be mended", mend: "give the show's file"}
			}
			var all diag.List
			var made []madeProgram
			code := exitClean
			for _, path := range args {
				read := prepare.Disk
				if path == "-" {
					path, read = standardInput, s.reading()
				}
				result := prepare.Day(today()).Any(path, read)
				if fix {
					var err error
					if result, err = mendFiles(s.err, path, result); err != nil {
						return err
					}
				}
				all.Add(result.Findings...)
				code = max(code, exitFor(result))
				if result.Program != nil {
					made = append(made, madeProgram{path, control.Digest(result.Program)})
				}
			}
			if err := tellChecked(s, all, made, asJSON, quiet); err != nil {
				return err
			}
			return ended(code)
		},
	}
	c.ValidArgsFunction = completing(-1, true, nil)
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	c.Flags().BoolVar(&quiet, "quiet", false, "tell errors only, and nothing when there are none")
	c.Flags().BoolVar(&fix, "fix", false, "apply the mends that are sure, and check again")
	return c
}

// madeProgram is a show that could run.
type madeProgram struct {
	File   string `json:"file"`
	Digest string `json:"digest"`
}

// tellChecked writes findings and the digests of the shows that could run.
func tellChecked(s streams, list diag.List, made []madeProgram, asJSON, quiet bool) error {
	if asJSON {
		if quiet {
			list = errorsOf(list)
		}
		document := struct {
			report.Document
			Programs []madeProgram `json:"programs"`
		}{report.NewDocument(list), append([]madeProgram{}, made...)}
		return report.Write(s.out, document)
	}
	if err := tell(s, list, quiet); err != nil || quiet {
		return err
	}
	for _, m := range made {
		if _, err := fmt.Fprintf(s.out, "%s: program %s\n", m.File, m.Digest); err != nil {
			return err
		}
	}
	return nil
}

// exitFor is the exit code that a prepared show asks for.
func exitFor(r prepare.Result) int {
	switch {
	case r.Show == nil:
		return exitUsage
	case r.Findings.Blocking():
		return exitFindings
	}
	return exitClean
}

// ended is the error that ends a command with an exit code, nil for 0.
func ended(code int) error {
	if code == exitClean {
		return nil
	}
	return exit(code)
}

// tell writes findings to the output as text.
func tell(s streams, list diag.List, quiet bool) error {
	if quiet {
		if list = errorsOf(list); len(list) == 0 {
			return nil
		}
	}
	return report.Text(s.out, list, s.colourOut)
}

func errorsOf(list diag.List) (errors diag.List) {
	for _, d := range list {
		if d.Severity == diag.Error {
			errors.Add(d)
		}
	}
	return errors
}

// load prepares a show or compiled show for a command that runs it. Findings
// go to the error output, so that the output is the command's own; with JSON
// they are given back for the command's document. The error ends the command
// when there is nothing to run.
func load(s streams, path string, asJSON bool) (prepare.Result, error) {
	r := prepare.Day(today()).Any(path, prepare.Disk)
	if r.Program != nil {
		if asJSON || len(r.Findings) == 0 {
			return r, nil
		}
		err := report.Text(s.err, r.Findings, s.colourErr)
		if err == nil {
			_, err = fmt.Fprintln(s.err)
		}
		return r, err
	}
	var err error
	if asJSON {
		err = report.JSON(s.out, r.Findings)
	} else {
		err = report.Text(s.err, r.Findings, s.colourErr)
	}
	if err == nil {
		err = exit(max(exitFindings, exitFor(r)))
	}
	return r, err
}
