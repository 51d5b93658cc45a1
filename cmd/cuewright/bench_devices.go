package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"cuewright/targets/standin"
)

func newBenchDevices(s streams) *cobra.Command {
	var verbose, asJSON, anyPort bool
	c := &cobra.Command{
		Use:   "bench-devices SHOW|PROGRAM",
		Short: "Stand in for every device of a show, on this machine only",
		Long: `Listen on loopback where the plan's devices would, write down what they are told, and
answer as they would. A show can be sent to them without a rack. End it with Ctrl-C.

` + exitHelp,
		Example: `  cuewright bench-devices final.show
  cuewright bench-devices final.show --verbose     with the bytes`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := load(s, args[0], asJSON)
			if err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
			defer stop()
			opts := standin.Options{Lines: s.out, Hex: verbose, AnyPort: anyPort}
			if asJSON {
				opts.Lines, opts.JSON = nil, s.out
			}
			rack, err := standin.Start(r.Program, opts)
			if err != nil {
				fmt.Fprintf(s.err, "cuewright: %v\n", err)
				return exit(exitFindings)
			}
			defer rack.Close()
			for _, stand := range rack.Stands {
				fmt.Fprintf(s.err, "%-16s %s\n", stand.Name, stand.URL)
			}
			fmt.Fprintln(s.err, "ready; Ctrl-C ends it")
			<-ctx.Done()
			return nil
		},
	}
	c.Flags().BoolVar(&verbose, "verbose", false, "write the bytes of each message too")
	c.Flags().BoolVar(&asJSON, "json", false, "write a line of JSON for each message")
	c.Flags().BoolVar(&anyPort, "any-port", false, "listen at free ports instead of the plan's")
	return c
}
