package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
)

// runSurface is a kind of surface that `run` serves. flags adds its flags.
// check is called before the show starts: what is wrong with them is a
// *mistake. serve is called once the show runs; it gives what ends it, or nil when its
// flags do not ask for it. A new one is made for each command.
type runSurface struct {
	flags func(*pflag.FlagSet)
	check func(*program.Program) error
	serve func(s streams, desk surface.Desk, log func(string)) (end func() error, err error)
}

// stopTime is how long devices may take for what was sent to them last.
const stopTime = 3 * time.Second

func newRun(s streams) *cobra.Command {
	var state string
	var to []string
	var bundles bool
	kinds := runSurfaces()
	c := &cobra.Command{
		Use:   "run SHOW|PROGRAM",
		Short: "Run the show: take presses, drive the devices, keep the journal",
		Long: `Run a show on its devices until it is told to stop. With --state everything that
happens is kept in a journal: after a power cut the show stands where it was, its scripts
ended, and sends nothing before somebody resumes; outputs are left as they are.

Lines on the input press too; "help" lists the words. SIGHUP loads the show again, SIGTERM
and Ctrl-C end it in order.

` + caution + `

` + exitHelp,
		Example: `  cuewright run final.show --state final.state
  cuewright run final.show --state final.state --to deck=http://127.0.0.1:9203`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := load(s, args[0], false)
			if err != nil {
				return err
			}
			if _, err := redirected(r.Program, to); err != nil {
				return err
			}
			for _, k := range kinds {
				if err := k.check(r.Program); err != nil {
					return err
				}
			}
			out := &console{w: s.out}
			desk, err := control.Start(r.Program, control.Options{Dir: state, Env: os.Getenv, Bundles: bundles, Log: out.said,
				Load:    func() prepare.Result { return prepare.Day(today()).Any(args[0], prepare.Disk) },
				Devices: elsewhere(to)})
			if err != nil {
				fmt.Fprintf(s.err, "cuewright: %v\n", coded(err))
				return exit(exitFindings)
			}
			if state == "" {
				out.said("no --state: no journal is kept, and after a power cut the show begins anew")
			}
			return serve(s, desk, kinds, out)
		},
	}
	c.Flags().StringVar(&state, "state", "", "keep the journal in the folder `DIR`")
	c.Flags().StringArrayVar(&to, "to", nil, "send a device's messages elsewhere: `DEVICE=URL`, as osc.udp://host:port or http://host:port")
	c.Flags().BoolVar(&bundles, "bundles", false, "send a salvo to an OSC device as one bundle")
	for _, k := range kinds {
		k.flags(c.Flags())
	}
	return c
}

// elsewhere says where devices are, when some are not where the plan says.
func elsewhere(to []string) func(*program.Program) ([]program.Device, error) {
	if len(to) == 0 {
		return nil
	}
	return func(p *program.Program) ([]program.Device, error) {
		q, err := redirected(p, to)
		if err != nil {
			return nil, err
		}
		return q.Devices, nil
	}
}

// serve lets surfaces in until a signal or a line ends the show.
func serve(s streams, desk *control.Controller, kinds []runSurface, out *console) (err error) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(signals)
	var ends []func() error
	defer func() { err = wrapUp(s, desk, ends, err, out) }()
	for _, k := range kinds {
		end, err := k.serve(s, desk, out.said)
		if err != nil {
			return err
		}
		if end != nil {
			ends = append(ends, end)
		}
	}
	out.said("ready: " + desk.View().Show)
	quit := make(chan struct{})
	go readLines(s.in, desk, out, quit) // it may wait for the input for ever: nothing waits for it
	for {
		select {
		case sig := <-signals:
			if sig != syscall.SIGHUP {
				return nil
			}
			out.said(reloadWords(desk, false))
		case <-quit:
			return nil
		}
	}
}

// wrapUp stops the surfaces and then the show.
func wrapUp(s streams, desk *control.Controller, ends []func() error, err error, out *console) error {
	for _, end := range slices.Backward(ends) {
		err = errors.Join(err, end())
	}
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	err = errors.Join(err, desk.Stop(ctx))
	if err != nil {
		fmt.Fprintf(s.err, "cuewright: %v\n", err)
		return exit(exitFindings)
	}
	out.said("ended")
	return nil
}

// console writes lines from several goroutines. Its lock is taken under no
// other and no other under it.
type console struct {
	mu sync.Mutex
	w  io.Writer
}

func (c *console) said(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	fmt.Fprintf(c.w, "%s  %s\n", time.Now().Format("15:04:05.000"), text)
}
