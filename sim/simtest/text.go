package simtest

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
)

// author writes one random show.
type author struct {
	*rand.Rand
	rig
	banks  []string
	themes []theme
	macros []string // that may be run from here, with their arguments
	names  []string // of all macros, for conditions
	cues   int
	pages  bool
}

// theme is a part of the rack that a show is about.
type theme struct {
	acts  func(a *author) string
	conds func(a *author) string
}

// WriteShow writes the show of a seed in the language, and the rack it runs on:
// few things, so that all that can happen stays countable, but every statement.
func WriteShow(seed uint64) (show, rack string) {
	a := &author{Rand: rand.New(rand.NewPCG(seed, 0)), rig: rigs[seed%uint64(len(rigs))]}
	a.banks = slices.Sorted(maps.Keys(a.picks))
	a.choose()
	var out strings.Builder
	out.WriteString("show \"Random\" uses \"rack.yaml\"\n\n")
	a.cues = a.some([]int{0, 0, 2, 3})
	a.pages = a.IntN(4) == 0
	out.WriteString(a.writeSalvo())
	out.WriteString(a.writeMacros())
	out.WriteString(a.writePages())
	out.WriteString(a.writeRundown())
	out.WriteString(a.writeRules())
	return out.String(), a.rack
}

func (a *author) some(of []int) int           { return of[a.IntN(len(of))] }
func (a *author) one(of []string) string      { return of[a.IntN(len(of))] }
func (a *author) time() string                { return a.one([]string{"500ms", "1s", "2s"}) }
func (a *author) bank() (name, pick string)   { b := a.one(a.banks); return b, a.one(a.picks[b]) }
func (a *author) place() (to, from string)    { d := a.one(a.places); return d, a.one(a.brings[d]) }
func (a *author) f(s string, x ...any) string { return fmt.Sprintf(s, x...) }

// choose takes two or three themes that the rack has.
func (a *author) choose() {
	all := []theme{deckTheme, machineTheme, routeTheme, routeTheme, smallTheme}
	if len(a.banks) > 0 {
		all = append(all, bankTheme, bankTheme, bankTheme)
	}
	for range 1 + a.IntN(2) {
		a.themes = append(a.themes, all[a.IntN(len(all))])
	}
}

var bankTheme = theme{
	func(a *author) string {
		b, x := a.bank()
		switch a.IntN(9) {
		case 0, 1:
			return a.f("cut %s to %s", b, x)
		case 2:
			return a.f("preset %s to %s", b, x)
		case 3:
			return "take " + b
		case 4:
			return a.f("mix %s over %s", b, a.time())
		case 5:
			return a.f("wipe %s to %s over %s", b, x, a.time())
		case 6:
			return a.f("fade %s %s black over %s", b, a.one([]string{"to", "from"}), a.time())
		}
		return a.f("key %s %s", a.keyer, a.one([]string{"on", "off"}))
	},
	func(a *author) string {
		b, x := a.bank()
		return a.one([]string{a.f("%s.program == %s", b, x), a.f("%s.preset != %s", b, x), b + ".mixing", b + ".black", a.keyer + ".on"})
	},
}

var deckTheme = theme{
	func(a *author) string {
		return a.one([]string{`load deck with "opener"`, `load deck with "loop"`, "play deck", "play deck", "pause deck", "stop deck"})
	},
	func(a *author) string {
		return "deck." + a.one([]string{"empty", "loading", "cued", "playing", "paused", "ended", "loaded", `clip == "loop"`})
	},
}

var machineTheme = theme{
	func(a *author) string {
		return a.one([]string{"record iso", "stop iso", "start stream", "stop stream", "record iso\nstart stream"})
	},
	func(a *author) string {
		return a.one([]string{"iso.rolling", "iso.starting", "stream.live", "stream.stopped", "iso.rolling and not stream.live"})
	},
}

var routeTheme = theme{
	func(a *author) string {
		d, x := a.place()
		switch a.IntN(8) {
		case 0:
			return a.one([]string{"protect ", "release "}) + d
		case 1, 2:
			if lines := a.lines(); len(lines) > 0 {
				line := a.one(lines)
				return a.f("route %s from %s", line, a.one(a.brings[line]))
			}
		}
		return a.f("route %s from %s", d, x)
	},
	func(a *author) string {
		d, _ := a.place()
		x := a.one(a.sources)
		return a.one([]string{a.f("%s.shows(%s)", d, x), a.f("%s.shows(%s)", d, x), x + ".on_air", d + ".protected"})
	},
}

func (a *author) lines() []string {
	var all []string
	for _, line := range []string{"line1", "line2"} {
		if a.brings[line] != nil {
			all = append(all, line)
		}
	}
	return all
}

var smallTheme = theme{
	func(a *author) string {
		return a.one([]string{"recall arm shot 1", "recall arm shot 2", `note "said"`, `alert "said"`,
			"switch fan on", "switch fan off", "send dim"})
	},
	func(a *author) string { return a.one([]string{a.one(a.sources) + ".on_air", "fan.on", "lights.away"}) },
}

func (a *author) act() string { return a.themes[a.IntN(len(a.themes))].acts(a) }

