package main

import (
	"fmt"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"cuewright/targets/pair"
)

func newWitness(s streams) *cobra.Command {
	var listen, state, how string
	var secret secretFlags
	c := &cobra.Command{
		Use:   "witness",
		Short: "Be the third that says which of two controllers leads",
		Long: `Be the witness of a pair. Two controllers alone cannot tell whether the other one is dead or
only a cable is cut. With a third machine that both reach it can be told: it gives its vote to
one at a time, and who has no vote does not send. It needs no show and no devices, and next to
no power: any machine on another cable will do. When it is gone, the pair goes on.

` + exitHelp,
		Example: `  cuewright witness --listen 192.0.2.3:4270 --state witness.state --pair-secret-file secret`,
		Args:    need("no argument", 0, 0),
		RunE: func(*cobra.Command, []string) error {
			if listen == "" || state == "" {
				return &mistake{word: "witness", what: "a witness needs an address and a folder", mend: "add --listen ADDR and --state DIR"}
			}
			word, secure, err := secret.read()
			if err != nil {
				return err
			}
			if err := os.MkdirAll(state, 0o700); err != nil {
				return &mistake{word: state, what: err.Error()}
			}
			out := newConsole(s.out, how)
			defer out.close()
			signals := make(chan os.Signal, 1)
			signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
			defer signal.Stop(signals)
			judge, err := pair.Serve(pair.WitnessConfig{Listen: listen, Secret: word, Secure: secure, Dir: state, Log: out.log})
			if err != nil {
				fmt.Fprintf(s.err, "cuewright: %v\n", err)
				return exit(exitFindings)
			}
			defer judge.Close()
			out.said("ready: the witness listens at " + judge.Address())
			<-signals
			out.said("ended")
			return nil
		},
	}
	c.Flags().StringVar(&listen, "listen", "", "listen at `ADDR`, as 192.0.2.3:4270")
	c.Flags().StringVar(&state, "state", "", "keep the vote in the folder `DIR`")
	c.Flags().StringVar(&how, "log", "text", "write what happens as `text|json`")
	secret.add(c.Flags())
	return c
}
