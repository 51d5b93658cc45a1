package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/program"
	"cuewright/macro/report"
	"cuewright/macro/syntax"
	"cuewright/macro/timecode"
	"cuewright/sim/rehearse"
	"cuewright/sim/story"
	"cuewright/targets/prepare"
)

const stepHelp = `  3                 press button 3 of the grid
  3 for 1.5s        hold it that long
  press PAGE R.C    press a button by its place
  go    go 2        fire the cue on standby, or cue 2
  standby 2         put cue 2 on standby, as skip and back do (standby: none)
  after 3s          let time pass (also 500ms, 12f, 1m)
  clock 19:30:00    the clock comes to a cue's time (timecode 01:00:05:00)
  next              let time pass until something happens by itself
  back              undo the last step
  fault DEVICE away a device does not answer (refuses, slow, full; well mends it)
  stop              end every running script
  page              show the buttons and their lamps
  state             show how everything stands
  restart           begin again at power-on
  help    quit
`

// stepper is a show being stepped by hand.
type stepper struct {
	s      streams
	r      prepare.Result
	p      *program.Program
	walk   *rehearse.Walk
	asJSON bool
	drawn  map[string]string // by surface: the page as it was drawn last
}

// stepThrough steps through a show with lines from the input or a script.
// Under a script, a line that cannot be done ends it.
func stepThrough(s streams, r prepare.Result, script string, asJSON bool) error {
	file, in, err := openScript(s, script)
	if err != nil {
		return err
	}
	t := &stepper{s: s, r: r, p: r.Program, walk: rehearse.NewWalk(r.Program, today()), asJSON: asJSON,
		drawn: map[string]string{}}
	t.beats(rehearse.Turn{Beats: []story.Beat{t.walk.PowerOn()}})
	t.page(false)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	lines, failed := linesOf(ctx, in)
	for n := 1; ; n++ {
		t.prompt(script)
		select {
		case <-ctx.Done():
			t.say("\n") // Ctrl-C leaves the prompt's line open
			return nil
		case text, ok := <-lines:
			if !ok {
				return <-failed
			}
			wrong, quit := t.typed(text)
			switch {
			case quit:
				return nil
			case wrong != nil && file != nil:
				return wrong.in(file, n, s)
			case wrong != nil:
				t.say("%s\n", wrong.what)
				if wrong.mend != "" {
					t.say("  %s\n", wrong.mend)
				}
			}
		}
	}
}

// typed does a line as it was typed, without its remark.
func (t *stepper) typed(text string) (wrong *mistake, quit bool) {
	text, _, _ = strings.Cut(text, "#")
	words := strings.Fields(text)
	if len(words) == 0 || words[0] == "quit" {
		return nil, len(words) > 0
	}
	return t.line(words), false
}

// prompt asks for a line where somebody can see it.
func (t *stepper) prompt(script string) {
	if t.s.terminal && script == "" {
		fmt.Fprint(t.s.out, "> ")
	}
}

// linesOf gives the lines of the input until it ends, and then what went wrong
// with it. When ctx ends first, a reading is left behind that ends with the
// input.
func linesOf(ctx context.Context, in io.Reader) (lines <-chan string, failed <-chan error) {
	texts, end := make(chan string), make(chan error, 1)
	go func() {
		defer close(texts)
		s := bufio.NewScanner(in)
		for s.Scan() {
			select {
			case texts <- s.Text():
			case <-ctx.Done():
				return
			}
		}
		end <- s.Err()
	}()
	return texts, end
}

// say writes for people; with JSON there are only beats.
func (t *stepper) say(format string, args ...any) {
	w := t.s.out
	if t.asJSON {
		w = t.s.err
	}
	fmt.Fprintf(w, format, args...)
}

// stepWords are the words that a line can begin with.
var stepWords = []string{"press", "hold", "go", "standby", "after", "clock", "timecode", "next", "back", "fault", "stop", "page", "state", "restart", "help", "quit"}

// line does one line.
func (t *stepper) line(words []string) *mistake {
	switch words[0] {
	case "help":
		t.say("%s", stepHelp)
	case "page":
		t.page(true)
	case "state":
		t.say("%s", t.walk.Describe())
	case "back":
		if !t.walk.Back() {
			return &mistake{what: "this is power-on: there is nothing to undo"}
		}
		t.say("back at %s\n", story.Seconds(t.walk.State().Now))
		t.page(false)
	case "restart":
		t.walk.Restart()
		t.page(false)
	case "stop":
		t.did(t.walk.Stop())
	case "next":
		t.next()
	case "after":
		return t.after(words[1:])
	case "clock", "timecode":
		return t.moment(words)
	case "go":
		return t.goCue(words[1:])
	case "standby":
		return t.stand(words[1:])
	case "fault":
		return t.fault(words[1:])
	default:
		return t.press(words)
	}
	return nil
}

