package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"cuewright/targets/control"
)

// tellFound says what should not have happened, and when it did.
func tellFound(s streams, all []control.Found) error {
	open, allowed := 0, 0
	for i := range all {
		f := &all[i]
		if f.Allowed {
			allowed++
			continue
		}
		open++
		fmt.Fprintf(s.out, "%s  %11s  %s\n    [%s] %s\n", f.Time.Format(clockTime), f.Timecode, f.What, f.Code, f.Place)
	}
	if open+allowed == 0 {
		fmt.Fprintln(s.out, "no rule and no on-air check was broken")
		return nil
	}
	fmt.Fprintf(s.out, "%s against the rules and the on-air checks", counted(open, "thing was", "things were"))
	if allowed > 0 {
		fmt.Fprintf(s.out, ", and %d that the show allows", allowed)
	}
	fmt.Fprintln(s.out)
	if open > 0 {
		return exit(exitFindings)
	}
	return nil
}

func newReplay(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "replay DIR",
		Short: "Apply a journal's events again, and compare every byte that was sent",
		Long: `Read the journal that "run" keeps in DIR, apply its events to its programs again, and
compare the bytes of every message with those that were sent then, in order. It says the
first difference. Nothing is sent. It lists what broke the show's rules and the on-air
checks then, as a rehearsal does; what the show allows is only counted.

` + exitHelp,
		Example: `  cuewright replay final.state`,
		Args:    need("the folder of a journal", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := control.Replay(args[0])
			if err != nil {
				return &mistake{word: args[0], what: err.Error()}
			}
			if r.Sessions == 0 {
				return &mistake{word: args[0], what: fmt.Sprintf("there is no journal in `%s`", args[0])}
			}
			for _, t := range r.Torn {
				fmt.Fprintln(s.out, t)
			}
			if r.Gaps > 0 {
				fmt.Fprintf(s.out, "records are missing in %s: what follows is taken up at the next snapshot\n", counted(r.Gaps, "place", "places"))
			}
			fmt.Fprintf(s.out, "%s, %s, %s\n", counted(r.Sessions, "session", "sessions"), counted(r.Events, "event", "events"),
				counted(r.Messages, "message", "messages"))
			if r.Difference != "" {
				fmt.Fprintln(s.out, r.Difference)
				return exit(exitFindings)
			}
			fmt.Fprintln(s.out, "the same bytes in the same order")
			return tellFound(s, r.Found)
		},
	}
}
