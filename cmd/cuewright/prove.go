package main

import (
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/sim/onair"
	"cuewright/sim/prove"
	"cuewright/targets/prepare"
)

const proveHelp = `Go through everything that can happen with a show: every press on every page that is
showing, at every moment of every running script, by all surfaces at once. Each rule of the
show and each built-in on-air check is proved, or the shortest story that breaks it is told,
step by step from power-on, with the times at which it happens. With RULE…, the names of
rules or the codes of checks, only these.

Also told: what can never come about (a button out of reach, a step that never runs, a wait
without end), and scripts of several operators that pull at one thing at once. Where a change
of one line helps and nothing else gets worse, it is offered; it was tried before.

"proved" is said only of what was gone through to its end. What was ended by --memory, by
--time or by Ctrl-C is "unfinished", and all that is known is told. Devices are taken to do
what they are told, except for up to N of them with --faults.

Exit codes: 0 all is proved or allowed in writing, 1 something was found, 2 called wrongly, a
file could not be used, or a rule or check could not be decided.`

// proving is what the flags of prove say.
type proving struct {
	faults                     int
	memory                     string
	limit                      time.Duration
	asJSON, rehearsal, noSlice bool
}

func newProve(s streams) *cobra.Command {
	var f proving
	c := &cobra.Command{
		Use:   "prove SHOW|PROGRAM [RULE…]",
		Short: "Prove the show's rules and the on-air checks, or tell the shortest story that breaks them",
		Long:  proveHelp,
		Example: `  cuewright prove final.show
  cuewright prove final.show "recording while live" camera-moved-on-air
  cuewright prove final.show --faults 1 --memory 2G --time 10m
  cuewright prove final.show --as-rehearsal >> final.show   keep the stories as rehearsals`,
		Args: need("a show or a compiled show", 1, -1),
		RunE: func(_ *cobra.Command, args []string) error {
			if f.asJSON && f.rehearsal {
				return &mistake{word: "--as-rehearsal", what: "`--json` and `--as-rehearsal` do not go together", mend: "leave one of them out"}
			}
			return proveShow(s, args[0], args[1:], f)
		},
	}
	c.Flags().IntVar(&f.faults, "faults", 0, "let up to `N` devices fail: away, refusing, full, slow")
	c.Flags().StringVar(&f.memory, "memory", "4G", "the most memory for states, such as 500M or 4G")
	c.Flags().DurationVar(&f.limit, "time", 0, "the longest `TIME` to take, such as 90s or 10m; 0 is no limit")
	c.Flags().BoolVar(&f.asJSON, "json", false, "write JSON")
	c.Flags().BoolVar(&f.rehearsal, "as-rehearsal", false, "write the stories as rehearsals, to be put into the show")
	c.Flags().BoolVar(&f.noSlice, "no-slices", false, "look at all variables for every question: the same verdicts, much slower")
	return c
}

func proveShow(s streams, path string, names []string, f proving) error {
	bytes, err := bytesOf(f.memory)
	if err != nil {
		return err
	}
	if f.faults < 0 || f.limit < 0 {
		return &mistake{word: "--", what: "less than nothing was asked for"}
	}
	r, err := load(s, path, f.asJSON)
	if err != nil {
		return err
	}
	rules, codes, err := chosenRules(r.Program, names)
	if err != nil {
		return err
	}
	watch := newProofWatch(s, f.limit)
	defer watch.end()
	o := prove.Options{Faults: f.faults, Bytes: bytes, NoSlice: f.noSlice, Today: today(), Rules: rules, Codes: codes,
		Workers: runtime.GOMAXPROCS(0), Progress: watch.see, Recheck: r.Recheck(path, prepare.Disk)}
	is := prove.Show(r.Program, o)
	watch.end()
	if err := tellProof(s, r, path, is, f); err != nil {
		return err
	}
	return ended(exitForProof(is))
}

func tellProof(s streams, r prepare.Result, path string, is *prove.Report, f proving) error {
	switch {
	case f.asJSON:
		found := append(slices.Clone(r.Findings), r.Proved(is)...)
		return report.Write(s.out, struct {
			report.Document
			Proof *prove.Report `json:"proof"`
		}{report.NewDocument(found), is})
	case f.rehearsal:
		return writeRehearsals(s, r, is)
	}
	return writeProof(s, r, path, is)
}

func exitForProof(is *prove.Report) int {
	switch {
	case len(is.Findings) > 0:
		return exitFindings
	case is.Undecided():
		return exitUsage
	}
	return exitClean
}