func (t *stepper) next() {
	timer, due := t.walk.State().Next()
	if timer < 0 {
		t.say("nothing happens by itself any more\n")
		return
	}
	t.did(t.walk.After(due - t.walk.State().Now))
}

func (t *stepper) after(words []string) *mistake {
	if len(words) != 1 {
		return &mistake{what: "`after` needs a time", mend: "write `after 3s`"}
	}
	micros, wrong := t.duration(words[0])
	if wrong == nil {
		t.did(t.walk.After(micros))
	}
	return wrong
}

func (t *stepper) duration(word string) (int64, *mistake) {
	rate := timecode.Rate(t.p.Rate)
	micros, err := rate.Duration(word)
	if err != nil {
		return 0, &mistake{what: err.Error()}
	}
	return int64(micros), nil
}

func (t *stepper) goCue(words []string) *mistake {
	if len(words) == 0 {
		t.did(t.walk.Go(-1))
		return nil
	}
	cue, wrong := t.cue(words[0])
	if wrong == nil {
		t.did(t.walk.Go(cue))
	}
	return wrong
}

func (t *stepper) stand(words []string) *mistake {
	if len(words) == 0 {
		t.did(t.walk.Stand(int32(len(t.p.Cues))))
		return nil
	}
	cue, wrong := t.cue(words[0])
	if wrong == nil {
		t.did(t.walk.Stand(cue))
	}
	return wrong
}

// cue is the cue of a number.
func (t *stepper) cue(number string) (int32, *mistake) {
	var numbers []string
	for i, c := range t.p.Cues {
		if c.Number == number {
			return int32(i), nil
		}
		numbers = append(numbers, c.Number)
	}
	return -1, &mistake{what: fmt.Sprintf("there is no cue `%s`", number), mend: there(numbers)}
}

// moment has the clock or the timecode come to a time, and fires what is due.
func (t *stepper) moment(words []string) *mistake {
	by := program.ByClock
	if words[0] == "timecode" {
		by = program.ByTimecode
	}
	time, fires := strings.Join(words[1:], " "), []int32(nil)
	var times []string
	for i := range t.p.Cues {
		if t.p.Cues[i].By == by {
			times = append(times, story.MomentOf(t.p, int32(i)))
			if times[len(times)-1] == time {
				fires = append(fires, int32(i))
			}
		}
	}
	if fires == nil {
		return &mistake{what: fmt.Sprintf("no cue fires at %s `%s`", words[0], time), mend: there(times)}
	}
	for _, cue := range fires {
		t.did(t.walk.Moment(cue))
	}
	return nil
}

func (t *stepper) fault(words []string) *mistake {
	if len(words) != 2 {
		return &mistake{what: "`fault` needs a device and what is wrong with it", mend: "write `fault DEVICE away`"}
	}
	var names []string
	for _, d := range t.p.Devices {
		names = append(names, d.Name)
	}
	device := slices.Index(names, words[0])
	if device < 0 {
		return &mistake{what: fmt.Sprintf("there is no device `%s`", words[0]), mend: there(nearOr(words[0], names))}
	}
	health := slices.Index(syntax.FaultWords, words[1])
	if health < 0 {
		return &mistake{what: fmt.Sprintf("`%s` is no fault", words[1]), mend: "write " + nearest.Quote(syntax.FaultWords)}
	}
	values := map[string]uint32{"away": program.Away, "refuses": program.Refuses, "slow": program.Slow, "full": program.Full, "well": program.Well}
	t.did(t.walk.Fault(int32(device), values[words[1]]))
	return nil
}

// nearOr is the names near a word, or all when none is.
func nearOr(word string, names []string) []string {
	if near := nearest.Names(word, names); len(near) > 0 {
		return near
	}
	return names
}

// press does `3`, `3 for 1s`, `press PAGE R.C` and `hold PAGE R.C for 1s`.
func (t *stepper) press(words []string) *mistake {
	var micros int64
	if n := len(words); n > 2 && words[n-2] == "for" {
		m, wrong := t.duration(words[n-1])
		if wrong != nil {
			return wrong
		}
		micros, words = m, words[:n-2]
	}
	if words[0] == "press" || words[0] == "hold" {
		b, wrong := buttonAt(t.p, strings.Join(words[1:], " "))
		if wrong == nil {
			t.did(t.walk.Hold(b, micros))
		}
		return wrong
	}
	n, err := strconv.Atoi(words[0])
	if err != nil || len(words) > 1 {
		m := &mistake{what: fmt.Sprintf("`%s` is nothing that can be done here", strings.Join(words, " ")), mend: "`help` lists the words"}
		if near := nearest.Names(words[0], stepWords); len(near) > 0 {
			m.mend = "did you mean " + nearest.Quote(near) + "; `help` lists the words"
		}
		return m
	}
	shown := t.shown()
	if n < 1 || n > len(shown) {
		return &mistake{what: fmt.Sprintf("there is no button %d on the pages that show", n), mend: fmt.Sprintf("they have 1 to %d", len(shown))}
	}
	t.did(t.walk.Hold(shown[n-1], micros))
	return nil
}

