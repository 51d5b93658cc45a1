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
	var asCSV, asJSON, asRun bool
	c := &cobra.Command{
		Use:   "log DIR",
		Short: "Print what a journal has: a table, CSV, JSON or an as-run sheet",
		Long: `Print the journal that "run" keeps in DIR. The as-run sheet has what went to air when,
with timecode since power-on: cues, presses, and what each destination showed.

` + exitHelp,
		Example: `  cuewright log final.state
  cuewright log final.state --as-run
  cuewright log final.state --csv > final.csv`,
		Args: need("the folder of a journal", 1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			if flags := []bool{asCSV, asJSON, asRun}; count(flags) > 1 {
				return &mistake{what: "--csv, --json and --as-run cannot go together", mend: "give one of them"}
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
	c.Flags().BoolVar(&asRun, "as-run", false, "write an as-run sheet")
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

func table(s streams) (writer, func() error) {
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

// sheet writes what went to air, and what was done for it.
func sheet(s streams) (writer, func() error) {
	day := ""
	return func(e control.Entry) error {
		var what []string
		switch {
		case e.Kind == "start" || e.Kind == "stop":
			what = []string{strings.TrimSpace(e.Kind + "  " + e.What + after(", ", e.Came))}
		case e.Kind == "alert":
			what = []string{"ALERT  " + e.What}
		case e.Kind == "cue":
			what = []string{"CUE    " + e.What + after(", ", e.Who)}
		case e.Beat != nil:
			for _, c := range e.Beat.Shows {
				what = append(what, fmt.Sprintf("       %s shows %s", c.What, c.To))
			}
			if len(e.Beat.Came) > 0 {
				what = append(what, "       on air: "+strings.Join(e.Beat.Came, ", "))
			}
			if len(e.Beat.Left) > 0 {
				what = append(what, "       off air: "+strings.Join(e.Beat.Left, ", "))
			}
		}
		if today := e.Time.Format(time.DateOnly); len(what) > 0 && today != day {
			day = today
			fmt.Fprintf(s.out, "%s\n", day)
		}
		for _, line := range what {
			if _, err := fmt.Fprintf(s.out, "%s  %11s  %s\n", e.Time.Format("15:04:05.000"), e.Timecode, line); err != nil {
				return err
			}
		}
		return nil
	}, func() error { return nil }
}
