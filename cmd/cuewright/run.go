package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/prepare"
	"cuewright/targets/surface"
	"cuewright/targets/systemd"
)

// runSurface is a kind of surface that `run` serves. flags adds its flags.
// check is called before the show starts: what is wrong with them is a
// *mistake. serve is called once the show runs; it gives what ends it, or nil when its
// flags do not ask for it. A new one is made for each command.
type runSurface struct {
	flags func(*pflag.FlagSet)
	check func(*program.Program) error
	serve func(desk surface.Desk, log *slog.Logger) (end func() error, err error)
}

// stopTime is how long devices may take for what was sent to them last.
const stopTime = 3 * time.Second

func newRun(s streams) *cobra.Command {
	var state string
	var to []string
	var bundles bool
	var how string
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
			out, err := newConsole(s.out, how)
			if err != nil {
				return err
			}
			defer out.close()
			manager, err := systemd.FromEnvironment(os.Getenv, os.Getpid())
			if err != nil {
				out.log.Warn(err.Error())
			}
			desk, err := control.Start(r.Program, control.Options{Dir: state, Env: os.Getenv, Bundles: bundles, Log: out.log, Turned: manager.Turned,
				Load:    func() prepare.Result { return prepare.Day(today()).Any(args[0], prepare.Disk) },
				Devices: elsewhere(to)})
			if err != nil {
				fmt.Fprintf(s.err, "cuewright: %v\n", coded(err))
				return exit(exitFindings)
			}
			if state == "" {
				out.said("no --state: no journal is kept, and after a power cut the show begins anew")
			}
			return (&runner{streams: s, desk: desk, kinds: kinds, out: out, manager: manager}).run()
		},
	}
	c.Flags().StringVar(&state, "state", "", "keep the journal in the folder `DIR`")
	c.Flags().StringArrayVar(&to, "to", nil, "send a device's messages elsewhere: `DEVICE=URL`, as osc.udp://host:port or http://host:port")
	c.Flags().StringVar(&how, "log", "text", "write what happens as `text|json`; JSON has the outcome of every press and message too")
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

// runner is a show that runs, and all who have to do with it.
type runner struct {
	streams
	desk    *control.Controller
	kinds   []runSurface
	out     *console
	manager *systemd.Manager
}

// run lets surfaces in until a signal or a line ends the show.
func (r *runner) run() (err error) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(signals)
	var ends []func() error
	defer func() { err = r.wrapUp(ends, err) }()
	for _, k := range r.kinds {
		end, err := k.serve(r.desk, r.out.log)
		if err != nil {
			return err
		}
		if end != nil {
			ends = append(ends, end)
		}
	}
	r.out.said("ready: " + r.desk.View().Show)
	r.tell(r.manager.Ready(), r.status())
	quit := make(chan struct{})
	go readLines(r.in, r.desk, r.out, quit) // it may wait for the input for ever: nothing waits for it
	for {
		select {
		case sig := <-signals:
			if sig != syscall.SIGHUP {
				return nil
			}
			r.reload()
		case <-quit:
			return nil
		}
	}
}

// status tells the manager which show runs, and whether it may send.
func (r *runner) status() error {
	v := r.desk.View()
	text := "runs " + v.Show
	if v.Held {
		text += "; held: nothing is sent before somebody resumes"
	}
	return r.manager.Status(text)
}

// reload loads the show again, as the manager or a person has asked by SIGHUP.
func (r *runner) reload() {
	told := r.manager.Reloading()
	r.out.said(reloadWords(r.desk, false))
	r.tell(told, r.manager.Ready(), r.status())
}

// tell says once that the manager cannot be told.
func (r *runner) tell(told ...error) {
	if err := errors.Join(told...); err != nil {
		r.out.log.Warn(err.Error())
		r.manager = nil
	}
}

// wrapUp stops the surfaces and then the show.
func (r *runner) wrapUp(ends []func() error, err error) error {
	r.tell(r.manager.Stopping())
	for _, end := range slices.Backward(ends) {
		err = errors.Join(err, end())
	}
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	err = errors.Join(err, r.desk.Stop(ctx))
	if err != nil {
		fmt.Fprintf(r.err, "cuewright: %v\n", err)
		return exit(exitFindings)
	}
	r.out.said("ended")
	return nil
}
