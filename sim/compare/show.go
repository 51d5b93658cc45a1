package compare

import (
	"fmt"
	"slices"
	"strings"

	"cuewright/macro/program"
	"cuewright/sim/story"
)

func (d *differ) add(kind Kind, hunks []Hunk, users []string, format string, args ...any) {
	if hunks == nil {
		hunks = []Hunk{}
	}
	d.changes = append(d.changes, Change{Kind: kind, Says: fmt.Sprintf(format, args...), Hunks: hunks, For: users})
}

// at is a hunk without lines: where a change is.
func (d *differ) at(was, is program.Place) []Hunk {
	return []Hunk{{WasAt: d.was.place(was), IsAt: d.is.place(is)}}
}

func (d *differ) surfaces() {
	was, is := d.was.p.Surfaces, d.is.p.Surfaces
	for b := range is {
		a := slices.IndexFunc(was, func(s program.Surface) bool { return s.Name == is[b].Name })
		if a < 0 {
			d.add(OfSurface, d.at(program.Place{}, is[b].At), nil, "surface %s is new", is[b].Name)
			continue
		}
		x, y := &was[a], &is[b]
		if x.Rows != y.Rows || x.Columns != y.Columns || x.By != y.By {
			d.add(OfSurface, d.at(x.At, y.At), nil, "surface %s is now %d x %d by %s, was %d x %d by %s",
				y.Name, y.Rows, y.Columns, y.By, x.Rows, x.Columns, x.By)
		}
		first := func(v *version, s *program.Surface) (string, program.Place) {
			if len(s.Pages) == 0 {
				return "no page", s.At
			}
			page := s.Pages[v.p.Vars[s.Page].Start]
			return v.page(page), v.p.Pages[page].At
		}
		old, oldAt := first(d.was, x)
		now, nowAt := first(d.is, y)
		if old != now {
			d.add(OfSurface, d.at(oldAt, nowAt), nil, "surface %s begins with %s, began with %s", y.Name, now, old)
		}
	}
	for _, x := range was {
		if !slices.ContainsFunc(is, func(s program.Surface) bool { return s.Name == x.Name }) {
			d.add(OfSurface, d.at(x.At, program.Place{}), nil, "surface %s is gone", x.Name)
		}
	}
}

func (d *differ) pages() {
	for _, pair := range d.pagePairs {
		a, b := pair[0], pair[1]
		switch {
		case a < 0:
			p := &d.is.p.Pages[b]
			d.add(OfPage, d.at(program.Place{}, p.At), nil, "page %s is new on %s", p.Name, strings.Join(d.is.surfacesOf(b), ", "))
		case b < 0:
			p := &d.was.p.Pages[a]
			d.add(OfPage, d.at(p.At, program.Place{}), nil, "page %s is gone from %s", p.Name, strings.Join(d.was.surfacesOf(a), ", "))
		default:
			d.page(a, b)
		}
	}
}

func (d *differ) page(a, b int32) {
	x, y := &d.was.p.Pages[a], &d.is.p.Pages[b]
	if x.Name != y.Name {
		d.add(OfPage, d.at(x.At, y.At), nil, "page %s is now called %s", x.Name, y.Name)
	}
	old, now := strings.Join(d.was.surfacesOf(a), ", "), strings.Join(d.is.surfacesOf(b), ", ")
	if old != now {
		d.add(OfPage, d.at(x.At, y.At), nil, "page %s is now on %s, was on %s", y.Name, now, old)
	}
}

// texts are lines without their places.
func texts(lines []line) (out []string) {
	for _, l := range lines {
		out = append(out, l.text)
	}
	return out
}

func (d *differ) buttons() {
	for _, pair := range d.buttonPairs {
		a, b := pair[0], pair[1]
		switch {
		case a < 0:
			h := d.at(program.Place{}, d.is.p.Buttons[b].At)
			h[0].Is = texts(append(d.is.press(b), d.is.lamps(b)...))
			d.add(OfButton, h, nil, "%s is new%s", d.is.button(b), guard(&d.is.p.Buttons[b]))
		case b < 0:
			h := d.at(d.was.p.Buttons[a].At, program.Place{})
			h[0].Was = texts(append(d.was.press(a), d.was.lamps(a)...))
			d.add(OfButton, h, nil, "%s is gone%s", d.was.button(a), guard(&d.was.p.Buttons[a]))
		default:
			d.button(a, b)
		}
	}
}

func guard(b *program.Button) string {
	if b.Guarded {
		return ", guarded"
	}
	return ""
}

// button compares a button with what it was.
func (d *differ) button(a, b int32) {
	x, y := &d.was.p.Buttons[a], &d.is.p.Buttons[b]
	name := d.is.button(b)
	if d.was.page(x.Page) != d.is.page(y.Page) || x.Row != y.Row || x.Column != y.Column {
		d.add(OfButton, d.at(x.At, y.At), nil, "%s was at %s %d.%d", name, d.was.page(x.Page), x.Row, x.Column)
	}
	if x.Label != y.Label {
		d.add(OfButton, d.at(x.At, y.At), nil, "%s was called %q", name, x.Label)
	}
	if x.Guarded != y.Guarded {
		d.add(OfButton, d.at(x.At, y.At), nil, "%s is %s", name,
			map[bool]string{true: "guarded now", false: "not guarded any more"}[y.Guarded])
	}
	if h := d.hunks(d.was.press(a), d.is.press(b), x.At, y.At); len(h) > 0 {
		d.add(OfButton, h, nil, "%s does something else", name)
	}
	if h := d.hunks(d.was.lamps(a), d.is.lamps(b), x.At, y.At); len(h) > 0 {
		d.add(OfButton, h, nil, "%s lights otherwise", name)
	}
}

