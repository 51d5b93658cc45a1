package main

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"cuewright/macro/report"
	"cuewright/targets/status"
	"cuewright/targets/surface/web"
)

func newStatus(s streams) *cobra.Command {
	var state, at, tokenFile string
	var asJSON bool
	c := &cobra.Command{
		Use:   "status",
		Short: "Ask a running controller how it is",
		Long: `Ask a controller that "run" has started: which show runs, and whether the same lies on
the disk; what is held, away or changed by somebody else; what every output should show, was
told, answered and is known to show; which cue the clock or the timecode fires next; who leads
a pair, and when the other one was last heard; who was seen last at which surface; how the
journal is. With --state it is asked on this machine, by the folder that it keeps its journal
in; with --http by the network, as tablets are. Tables are cut to 80 columns; --json has all.

Lines that begin with LOOK say what wants attention: also a message that was refused or not
sent, a partner that is not heard, a pair that nobody leads.

Exit codes: 0 all is well, 1 something wants attention, 2 it could not be asked.`,
		Example: `  cuewright status --state final.state
  cuewright status --http http://192.0.2.7:8080 --token-file code.txt
  cuewright status --state final.state --json`,
		Args: need("nothing but its flags", 0, 0),
		RunE: func(c *cobra.Command, _ []string) error {
			r, err := askStatus(c.Context(), state, at, tokenFile)
			if err != nil {
				return err
			}
			if asJSON {
				err = report.Write(s.out, r)
			} else {
				_, err = s.out.Write([]byte(statusText(&r)))
			}
			if err == nil && len(r.Attention) > 0 {
				return exit(exitFindings)
			}
			return err
		},
	}
	c.Flags().StringVar(&state, "state", "", "ask the controller that keeps its journal in `DIR`")
	c.Flags().StringVar(&at, "http", "", "ask the controller at `URL`, as http://192.0.2.7:8080")
	c.Flags().StringVar(&tokenFile, "token-file", "", "the pairing code is in `FILE`, which only its owner may read (or in "+tokenVariable+")")
	c.Flags().BoolVar(&asJSON, "json", false, "write JSON")
	return c
}

func askStatus(ctx context.Context, state, at, tokenFile string) (status.Report, error) {
	if (state == "") == (at == "") {
		return status.Report{}, &mistake{what: "`status` needs to know which controller", mend: "give one of --state DIR and --http URL"}
	}
	if ctx == nil {
		ctx = context.Background()
	}
	if state != "" {
		r, err := status.AskSocket(ctx, state)
		if err != nil {
			return r, &mistake{word: state, what: fmt.Sprintf("the controller of `%s` cannot be asked: %s", state, err), mend: "is it running, with this --state, and may you look into the folder?"}
		}
		return r, nil
	}
	token := os.Getenv(tokenVariable)
	if tokenFile != "" {
		var err error
		if token, err = web.ReadToken(tokenFile); err != nil {
			return status.Report{}, &mistake{word: tokenFile, what: err.Error()}
		}
	}
	r, err := status.AskHTTP(ctx, at, token)
	if err != nil {
		return r, &mistake{word: at, what: fmt.Sprintf("the controller at `%s` cannot be asked: %s", at, err), mend: "is it running, with --http, and can this machine reach it?"}
	}
	return r, nil
}
