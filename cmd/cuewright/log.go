package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"cuewright/targets/control"
)

func newLog(s streams) *cobra.Command {
	var asCSV, asJSON, asRun, asRehearsal, all bool
	c := &cobra.Command{
		Use:   "log DIR",
		Short: "Print what a journal has: a table, CSV, JSON or an as-run sheet",
		Long: `Print the journal that "run" keeps in DIR: what was pressed and by whom, what it set off,
what became of each message, and what came by itself. With --all it is every record as it
was kept; so it is with --csv and --json.

The as-run sheet has what went to air when, with timecode since power-on: cues, presses,
alerts, and what each destination showed.

--as-rehearsal writes what was done as rehearsals, one for each power-on: added to a show,
"cuewright rehearse" plays them, so that the night can be tried against other rules. What a
rehearsal cannot say stands in it as a comment, and whether it ends where the show stood.

` + exitHelp,
		Example: `  cuewright log final.state
  cuewright log final.state --as-run
  cuewright log final.state --csv > final.csv
  cuewright log final.state --as-rehearsal >> final.show`,
		Args: need("the folder of a journal", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			if flags := []bool{asCSV, asJSON, asRun, asRehearsal, all}; count(flags) > 1 {
				return &mistake{what: "--csv, --json, --as-run, --as-rehearsal and --all cannot go together", mend: "give one of them"}
			}
			if asRehearsal {
				return writeNights(s, args[0])
			}
			entries := 0
			write, flush := table(s)
			switch {
			case asCSV:
				write, flush = commas(s)
			case asJSON:
				write, flush = objects(s)
			case asRun:
				write, flush = sheet(s)
			case all:
				write, flush = records(s)
			}
			torn, err := control.Read(args[0], func(e control.Entry) error { entries++; return write(e) })
			if err == nil {
				err = flush()
			}
			if err != nil {
				return &mistake{word: args[0], what: err.Error()}
			}
			if entries == 0 {
				return &mistake{word: args[0], what: fmt.Sprintf("there is no journal in `%s`", args[0])}
			}
			for _, t := range torn {
				fmt.Fprintln(s.err, t)
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asCSV, "csv", false, "write CSV (RFC 4180)")
	c.Flags().BoolVar(&asJSON, "json", false, "write a line of JSON for each record")
	c.Flags().BoolVar(&all, "all", false, "write every record as it was kept")
	c.Flags().BoolVar(&asRun, "as-run", false, "write an as-run sheet")
	c.Flags().BoolVar(&asRehearsal, "as-rehearsal", false, "write what was done as rehearsals of the show")
	return c
}

func count(flags []bool) int {
	n := 0
	for _, f := range flags {
		if f {
			n++
		}
	}
	return n
}

// writer writes entries one by one, and flush what is left.
type writer = func(control.Entry) error

// clockTime is a moment with milliseconds, on this machine's clock.
const clockTime = "2006-01-02 15:04:05.000"

// records writes every record as it is, a line each.
func records(s streams) (writer, func() error) {
	return func(e control.Entry) error {
		_, err := fmt.Fprintf(s.out, "%6d  %s  %11s  %-8s %-12s %s%s\n", e.Seq, e.Time.Format(clockTime), e.Timecode, e.Kind, e.Who, e.What, after("  -> ", e.Came))
		return err
	}, func() error { return nil }
}

func after(sign, text string) string {
	if text == "" {
		return ""
	}
	return sign + text
}

func commas(s streams) (writer, func() error) {
	w := csv.NewWriter(s.out)
	w.UseCRLF = true
	head := w.Write([]string{"record", "time", "show_seconds", "timecode", "kind", "who", "what", "outcome"})
	return func(e control.Entry) error {
			if head != nil {
				return head
			}
			return w.Write([]string{strconv.FormatUint(e.Seq, 10), e.Time.Format(time.RFC3339Nano), strconv.FormatFloat(float64(e.Micros)/1e6, 'f', 6, 64),
				e.Timecode, e.Kind, cell(e.Who), cell(e.What), cell(e.Came)})
		}, func() error {
			w.Flush()
			return w.Error()
		}
}

// cell keeps a spreadsheet from taking a text for a formula.
func cell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

func objects(s streams) (writer, func() error) {
	w := json.NewEncoder(s.out)
	return func(e control.Entry) error { return w.Encode(e) }, func() error { return nil }
}