func (d *differ) cues() {
	for _, pair := range d.cuePairs {
		a, b := pair[0], pair[1]
		switch {
		case a < 0:
			c := &d.is.p.Cues[b]
			h := d.at(program.Place{}, c.At)
			h[0].Is = append(texts(d.is.follows(b)), texts(d.is.script(c.Task, 0))...)
			d.add(OfCue, h, nil, "%s is new", d.is.cueWords(b))
		case b < 0:
			c := &d.was.p.Cues[a]
			h := d.at(c.At, program.Place{})
			h[0].Was = append(texts(d.was.follows(a)), texts(d.was.script(c.Task, 0))...)
			d.add(OfCue, h, nil, "%s is gone", d.was.cueWords(a))
		default:
			d.cueOf(a, b)
		}
	}
}

func (d *differ) cueOf(a, b int32) {
	x, y := &d.was.p.Cues[a], &d.is.p.Cues[b]
	name := d.is.cueWords(b)
	if x.Number != y.Number {
		d.add(OfCue, d.at(x.At, y.At), nil, "%s was cue %s", name, x.Number)
	}
	if x.Label != y.Label {
		d.add(OfCue, d.at(x.At, y.At), nil, "%s was called %q", name, x.Label)
	}
	if h := d.hunks(d.was.follows(a), d.is.follows(b), x.At, y.At); len(h) > 0 {
		d.add(OfCue, h, nil, "%s comes at another time", name)
	}
	if h := d.hunks(d.was.script(x.Task, 0), d.is.script(y.Task, 0), x.At, y.At); len(h) > 0 {
		d.add(OfCue, h, nil, "%s does something else", name)
	}
}

// follows says what a cue waits for.
func (v *version) follows(i int32) []line {
	c := &v.p.Cues[i]
	switch {
	case c.By == program.ByClock && v.p.Zone != "":
		return []line{{"comes by the clock at " + story.MomentOf(v.p, i) + " in " + v.p.Zone, c.At}}
	case c.By == program.ByClock:
		return []line{{"comes by the clock at " + story.MomentOf(v.p, i), c.At}}
	case c.By == program.ByTimecode:
		return []line{{"comes by the timecode at " + story.MomentOf(v.p, i), c.At}}
	case c.Follow < 0:
		return []line{{"waits for go", c.At}}
	}
	return []line{{fmt.Sprintf("follows cue %s after %s", v.cue(c.Follow), v.length(c.After)), c.At}}
}

// macros tells each macro that both versions have and that does something
// else, when a button or cue runs it.
func (d *differ) macros() {
	was, is := d.was.users(), d.is.users()
	for _, pair := range d.macroPairs {
		a, b := pair[0], pair[1]
		if a < 0 || b < 0 {
			continue // who runs it does something else, and says so
		}
		users := both(is.macros[b], was.macros[a])
		if h := d.macroHunks(a, b); len(h) > 0 && len(users) > 0 {
			d.add(OfMacro, h, users, "macro %s does something else", d.is.p.Tasks[b].Name)
		}
	}
}

// both are the names of two lists, each once.
func both(first, second []string) []string {
	all := slices.Clone(first)
	for _, name := range second {
		if !slices.Contains(all, name) {
			all = append(all, name)
		}
	}
	return all
}

var againWords = [...]string{"run again: ignored", "run again: restarts", "run again: queued"}

// macroHunks compares what a macro does with the arguments that both versions
// give it; when they give it none in common, with the first of each, leaving
// out the arguments themselves. What is written once is told once.
func (d *differ) macroHunks(a, b int32) []Hunk {
	x, y := &d.was.p.Tasks[a], &d.is.p.Tasks[b]
	var all []Hunk
	if x.Again != y.Again {
		all = append(all, Hunk{[]string{againWords[x.Again]}, []string{againWords[y.Again]}, d.was.place(x.Place), d.is.place(y.Place)})
	}
	add := func(was, is []line) {
		for _, h := range d.hunks(was, is, x.Place, y.Place) {
			if !slices.ContainsFunc(all, func(o Hunk) bool { return o.WasAt == h.WasAt && o.IsAt == h.IsAt }) {
				all = append(all, h)
			}
		}
	}
	matched := false
	for eb := range y.Entries {
		for ea := range x.Entries {
			if argValues(x.Args[ea]) == argValues(y.Args[eb]) {
				matched = true
				add(d.was.script(a, int32(ea)), d.is.script(b, int32(eb)))
				break
			}
		}
	}
	if !matched {
		add(masked(d.was.script(a, 0), x.Args[0]), masked(d.is.script(b, 0), y.Args[0]))
	}
	return all
}

// masked writes a sign in the place of each argument.
func masked(lines []line, args string) []line {
	values := strings.Split(argValues(args), ", ")
	for i := range lines {
		words := strings.Split(lines[i].text, " ")
		for w := range words {
			if n := slices.Index(values, words[w]); n >= 0 {
				words[w] = fmt.Sprintf("(argument %d)", n+1)
			}
		}
		lines[i].text = strings.Join(words, " ")
	}
	return lines
}

func (d *differ) salvos() {
	was, is := d.was.users(), d.is.users()
	for _, pair := range d.salvoPairs {
		a, b := pair[0], pair[1]
		if a < 0 || b < 0 {
			continue
		}
		users := both(is.salvos[b], was.salvos[a])
		x, y := &d.was.p.Salvos[a], &d.is.p.Salvos[b]
		if h := d.hunks(d.was.salvo(a), d.is.salvo(b), x.At, y.At); len(h) > 0 && len(users) > 0 {
			d.add(OfSalvo, h, users, "salvo %s does something else", y.Name)
		}
	}
}
