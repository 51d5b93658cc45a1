package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"cuewright/macro/program"
	"cuewright/targets/control"
	"cuewright/targets/prepare"
	"cuewright/targets/status"
	"cuewright/targets/surface"
	"cuewright/targets/systemd"
)

// runSurface is a kind of surface that `run` serves. flags adds its flags.
// check is called before the show starts: what is wrong with them is a
// *mistake. serve is called once the show runs; it gives what it has opened,
// also with an error. A new one is made for each command.
type runSurface struct {
	flags func(*pflag.FlagSet)
	check func(*program.Program) error
	serve func(desk *control.Controller, log *slog.Logger, source *status.Source) ([]opened, error)
}

// opened is a way in that is open.
type opened interface {
	surface.Report
	Close() error
}

// stopTime is how long devices may take for what was sent to them last.
const stopTime = 3 * time.Second

func newRun(s streams) *cobra.Command {
	f := newRunFlags()
	c := &cobra.Command{
		Use:   "run SHOW|PROGRAM",
		Short: "Run the show: take presses, drive the devices, keep the journal",
		Long: `Run a show on its devices until it is told to stop. With --state everything that
happens is kept in a journal: after a power cut the show stands where it was, its scripts
ended, and sends nothing before somebody resumes but what the plan says with "after power
cut" of an output: restore it, or route a safe picture to it.

Two controllers run one show as a pair: --pair A on one, --pair B on the other, and a witness on
a third machine. One leads and sends; the other follows it step by step, takes no press, and
takes over in less than a second when it is gone. Nothing goes back by itself: one press
(switch) lets the other one lead.

Lines on the input press too; "help" lists the words. SIGHUP loads the show again, SIGTERM
and Ctrl-C end it in order. "status" asks how it is, "install-unit" makes it a service.

` + caution + `

` + exitHelp,
		Example: `  cuewright run final.show --state final.state
  cuewright run final.show --state final.state --to deck=http://127.0.0.1:9203
  cuewright run final.show --state final.state --pair A --pair-listen 192.0.2.1:4270 \
    --pair-with 192.0.2.2:4270 --pair-witness 192.0.2.3:4270 --pair-secret-file secret`,
		Args: need("a show or a compiled show", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error { return f.run(s, args[0]) },
	}
	f.add(c.Flags())
	return c
}

// runFlags say how a show is run.
type runFlags struct {
	state, log string
	to         []string
	bundles    bool
	kinds      []runSurface
	pair       pairFlags
}

func newRunFlags() *runFlags { return &runFlags{kinds: runSurfaces()} }

func (f *runFlags) add(to *pflag.FlagSet) {
	to.StringVar(&f.state, "state", "", "keep the journal in the folder `DIR`")
	to.StringArrayVar(&f.to, "to", nil, "send a device's messages elsewhere: `DEVICE=URL`, as osc.udp://host:port or http://host:port")
	to.StringVar(&f.log, "log", "text", "write what happens as `text|json`; JSON has the outcome of every press and message too")
	to.BoolVar(&f.bundles, "bundles", false, "send a salvo to an OSC device as one bundle")
	for _, k := range f.kinds {
		k.flags(to)
	}
	f.pair.add(to)
}

// check says what is wrong with the flags for a show.
func (f *runFlags) check(p *program.Program) error {
	if !slices.Contains(logWays, f.log) {
		return &mistake{word: f.log, what: fmt.Sprintf("`%s` is no way to write a log", f.log), mend: "write " + strings.Join(logWays, " or ")}
	}
	if _, err := redirected(p, f.to); err != nil {
		return err
	}
	for _, k := range f.kinds {
		if err := k.check(p); err != nil {
			return err
		}
	}
	return f.pair.check(f.state)
}

// claim takes the folder of the state, if there is to be one.
func (f *runFlags) claim() (*status.Folder, error) {
	if f.state == "" {
		return nil, nil
	}
	return status.Claim(f.state)
}

// run runs the show of a file until it is told to stop.
func (f *runFlags) run(s streams, path string) error {
	r, err := load(s, path, false)
	if err != nil {
		return err
	}
	if err := f.check(r.Program); err != nil {
		return err
	}
	out := newConsole(s.out, f.log)
	defer out.close()
	folder, err := f.claim()
	if errors.Is(err, status.ErrTaken) {
		return &mistake{word: f.state, what: "`" + f.state + "` is in use: " + err.Error(), mend: "give this one a folder of its own"}
	} else if err != nil {
		out.log.Warn(err.Error())
	}
	defer func() { _ = folder.Release() }() // the show has ended: its error changes nothing
	manager, err := systemd.FromEnvironment(os.Getenv, os.Getpid())
	if err != nil {
		out.log.Warn(err.Error())
	}
	other, err := f.pair.open(f.state, out.log)
	if err != nil {
		fmt.Fprintf(s.err, "cuewright: %v\n", err)
		return exit(exitFindings)
	}
	desk, err := control.Start(r.Program, control.Options{Pair: other, Dir: f.state, Env: os.Getenv, Bundles: f.bundles, Log: out.log, Turned: manager.Turned,
		Load:    func() prepare.Result { return prepare.Day(today()).Any(path, prepare.Disk) },
		Devices: elsewhere(f.to)})
	if err != nil {
		if other != nil {
			other.Close()
		}
		fmt.Fprintf(s.err, "cuewright: %v\n", coded(err))
		return exit(exitFindings)
	}
	if f.state == "" {
		out.said("no --state: no journal is kept, and after a power cut the show begins anew")
	}
	if text := f.pair.warning(); text != "" {
		out.log.Warn(text)
	}
	return (&runner{streams: s, folder: folder, desk: desk, kinds: f.kinds, out: out, manager: manager}).run()
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
	folder  *status.Folder // nil when no state is kept
	desk    *control.Controller
	kinds   []runSurface
	out     *console
	manager *systemd.Manager
	told    string // the manager's last status
}

// run lets surfaces in until a signal or a line ends the show.
func (r *runner) run() (err error) {
	signals := make(chan os.Signal, 4)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(signals)
	var ends []func() error
	defer func() { err = r.wrapUp(ends, err) }()
	source := &status.Source{Controller: r.desk, Version: version}
	if err := r.folder.Serve(source); err != nil {
		r.out.log.Warn(err.Error())
	}
	for _, k := range r.kinds {
		open, err := k.serve(r.desk, r.out.log, source)
		for _, o := range open {
			source.Add(o)
			ends = append(ends, o.Close)
		}
		if err != nil {
			return err
		}
	}
	r.out.said("ready: " + r.desk.View().Show)
	r.tell(r.manager.Ready(), r.status())
	quit := make(chan struct{})
	changed, unwatch := r.desk.Watch()
	defer unwatch()
	go readLines(r.in, r.desk, r.out, quit) // it may wait for the input for ever: nothing waits for it
	for {
		select {
		case sig := <-signals:
			if sig != syscall.SIGHUP {
				return nil
			}
			r.reload()
		case <-changed:
			r.tell(r.status())
		case <-quit:
			return nil
		}
	}
}

// status tells the manager which show runs, and whether it may send, when that
// is not what it was told last.
func (r *runner) status() error {
	v := r.desk.View()
	text := "runs " + v.Show
	if v.Held {
		text += "; held: nothing is sent before somebody resumes"
	}
	if text == r.told {
		return nil
	}
	r.told = text
	return r.manager.Status(text)
}

// reload loads the show again, as the manager or a person has asked by SIGHUP.
func (r *runner) reload() {
	told := r.manager.Reloading()
	r.out.said(loadWords(r.desk, surface.Load{By: "a signal"}))
	r.tell(told, r.manager.Ready(), r.status())
}

// tell says that the manager cannot be told.
func (r *runner) tell(told ...error) {
	if err := errors.Join(told...); err != nil {
		r.out.log.Warn(err.Error())
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
