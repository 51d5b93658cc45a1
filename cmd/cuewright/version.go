package main

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/macro/report"
)

// version is the version of this Cuewright.
const version = "0.1.0"

func newVersion(s streams) *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Say which Cuewright this is, and which formats it reads",
		Example: "  cuewright version",
		Args:    need("nothing else", 0, 0),
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintf(s.out, "cuewright %s\ncompiled shows: format %d\njson: version %d\n%s %s/%s\n",
				version, program.Version, report.Version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		},
	}
}
