package main

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"cuewright/macro/nearest"
	"cuewright/targets/control"
	"cuewright/targets/surface"
)

const runHelp = `  press PAGE R.C     tap a button
  hold PAGE R.C 2s   hold it that long
  go    go 2         fire the cue on standby, or cue 2
  back    skip       standby one cue back, or on
  stop               end every running script; pictures stay
  resume             let a held show send again
  disarm    arm 12   no cue, or not this one, fires by the clock or timecode; or again
  outputs            what every output should show, was told, and is known to show
  resend NAME        send again what a destination should show, or a field should be
  adopt NAME         what it was seen to be is what the show wants from now on
  reload    reload force   load the show from its file again
  trial    trial 90s DIGEST   load it on trial; reload takes a digest too
  keep    return     keep the show on trial, or have the one before back now
  take NAME    give NAME   take a surface over, or give it back to all
  switch             the other controller of a pair leads, or this one when nobody does
  state              what is held, away, changed by others; standby and lamps
  help    quit
`

// runWords are the words that a line can begin with.
var runWords = []string{"press", "hold", "go", "back", "skip", "stop", "resume", "disarm", "arm", "outputs", "resend", "adopt", "reload", "trial", "keep", "return", "take", "give", "switch", "state", "help", "quit"}

// readLines presses what the input says, until its end, or until it says quit.
func readLines(in io.Reader, desk *control.Controller, out *console, quit chan<- struct{}) {
	l := bufio.NewScanner(in)
	for l.Scan() {
		words := strings.Fields(l.Text())
		if len(words) == 0 {
			continue
		}
		if words[0] == "quit" {
			close(quit)
			return
		}
		text, wrong := runLine(desk, words)
		if wrong != nil {
			text = strings.TrimSuffix(wrong.what+"; "+wrong.mend, "; ")
		}
		out.said(text)
	}
}

// runLine does one line and says what became of it.
func runLine(desk *control.Controller, words []string) (string, *mistake) {
	p := desk.View().Program
	press := surface.Press{Of: p, Surface: -1, Button: -1, Cue: -1, Destination: -1, By: "console"}
	switch words[0] {
	case "help":
		return "\n" + runHelp, nil
	case "state":
		return stateWords(desk.View()), nil
	case "reload", "trial":
		how, wrong := loadLine(words)
		if wrong != nil {
			return "", wrong
		}
		return loadWords(desk, how), nil
	case "keep":
		press.Kind = surface.Keep
	case "return":
		press.Kind = surface.Return
	case "take", "give":
		press.Kind = map[string]surface.Kind{"take": surface.TakeOver, "give": surface.GiveBack}[words[0]]
		name := strings.Join(words[1:], " ")
		if press.Surface = desk.View().SurfaceNamed(name); press.Surface < 0 {
			return "", &mistake{what: fmt.Sprintf("there is no surface `%s`", name)}
		}
	case "press", "hold":
		return pressLine(desk, press, words)
	case "go", "disarm", "arm":
		press.Kind = map[string]surface.Kind{"go": surface.Go, "disarm": surface.Disarm, "arm": surface.Arm}[words[0]]
		if len(words) > 1 {
			press.Cue = desk.View().CueNumbered(words[1])
			if press.Cue < 0 {
				return "", &mistake{what: fmt.Sprintf("there is no cue `%s`", words[1])}
			}
		}
	case "back":
		press.Kind = surface.Back
	case "skip":
		press.Kind = surface.Skip
	case "switch":
		press.Kind = surface.SwitchOver
	case "stop":
		press.Kind = surface.StopAll
	case "resume":
		press.Kind = surface.Resume
	case "outputs":
		return "\n" + surface.OutputTable(desk.View().Outputs), nil
	case "resend", "adopt":
		press.Kind = map[string]surface.Kind{"resend": surface.Resend, "adopt": surface.Adopt}[words[0]]
		name := strings.Join(words[1:], " ")
		if press.Destination = desk.View().OutputNamed(name); press.Destination < 0 {
			return "", &mistake{what: fmt.Sprintf("there is no output `%s`", name), mend: there(surface.OutputNames(p))}
		}
	default:
		m := &mistake{what: fmt.Sprintf("`%s` is nothing that can be done here", words[0]), mend: "`help` lists the words"}
		if near := nearest.Names(words[0], runWords); len(near) > 0 {
			m.mend = "did you mean " + nearest.Quote(near)
		}
		return "", m
	}
	return answerWords(desk.Press(press)), nil
}