// shown are the buttons of the pages that show, in the order of their numbers.
func (t *stepper) shown() []int32 {
	var out []int32
	for _, page := range t.walk.Describe().Pages {
		for _, q := range t.p.Pages {
			if q.Name == page.Page {
				out = append(out, q.Buttons...)
			}
		}
	}
	return out
}

// did tells what a step did and shows the lamps after it.
func (t *stepper) did(turn rehearse.Turn) {
	t.beats(turn)
	if len(turn.Beats) > 0 {
		t.page(false)
	}
}

// beats tells the beats of a turn and what was found in it.
func (t *stepper) beats(turn rehearse.Turn) {
	run := rehearse.Result{Findings: turn.Findings}
	if turn.Miss != nil {
		run.Misses = []rehearse.Miss{*turn.Miss}
	}
	found := t.r.Rehearsed(run)
	if t.asJSON {
		line, err := json.Marshal(struct {
			report.Document
			Beats []story.Beat `json:"beats"`
		}{report.NewDocument(found), append([]story.Beat{}, turn.Beats...)})
		if err == nil {
			fmt.Fprintf(t.s.out, "%s\n", line)
		}
		return
	}
	if err := story.Write(t.s.out, turn.Beats...); err != nil {
		return
	}
	for _, d := range found {
		t.say("       %s: %s  [%s]%s\n", d.Severity, story.Plain(d.What), d.Code, standing(d))
	}
	if len(turn.Beats) == 0 && turn.Miss == nil {
		t.say("  %s  nothing happens\n", story.Seconds(t.walk.State().Now))
	}
}

// standing is where a finding stands, in brackets.
func standing(d diag.Diagnostic) string {
	if d.At.IsZero() || d.At.Begin().Line == 1 && d.At.Start == 0 {
		return ""
	}
	return fmt.Sprintf("  (%s:%d)", d.At.File.Name, d.At.Begin().Line)
}

// page draws the pages that show, those that look as they were drawn last only
// when all are asked for.
func (t *stepper) page(all bool) {
	if t.asJSON {
		return
	}
	first := 1
	for _, page := range t.walk.Describe().Pages {
		for _, surface := range t.p.Surfaces {
			if surface.Name != page.Surface {
				continue
			}
			grid := drawGrid(surface, page, first, t.width())
			if all || t.drawn[surface.Name] != grid {
				io.WriteString(t.s.out, grid)
			}
			t.drawn[surface.Name] = grid
		}
		first += len(page.Buttons)
	}
}

// width is how many cells a line of the output has; plenty where there is no
// terminal.
func (t *stepper) width() int {
	if t.s.width != nil {
		if w := t.s.width(); w > 0 {
			return w
		}
	}
	return math.MaxInt
}

// Cells of a button in the grid, without its frame.
const (
	widestCell   = 14
	narrowestOne = 8
)

// drawGrid draws a page as the grid that it is on its surface: each button's
// number, label and lamp. Where the grid does not fit a line of width cells, its
// buttons become narrower, and at last a list.
func drawGrid(surface program.Surface, page story.Page, first, width int) string {
	cell := widestCell
	if room := width - 1; room < int(surface.Columns)*(widestCell+1) {
		cell = room/int(surface.Columns) - 1
	}
	var w strings.Builder
	fmt.Fprintf(&w, "%s shows page %s\n", page.Surface, page.Page)
	if cell < narrowestOne {
		listButtons(&w, page, first, width)
		return w.String()
	}
	rule := strings.Repeat("+"+strings.Repeat("-", cell), int(surface.Columns)) + "+\n"
	for row := int32(1); row <= surface.Rows; row++ {
		top, bottom := "", ""
		for column := int32(1); column <= surface.Columns; column++ {
			label, lamp := "", ""
			for i, b := range page.Buttons {
				if b.Row == row && b.Column == column {
					label, lamp = fmt.Sprintf("%d %s", first+i, b.Label), lampWord(b)
				}
			}
			top += "|" + fit(" "+label, cell)
			bottom += "|" + fit("   "+lamp, cell)
		}
		fmt.Fprintf(&w, "%s%s|\n%s|\n", rule, top, bottom)
	}
	w.WriteString(rule)
	return w.String()
}

// listButtons writes a page as a list: "   3  1.3 air     Talk".
func listButtons(w *strings.Builder, page story.Page, first, width int) {
	for i, b := range page.Buttons {
		line := fmt.Sprintf("%4d  %d.%d %-7s %s", first+i, b.Row, b.Column, lampWord(b), b.Label)
		w.WriteString(strings.TrimRight(fit(line, min(width, 80)), " ") + "\n")
	}
}

// lampWord is a lamp as it is drawn: a dark one by nothing.
func lampWord(b story.Button) string {
	if b.Lamp == "dark" {
		return ""
	}
	return b.Lamp
}