// chosenRules are the rules and the codes of on-air checks of those names, both
// nil without a name.
func chosenRules(p *program.Program, names []string) (rules []int, codes []string, err error) {
	var all []string
	for _, r := range p.Rules {
		all = append(all, r.Name)
	}
	for _, name := range names {
		i := slices.Index(all, name)
		if i < 0 && slices.Contains(onair.Codes(), name) {
			codes = append(codes, name)
			continue
		}
		if i < 0 {
			mend := "there is no rule in this show"
			if len(all) > 0 {
				mend = there(all)
			}
			return nil, nil, &mistake{word: name, what: fmt.Sprintf("there is no rule `%s`", name), candidates: append(all, onair.Codes()...), mend: mend}
		}
		rules = append(rules, i)
	}
	return rules, codes, nil
}

// bytesOf reads a size: 500M, 4G, or bytes alone. A K is 1024 bytes.
func bytesOf(text string) (int64, error) {
	units := map[string]int{"K": 10, "M": 20, "G": 30, "T": 40}
	number, shift := strings.TrimSuffix(strings.ToUpper(text), "B"), 0
	if n := len(number); n > 0 && units[number[n-1:]] > 0 {
		number, shift = number[:n-1], units[number[n-1:]]
	}
	n, err := strconv.ParseInt(number, 10, 32)
	if shift == 0 {
		n, err = strconv.ParseInt(number, 10, 62)
	}
	if err != nil || n <= 0 {
		return 0, &mistake{word: "--memory", what: fmt.Sprintf("`%s` is no amount of memory", text), mend: "write it like 500M or 4G"}
	}
	return n << shift, nil
}

// proofWatch follows a proof: it tells how far it is where somebody sees it,
// and ends it when the time is up or somebody presses Ctrl-C.
type proofWatch struct {
	s        streams
	terminal bool
	begun    time.Time
	told     time.Time
	limit    time.Duration
	stop     atomic.Bool
	signals  chan os.Signal
	wide     int
	states   uint64
}

func newProofWatch(s streams, limit time.Duration) *proofWatch {
	w := &proofWatch{s: s, terminal: isTerminal(s.err), begun: time.Now(), told: time.Now(), limit: limit, signals: make(chan os.Signal, 1)}
	signal.Notify(w.signals, os.Interrupt, syscall.SIGTERM)
	go w.listen(w.signals)
	return w
}

// listen ends the proof when somebody presses Ctrl-C.
func (w *proofWatch) listen(signals <-chan os.Signal) {
	for range signals {
		w.stop.Store(true)
	}
}

// see is told how far a proof is, and says whether it may go on.
func (w *proofWatch) see(now prove.Progress) bool {
	if w.stop.Load() || w.limit > 0 && time.Since(w.begun) > w.limit {
		return false
	}
	since := time.Since(w.told)
	if !w.terminal || since < 250*time.Millisecond {
		return true
	}
	rate := float64(0)
	if now.States > w.states {
		rate = float64(now.States-w.states) / since.Seconds()
	}
	w.told, w.states = time.Now(), now.States
	timed := ""
	if now.Timed {
		timed = ", with exact times"
	}
	line := fmt.Sprintf("%d of %d  %s: %s states, %s/s, %d presses deep, %d MB%s", now.Done, now.Of, now.Question,
		thousands(now.States), thousands(uint64(rate)), now.Presses, now.Bytes>>20, timed)
	w.write(line)
	return true
}

// write writes the line over the last one.
func (w *proofWatch) write(line string) {
	const most = 110
	if r := []rune(line); len(r) > most {
		line = string(r[:most-1]) + "…"
	}
	n := len([]rune(line))
	fmt.Fprintf(w.s.err, "\r%s%s", line, strings.Repeat(" ", max(0, w.wide-n)))
	w.wide = n
}

// end takes the line away and listens for Ctrl-C no more.
func (w *proofWatch) end() {
	if w.wide > 0 {
		w.write("")
		fmt.Fprint(w.s.err, "\r")
		w.wide = 0
	}
	if w.signals != nil {
		signal.Stop(w.signals)
		close(w.signals)
		w.signals = nil
	}
}

// thousands is a number with blanks between thousands: "1 376 256".
func thousands(n uint64) string {
	text := strconv.FormatUint(n, 10)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + " " + text[i:]
	}
	return text
}
