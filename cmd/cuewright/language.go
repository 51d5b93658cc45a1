package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"cuewright/macro/syntax"
)

// newLanguage is the help topic `cuewright help language`.
func newLanguage() *cobra.Command {
	c := &cobra.Command{
		Use:   "language",
		Short: "The cue language at a glance, and its grammar",
		Long:  "The cue language at a glance.",
	}
	c.SetHelpFunc(func(c *cobra.Command, _ []string) { fmt.Fprint(c.OutOrStdout(), glance()) })
	return c
}

const items = `The cue language at a glance
============================

A show file (*.show) names its routing plan and holds items, in any order.
A line is a statement; "# " begins a comment. There are no loops.

  show "Final" uses "rack.yaml"
  macro replay(item: clip) { … }           a script with values; "restart" or "queue" after it say
                                           what a second run does, which else is ignored
  salvo doors { … }                        crosspoints and cuts that are fired together
  page cameras on desk {
    button 1.1 "Wide" { … }  hold 1s { … }  release { … }  lamp lit when CONDITION
    button 3.5 "Stop" guarded { … }        the first press only opens the cover
  }
  rundown {
    cue 1 "Doors" { … }
    cue 2 "Titles" follow 1 after 5s { … }
    cue 3 "Start" at 19:30:00 { … }        by the clock; "rundown in "Europe/Vienna" { …" says in which zone
    cue 4 "Anthem" at timecode 01:02:03:04 { … }
  }
  never "…" { CONDITION }                  rules; also: always "…" { … } while { … }, possible "…" { … }
  rehearsal "…" { go 1; after 3s; press cameras 1.1; clock 19:30:00; expect CONDITION }
  allow CODE "the reason"                  accepts a finding

Statements
----------
`

const others = `
  wait 500ms                               also: 12f (frames), 1.5s, 2m, 00:00:05:12
  wait until CONDITION within 5s else { … }
  expect CONDITION within 2s else alert "…"   the script is marked failed when it does not come true
  if CONDITION { … } else { … }
  together { …; … }                        side by side; ends when all have ended
  run NAME(VALUE: …)                       runs a macro to its end, or fires a salvo
  alert "…"    note "…"    abandon "…"     abandon ends the script as failed
  go    go 3    page desk to cameras

Conditions
----------
  main.program == wide    main.preset    main.mixing    main.black    logo.on    deck.cued    deck.clip == "goal-1"
  iso.rolling    stream.live    wide.on_air    screens.shows(wide)    screens.protected    fan.on    iso.away
  NAME.running    NAME.failed    desk.page == crew    rundown.standby == 3    and, or, not, in

Grammar
-------
`

// glance is the language on one page, from the table of verbs and the grammar.
func glance() string {
	var b strings.Builder
	b.WriteString(items)
	for _, v := range syntax.Verbs {
		fmt.Fprintf(&b, "  %-40s %s\n", v.Example, v.Help)
	}
	b.WriteString(others)
	b.WriteString(syntax.Grammar)
	return b.String()
}
