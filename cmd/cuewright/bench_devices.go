package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/targets/standin"
)

func newBenchDevices(s streams) *cobra.Command {
	var verbose, asJSON, anyPort bool
	c := &cobra.Command{
		Use:   "bench-devices SHOW|PROGRAM",
		Short: "Stand in for every device of a show, on this machine only",
		Long: `Listen for the plan's devices, write down what they are told, and answer as they would. A
show can be sent to them without a rack. End it with Ctrl-C.
A device whose address is on this machine (127.0.0.1) is listened for at that address. Any
other one, and with --any-port all of them, get a port of this machine that is free; then
the flags are written that make "send" go there.

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
				return taken(err)
			}
			defer rack.Close()
			for _, stand := range rack.Stands {
				fmt.Fprintf(s.err, "%-16s %s\n", stand.Name, stand.URL)
			}
			if flags := flagsTo(r.Program, rack.Stands); flags != "" {
				fmt.Fprintf(s.err, "these are not the plan's addresses: each device needs its own flag to be sent to here\n  %s\n", flags)
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

// taken is the mistake of listening where something listens already.
func taken(err error) error {
	if !errors.Is(err, syscall.EADDRINUSE) {
		return &mistake{what: err.Error(), mend: "let it listen at free ports: add --any-port"}
	}
	return &mistake{what: err.Error() + ": something else listens there", mend: "end that, or let it listen at free ports: add --any-port"}
}

// flagsTo are the flags of send for the stand-ins that are not where the plan
// has their devices.
func flagsTo(p *program.Program, stands []standin.Stand) string {
	var flags []string
	for _, stand := range stands {
		if d := p.Devices[stand.Device]; stand.URL != d.Wire+"://"+d.Address {
			flags = append(flags, "--to "+stand.Name+"="+stand.URL)
		}
	}
	return strings.Join(flags, " ")
}
