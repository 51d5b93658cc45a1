package surface

import (
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"cuewright/macro/program"
)

// Output is a row of the table of what every output should show, was told and
// says: a destination, or a field that a device reports.
type Output struct {
	Name         string // "screens", "main.program"
	Field        int32  // Program.Vars, or -1 for a destination
	Wanted       string // what the show set it to last; "" when it never did
	Sent         Column // the newest message that decides about it
	Acknowledged Column // what became of that message
	Observed     Column // what it is known or taken to show
	Drifted      bool   // it was seen to be otherwise than wanted
	AfterCut     string // what became of the plan's wish for it after a power cut; "" without one, or once resumed
}

// Column is one thing that is known of an output. At is when it came about, by
// the wall clock, zero where that says nothing.
type Column struct {
	State State
	Words string // in the words of the show
	At    time.Time
}

// State says how well something is known.
type State uint8

// The states.
const (
	Nothing  State = iota // there is nothing to say
	Told                  // it was given to its device
	Waiting               // the device has not answered yet
	OnItsWay              // it has left, and this wire has no answers
	Yes                   // the device has taken it
	No                    // the device answered no
	Undone                // it could not be sent
	Seen                  // a device said so
	Unheard               // the plan says how it is heard, and nothing was heard yet
	Assumed               // the plan does not say how it could be heard
)

var stateWords = [...]string{"nothing", "sent", "waiting", "on its way", "yes", "no", "not sent", "seen", "not heard yet", "assumed"}

// String is the word for it in every protocol.
func (s State) String() string { return stateWords[s] }

// String is a column on one line: "no: 409 Conflict", "seen: wide".
func (c Column) String() string {
	switch {
	case c.State == Nothing:
		return c.State.String()
	case c.State == Told:
		return c.Words
	case c.Words == "":
		return c.State.String()
	}
	return c.State.String() + ": " + c.Words
}

// Fields are the variables of a program that a device reports, in the order of
// the plan.
func Fields(p *program.Program) []int32 {
	var all []int32
	for _, o := range p.Observations {
		if !slices.Contains(all, o.Var) {
			all = append(all, o.Var)
		}
	}
	return all
}

// OutputNames are the names of a program's outputs, in the order of
// View.Outputs.
func OutputNames(p *program.Program) []string {
	var all []string
	for i := range p.Destinations {
		all = append(all, p.Destinations[i].Name)
	}
	for _, v := range Fields(p) {
		all = append(all, p.Vars[v].Name)
	}
	return all
}

// OutputNamed is the index of an output, or -1.
func (v *View) OutputNamed(name string) int32 {
	return int32(slices.Index(OutputNames(v.Program), name))
}

// OutputTable is outputs as a table for people, a line each, with what needs a
// look marked by a star.
func OutputTable(all []Output) string {
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "\toutput\twanted\tlast sent\tacknowledged\tobserved\tafter the power cut")
	for i := range all {
		o := &all[i]
		mark, wanted := "", o.Wanted
		if o.NeedsLook() {
			mark = "*"
		}
		if wanted == "" {
			wanted = "never set"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", mark, o.Name, wanted, o.Sent.timed(), o.Acknowledged.timed(), o.Observed.timed(), o.AfterCut)
	}
	_ = w.Flush() // a strings.Builder takes all
	return strings.TrimSuffix(b.String(), "\n")
}

// NeedsLook says whether an output is, or may be, otherwise than wanted.
func (o *Output) NeedsLook() bool {
	return o.Drifted || o.Acknowledged.State == No || o.Acknowledged.State == Undone || strings.HasPrefix(o.AfterCut, "waits")
}

func (c Column) timed() string {
	if c.At.IsZero() {
		return c.String()
	}
	return c.String() + " at " + c.At.Format("15:04:05")
}