// pressLine taps or holds a button.
func pressLine(desk *control.Controller, press surface.Press, words []string) (string, *mistake) {
	var held time.Duration
	if words[0] == "hold" {
		d, err := time.ParseDuration(words[len(words)-1])
		if err != nil || d < 0 || d > time.Minute {
			return "", &mistake{what: "`hold` needs a page, a place and a time", mend: "write `hold cameras 1.2 2s`"}
		}
		held, words = d, words[:len(words)-1]
	}
	b, wrong := buttonAt(press.Of, strings.Join(words[1:], " "))
	if wrong != nil {
		return "", wrong
	}
	press.Kind, press.Button = surface.Down, b
	answer := desk.Press(press)
	time.Sleep(held)
	press.Kind = surface.Up
	desk.Press(press)
	return answerWords(answer), nil
}

func answerWords(a surface.Answer) string {
	word := map[surface.Outcome]string{surface.Done: "done", surface.Repeated: "ignored", surface.Refused: "refused",
		surface.Held: "held", surface.Busy: "too busy"}[a.Outcome]
	if a.Text != "" {
		word += ": " + a.Text
	}
	return word
}

// loadLine reads what comes after reload and trial, in any order.
func loadLine(words []string) (surface.Load, *mistake) {
	how := surface.Load{By: "console"}
	if words[0] == "trial" {
		how.Trial = surface.UsualTrial
	}
	for _, word := range words[1:] {
		d, err := time.ParseDuration(word)
		switch {
		case word == "force" && how.Trial == 0:
			how.Force = true
		case err == nil && how.Trial != 0:
			if err := surface.CheckTrial(d); err != nil {
				return how, &mistake{what: err.Error()}
			}
			how.Trial = d
		default:
			if err := surface.CheckDigest(word); err != nil {
				return how, &mistake{what: err.Error()}
			}
			how.Expect = word
		}
	}
	return how, nil
}

func loadWords(desk *control.Controller, how surface.Load) string {
	r, err := desk.Load(how)
	if err != nil {
		return err.Error()
	}
	return r.Words()
}

// stateWords is a view in words.
func stateWords(v *surface.View) string {
	var b strings.Builder
	p := v.Program
	fmt.Fprintf(&b, "%s, program %.12s", v.Show, v.Running)
	if v.OnDisk != v.Running {
		fmt.Fprintf(&b, ", another on the disk: %.12s", v.OnDisk)
	}
	if t := v.Trial; t != nil {
		fmt.Fprintf(&b, ", ON TRIAL for %d s more, by %s: `keep` lets it stay, else %s is back", t.Left(time.Now()), t.By, surface.Short(t.Before))
		for _, text := range t.Returns {
			fmt.Fprintf(&b, "\n  is then sent: %s", text)
		}
		for _, text := range t.Stays {
			fmt.Fprintf(&b, "\n  stays: %s", text)
		}
	}
	if v.Pair != nil {
		b.WriteString(", " + v.Pair.Words())
	}
	if v.Held {
		b.WriteString(", held: `resume` lets it send")
	}
	b.WriteString("\n  standby: ")
	if int(v.Standby) < len(p.Cues) {
		fmt.Fprintf(&b, "cue %s %q", p.Cues[v.Standby].Number, p.Cues[v.Standby].Label)
	} else {
		b.WriteString("nothing")
	}
	for _, line := range v.ByItself() {
		b.WriteString("\n  " + line)
	}
	for i, holder := range v.Holder {
		if holder != "" {
			fmt.Fprintf(&b, "\n  %s: taken over by %s", p.Surfaces[i].Name, holder)
		}
	}
	for _, d := range v.Away {
		fmt.Fprintf(&b, "\n  away: %s", p.Devices[d].Name)
	}
	for _, x := range v.Drifted {
		fmt.Fprintf(&b, "\n  changed by somebody else: %s", p.Vars[x].Name)
	}
	for i := range p.Buttons {
		at := &p.Buttons[i]
		if slices.Contains(v.Page, at.Page) {
			fmt.Fprintf(&b, "\n  %-20s %-20s %s", fmt.Sprintf("%s %d.%d", p.Pages[at.Page].Name, at.Row, at.Column), at.Label, v.Lamps[i])
		}
	}
	return b.String()
}
