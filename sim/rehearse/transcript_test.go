package rehearse

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"cuewright/macro/program"
	"cuewright/sim/step"
	"github.com/rogpeppe/go-internal/txtar"
)

var update = flag.Bool("update", false, "write the transcripts anew; the run that does fails")

// Each case of testdata/step is a show and a transcript: what is done, ----,
// and what comes of it: states, effects, pictures, tally and findings.
//
//	press cameras 1.1     down and up; also down …, up …
//	hold cameras 1.1 1s
//	go [2]
//	after 1s
//	fault iso away
//	hear main.program goal
//	stop
//	back
//	scene                 how everything stands
//	lamps                 the pages, with their lamps
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob("../../testdata/step/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatalf("no transcripts: %v", err)
	}
	for _, name := range files {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(name)
			if err != nil {
				t.Fatal(err)
			}
			var show, rack []byte
			at := -1
			for i, f := range a.Files {
				switch f.Name {
				case "test.show":
					show = f.Data
				case "rack.yaml":
					rack = f.Data
				case "transcript":
					at = i
				}
			}
			if at < 0 {
				t.Fatal("there is no transcript")
			}
			walk := NewWalk(compile(t, show, rack), "")
			want := string(a.Files[at].Data)
			got := play(t, walk, want)
			if got == want {
				return
			}
			t.Errorf("the transcript is not what happens:\n%s", firstDifference(want, got))
			if *update {
				a.Files[at].Data = []byte(got)
				if err := os.WriteFile(name, txtar.Format(a), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

// play does the commands of a transcript and gives the transcript with the
// answers that really came.
func play(t *testing.T, w *Walk, transcript string) string {
	var out strings.Builder
	for _, part := range strings.Split(strings.TrimSpace(transcript), "\n\n") {
		command, _, _ := strings.Cut(part, "\n")
		fmt.Fprintf(&out, "%s\n----\n%s\n", command, answer(t, w, command))
	}
	return strings.TrimSuffix(out.String(), "\n")
}

func answer(t *testing.T, w *Walk, command string) string {
	var out strings.Builder
	words := strings.Fields(command)
	switch words[0] {
	case "back":
		fmt.Fprintf(&out, "%v, now at %d ms\n", w.Back(), w.State().Now/1000)
	case "scene":
		out.WriteString(w.Describe().String())
	case "lamps":
		for _, p := range w.Describe().Pages {
			fmt.Fprintf(&out, "%s %s:", p.Surface, p.Page)
			for _, b := range p.Buttons {
				fmt.Fprintf(&out, " %s=%s", b.Label, b.Lamp)
			}
			out.WriteByte('\n')
		}
	default:
		turn := order(t, w, words)
		for _, b := range turn.Beats {
			out.WriteString(b.String())
		}
		for _, f := range turn.Findings {
			fmt.Fprintf(&out, "finding %s in beat %d: %s\n", f.Code, f.Beat, f.What)
		}
		if turn.Miss != nil {
			fmt.Fprintf(&out, "%s: %s; %s\n", turn.Miss.Code, turn.Miss.What, turn.Miss.Seen)
		}
	}
	return out.String()
}

// order does what a command says to the show.
func order(t *testing.T, w *Walk, words []string) Turn {
	t.Helper()
	p := w.m.P
	switch words[0] {
	case "press":
		return w.Press(buttonAt(t, p, words[1], words[2]))
	case "hold":
		return w.Hold(buttonAt(t, p, words[1], words[2]), micros(t, words[3]))
	case "down":
		b := buttonAt(t, p, words[1], words[2])
		return w.do(func() { w.apply(step.Event{Kind: step.Down, A: b}) })
	case "up":
		b := buttonAt(t, p, words[1], words[2])
		return w.do(func() { w.apply(step.Event{Kind: step.Up, A: b}) })
	case "go":
		if len(words) == 1 {
			return w.Go(-1)
		}
		return w.Go(named(t, words[1], p.Cues, func(c program.Cue) string { return c.Number }))
	case "moment":
		return w.Moment(named(t, words[1], p.Cues, func(c program.Cue) string { return c.Number }))
	case "standby":
		if len(words) == 1 {
			return w.Stand(int32(len(p.Cues)))
		}
		return w.Stand(named(t, words[1], p.Cues, func(c program.Cue) string { return c.Number }))
	case "after":
		return w.After(micros(t, words[1]))
	case "fault":
		healths := []string{"well", "away", "refuses", "slow", "full"}
		return w.Fault(named(t, words[1], p.Devices, func(d program.Device) string { return d.Name }), uint32(slices.Index(healths, words[2])))
	case "stop":
		return w.Stop()
	case "hear":
		v := named(t, words[1], p.Vars, func(v program.Var) string { return v.Name })
		for value := range int32(p.Vars[v].Size) {
			if w.tell.Value(v, uint32(value)) == words[2] {
				return w.do(func() { w.apply(step.Event{Kind: step.Observe, A: v, B: value}) })
			}
		}
	}
	t.Fatalf("%q is no command of a transcript", words)
	return Turn{}
}

func named[T any](t *testing.T, name string, table []T, of func(T) string) int32 {
	t.Helper()
	i := slices.IndexFunc(table, func(x T) bool { return of(x) == name })
	if i < 0 {
		t.Fatalf("there is no %q", name)
	}
	return int32(i)
}

func buttonAt(t *testing.T, p *program.Program, page, cell string) int32 {
	t.Helper()
	return named(t, page+" "+cell, p.Buttons, func(b program.Button) string {
		return fmt.Sprintf("%s %d.%d", p.Pages[b.Page].Name, b.Row, b.Column)
	})
}

func micros(t *testing.T, seconds string) int64 {
	t.Helper()
	n, err := strconv.ParseFloat(strings.TrimSuffix(seconds, "s"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return int64(n * 1e6)
}

// firstDifference shows where two texts part.
func firstDifference(want, got string) string {
	a, b := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range max(len(a), len(b)) {
		x, y := "(the end)", "(the end)"
		if i < len(a) {
			x = a[i]
		}
		if i < len(b) {
			y = b[i]
		}
		if x != y {
			return fmt.Sprintf("line %d\nwant %s\ngot  %s", i+1, x, y)
		}
	}
	return "they are the same"
}
