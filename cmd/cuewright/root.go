package main

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
)

// The exit codes, the same for every command.
const (
	exitClean    = 0 // done; there may be warnings
	exitFindings = 1 // errors in the show, a failed rehearsal or a failed send
	exitUsage    = 2 // called wrongly, or a file that cannot be used: nothing was decided
)

const exitHelp = `Exit codes: 0 done (there may be warnings), 1 errors found or something failed,
2 called wrongly or a file could not be used.`

// exit is an error that has been told already, with the code to end with.
type exit int

func (e exit) Error() string { return fmt.Sprintf("exit code %d", int(e)) }

// run runs the command line args and gives the exit code.
func run(args []string, s streams) int {
	out := &outlet{w: s.out}
	s.out = out
	root := newRoot(s)
	root.SetArgs(args)
	called, err := root.ExecuteC()
	var code exit
	switch {
	case out.lost(s.err):
		return exitUsage
	case err == nil:
		return exitClean
	case errors.As(err, &code):
		return int(code)
	}
	return tellUsage(called, args, err, s)
}

func newRoot(s streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "cuewright",
		Short: "Check, rehearse and send live shows, before the audience sees them",
		Long: `Cuewright reads a routing plan (rack.yaml) and a show (*.show), finds the mistakes
at the desk, rehearses the show without the gear, and sends it to the devices.

` + caution + `

` + exitHelp,
		Example: `  cuewright check final.show          find every mistake
  cuewright rehearse final.show       play the rehearsals that the show has
  cuewright prove final.show          whatever is pressed, whenever
  cuewright messages final.show --cue 2   what cue 2 sends, to the byte
  cuewright send final.show --cue 2 --dry-run
  cuewright explain unknown-name      what a finding means
  cuewright help language             the language at a glance`,
		Version:           version,
		SilenceErrors:     true,
		SilenceUsage:      true,
		Args:              noCommand,
		RunE:              func(c *cobra.Command, _ []string) error { return c.Help() },
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: false},
	}
	root.SetIn(s.in)
	root.SetOut(s.out)
	root.SetErr(s.err)
	root.SetVersionTemplate("cuewright {{.Version}}\n")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return err })
	root.AddCommand(newCheck(s), newFmt(s), newExplain(s), newCompile(s), newMessages(s), newRehearse(s), newSend(s),
		newProve(s), newDiff(s), newSpare(s), newTies(s),
		newBenchDevices(s), newRun(s), newStatus(s), newWitness(s), newInstallUnit(s), newLog(s), newReplay(s), newVersion(s), newLanguage())
	root.SetHelpCommand(newHelp())
	for _, c := range root.Commands() {
		c.Flags().VisitAll(onlyOnce)
		completeArgs(c)
	}
	return root
}

const caution = `It is not a safety system: an emergency stop is separate and hard-wired, and nothing
here may be the only thing between people and moving, hot or high-voltage equipment.`

// newHelp is `cuewright help`; a topic that is none is a mistake.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Say how a command is called",
		RunE: func(c *cobra.Command, args []string) error {
			topic, rest, err := c.Root().Find(args)
			if err != nil || topic == nil || topic == c.Root() && len(args) > 0 || len(rest) > 0 {
				return noCommand(c.Root(), append(rest[:len(rest):len(rest)], args...))
			}
			topic.InitDefaultHelpFlag()
			return topic.Help()
		},
	}
}

// noCommand refuses a word that is no command.
func noCommand(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	var names []string
	for _, sub := range c.Commands() {
		names = append(names, sub.Name())
	}
	slices.Sort(names)
	return &mistake{word: args[0], what: fmt.Sprintf("there is no command `%s`", args[0]), candidates: names}
}

// need is a check of the number of arguments that teaches: what is the thing
// that is wanted, and between how many.
func need(what string, least, most int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) < least:
			return &mistake{what: fmt.Sprintf("`%s` needs %s", c.CommandPath(), what), mend: "for example: " + firstExample(c)}
		case most >= 0 && len(args) > most:
			return &mistake{word: args[most], what: fmt.Sprintf("`%s` takes %s and no more", c.CommandPath(), what)}
		}
		return nil
	}
}