func (a *author) cond() string {
	switch a.IntN(8) {
	case 0:
		return a.f("(%s or %s)", a.cond(), a.cond())
	case 1:
		return a.f("(%s and not (%s))", a.cond(), a.cond())
	case 2:
		if len(a.names) > 0 {
			return a.one(a.names) + a.one([]string{".running", ".failed"})
		}
	case 3:
		if a.cues > 0 {
			return a.f("rundown.standby == %d", 1+a.IntN(a.cues))
		}
	case 4:
		if a.pages {
			return a.f("desk.page == %s", a.one([]string{"front", "rear"}))
		}
	}
	return a.themes[a.IntN(len(a.themes))].conds(a)
}

// statements writes a script of so many statements.
func (a *author) statements(n, deep int) string {
	var all []string
	for range n {
		all = append(all, a.statement(deep))
	}
	return "{\n" + strings.Join(all, "\n") + "\n}"
}

func (a *author) statement(deep int) string {
	if deep == 0 {
		return a.act()
	}
	switch a.IntN(16) {
	case 0:
		return "wait " + a.time()
	case 1:
		return "wait until " + a.cond()
	case 2:
		return a.f("wait until %s within %s else %s", a.cond(), a.time(), a.statements(1, deep-1))
	case 3:
		return a.f("expect %s within %s else alert \"late\"", a.cond(), a.time())
	case 4:
		return a.f("expect %s else %s", a.cond(), a.one([]string{"abandon \"no\"", a.statements(1, deep-1)}))
	case 5:
		return a.f("if %s %s", a.cond(), a.statements(1, deep-1))
	case 6:
		return a.f("if %s %s else %s", a.cond(), a.statements(1, deep-1), a.statements(1, deep-1))
	case 7:
		return a.f("together {\n%s\n%s\n}", a.statements(2, deep-1), a.statement(deep-1))
	case 8, 9, 10:
		if len(a.macros) > 0 {
			return "run " + a.one(a.macros)
		}
	}
	return a.act()
}

// writeSalvo writes, perhaps, a salvo that scripts may run as a macro.
func (a *author) writeSalvo() string {
	if a.IntN(3) > 0 {
		return ""
	}
	all := []string{"route hall, side from near", "route hall from arm", "record iso", "play deck", "protect side"}
	if len(a.banks) > 0 {
		all[0] = "take main"
	}
	a.macros = append(a.macros, "salvo0")
	return a.f("salvo salvo0 {\n%s\n%s\n}\n", a.one(all), a.one(all))
}

// writeMacros writes up to two macros; the second may run the first, and one may
// be run with several arguments.
func (a *author) writeMacros() string {
	var out strings.Builder
	for i := range a.IntN(3) {
		name := a.f("macro%d", i)
		again := a.one([]string{"", " restart", " queue"})
		if i == 0 && len(a.banks) > 0 && a.IntN(2) == 0 {
			fmt.Fprintf(&out, "macro %s(to: source)%s {\nmix main to to over 1s\nwait 1s\n}\n", name, again)
			for _, x := range a.picks["main"][:2] {
				if !strings.HasPrefix(x, "line") {
					a.macros = append(a.macros, a.f("%s(to: %s)", name, x))
				}
			}
		} else {
			fmt.Fprintf(&out, "macro %s%s %s\n", name, again, a.statements(1+a.IntN(3), 2))
			a.macros = append(a.macros, name)
		}
		a.names = append(a.names, name)
	}
	return out.String()
}

func (a *author) writePages() string {
	var out strings.Builder
	buttons := 2 + a.IntN(3)
	out.WriteString("page front on desk {\n")
	for i := range buttons {
		out.WriteString(a.button(i + 1))
	}
	if a.pages {
		fmt.Fprintf(&out, "button 3.1 \"Turn\" { page desk to rear }\n}\npage rear on desk {\n%sbutton 3.1 \"Turn\" { page desk to front }\n", a.button(1))
	}
	out.WriteString("}\n")
	return out.String()
}

func (a *author) button(column int) string {
	press := a.statements(1+a.IntN(2), 1)
	switch a.IntN(8) {
	case 0:
		return a.f("button 1.%d \"Hold\" %s hold 1s %s\n", column, press, a.statements(1, 0))
	case 1:
		return a.f("button 1.%d \"Talk\" %s release %s\n", column, press, a.statements(1, 0))
	case 2, 3:
		return a.f("button 1.%d \"Under cover\" guarded %s\n", column, press)
	case 4:
		if a.cues > 0 {
			return a.f("button 1.%d \"Go\" { go%s }\n", column, a.one([]string{"", " 1", " 2"}))
		}
	}
	return a.f("button 1.%d \"Press\" %s\n", column, press)
}

func (a *author) writeRundown() string {
	if a.cues == 0 {
		return ""
	}
	var out strings.Builder
	out.WriteString("rundown {\n")
	for i := range a.cues {
		fires := ""
		if i > 0 {
			fires = a.one([]string{"", a.f(" follow %d after 1s", i), a.f(" follow %d", i), a.f(" at 19:3%d:00", i)})
		}
		fmt.Fprintf(&out, "cue %d \"Cue\"%s %s\n", i+1, fires, a.statements(1+a.IntN(2), 1))
	}
	out.WriteString("}\n")
	return out.String()
}

// writeRules writes four rules. Some of them cannot be broken, some can.
func (a *author) writeRules() string {
	return a.f("never \"first\" { %s and %s }\nnever \"second\" { %s }\nalways \"third\" { %s } while { %s }\npossible \"fourth\" { %s and %s }\n",
		a.cond(), a.cond(), a.cond(), a.cond(), a.cond(), a.cond(), a.cond())
}
