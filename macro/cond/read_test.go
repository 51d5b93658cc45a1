package cond

import (
	"slices"
	"strings"
	"testing"

	"cuewright/macro/diag"
	"cuewright/macro/noun"
	"cuewright/macro/source"
	"cuewright/macro/syntax"

	"pgregory.net/rapid"
)

// rack is a small plan: names and what they are.
var rack = map[string]noun.Kind{
	"main": noun.Bank | noun.Source, "effects": noun.Bank | noun.Source, "logo": noun.Keyer,
	"wide": noun.Source | noun.Camera | noun.Device, "goal": noun.Source | noun.Camera | noun.Device,
	"deck": noun.Deck | noun.Source | noun.Device, "iso": noun.Recorder | noun.Device, "stream": noun.Encoder | noun.Device,
	"screens": noun.Destination, "fan": noun.Outlet, "line1": noun.Tie, "desk": noun.Surface,
	"mixer": noun.Device, "horn": noun.Message, "views": noun.Source,
}

var scope = &Scope{
	Plan: func(name string) (noun.Kind, bool) { k, ok := rack[name]; return k, ok },
	Names: func() []string {
		var names []string
		for n := range rack {
			names = append(names, n)
		}
		return names
	},
	Macros: map[string]bool{"roll": true, "crew": true},
	Pages:  map[string]bool{"cameras": true, "crew": true},
	Params: map[string]noun.Kind{"item": noun.Clip, "back": noun.Source, "rec": noun.Recorder, "cam": noun.Camera, "pos": noun.Shot},
}

// condOf puts a condition into a file, after text that spans must not slip on.
func condOf(text string) *syntax.Cond {
	const before = "# ünï 🎥\nnever \"x\" { "
	f := source.New("x.show", []byte(before+text+" }\n"))
	return &syntax.Cond{At: f.At(len(before), len(before)+len(text)), Text: text}
}

// show writes a tree: (== main.program wide).
func show(e *Expr) string {
	words := map[Op]string{Yes: "yes", No: "no", Not: "not", And: "and", Or: "or", Equal: "==", NotEqual: "!=", Less: "<",
		LessEqual: "<=", Greater: ">", GreaterEqual: ">=", In: "in"}
	switch e.Op {
	case NumberValue:
		return e.Text
	case TextValue:
		return `"` + e.Text + `"`
	case NameValue:
		return mark(e) + e.Name
	case Field:
		return mark(e) + e.Name + "." + e.Text
	}
	parts := []string{words[e.Op]}
	if e.Op == Shows {
		parts[0] = "shows " + mark(e) + e.Name
	}
	for _, a := range e.Args {
		parts = append(parts, show(a))
	}
	return "(" + strings.Join(parts, " ") + ")"
}

func mark(e *Expr) string {
	if e.Param {
		return "$"
	}
	return ""
}

func TestRead(t *testing.T) {
	for _, c := range []struct{ text, tree string }{
		{"main.program == wide", "(== main.program wide)"},
		{"wide == main.program", "(== main.program wide)"},
		{"main.program != line1 && true", "(and (!= main.program line1) (yes))"},
		{"main.preset == effects", "(== main.preset effects)"},
		{"iso.rolling and not stream.live or !logo.on", "(or (and iso.rolling (not stream.live)) (not logo.on))"},
		{"screens.shows(wide) or screens.shows(main) or screens.shows(line1)", "(or (or (shows screens wide) (shows screens main)) (shows screens line1))"},
		{"screens.shows((wide)) and screens.protected", "(and (shows screens wide) screens.protected)"},
		{"main.program in [wide, goal]", "(in main.program wide goal)"},
		{"main.program not in [wide, goal]", "(not (in main.program wide goal))"},
		{`deck.clip == "goal-1" and deck.cued`, `(and (== deck.clip "goal-1") deck.cued)`},
		{"deck.clip == item", "(== deck.clip $item)"},
		{"main.program == back and back.on_air", "(and (== main.program $back) $back.on_air)"},
		{"rec.rolling or rec.away", "(or $rec.rolling $rec.away)"},
		{"screens.shows(cam)", "(shows screens $cam)"},
		{"goal.shot == 2", "(== goal.shot 2)"},
		{"2 < goal.shot and goal.shot <= 4", "(and (> goal.shot 2) (<= goal.shot 4))"},
		{`goal.shot == "goal line" or goal.shot == pos`, `(or (== goal.shot "goal line") (== goal.shot $pos))`},
		{"rundown.standby == 12.50", "(== rundown.standby 12.50)"},
		{"desk.page == crew and crew.running", "(and (== desk.page crew) crew.running)"},
		{"roll.failed or mixer.away or fan.on", "(or (or roll.failed mixer.away) fan.on)"},
		{"logo.on == true", "logo.on"},
		{"logo.on == false", "(not logo.on)"},
		{"logo.on != false", "logo.on"},
		{"true != logo.on", "(not logo.on)"},
		{"iso.rolling == fan.on", "(or (and iso.rolling fan.on) (and (not iso.rolling) (not fan.on)))"},
		{"iso.rolling != fan.on", "(or (and iso.rolling (not fan.on)) (and (not iso.rolling) fan.on))"},
		{"(iso.rolling and fan.on) == true", "(and iso.rolling fan.on)"},
		{"main.program=wide or deck.clip = \"é=\"", `(or (== main.program wide) (== deck.clip "é="))`},
		{"(iso.rolling   \n and fan.on)", "(and iso.rolling fan.on)"},
		{"\n\tiso.rolling\r\n", "iso.rolling"},
	} {
		e, list := Read(condOf(c.text), scope)
		if got := show(e); got != c.tree || len(list) > 0 || e.Type != Truth {
			t.Errorf("%s\ngives %s (type %d) %v\nwant  %s", c.text, got, e.Type, list, c.tree)
		}
	}
}

// Each mistake is found where it stands, and all of them in one run. What is
// between ‹ and › is the place.
func TestMistakes(t *testing.T) {
	for _, c := range []struct{ text, codes string }{
		{"main.program == ‹wied›", "unknown-name"},
		{"main.program = ‹wied› or deck.clip=\"é\" and ‹é›.on", "unknown-name unknown-name"},
		{"iso.rolling ‹&› fan.on", "condition-unreadable"},
		{"‹mian›.program == wide", "unknown-name"},
		{"main.‹prgram› == ‹wied› and iso.‹roling›", "unknown-field unknown-name unknown-field"},
		{"‹iso›", "condition-type"},
		{"not ‹wide›", "condition-type"},
		{"main.program == wide or ‹goal›", "condition-type"},
		{"‹main.program›", "condition-type"},
		{"‹2›", "condition-type"},
		{"main.program == ‹iso›", "condition-type"},
		{"main.program == ‹\"wide\"›", "condition-type"},
		{"main.program == ‹2›", "condition-type"},
		{"deck.clip == ‹opener›", "unknown-name"},
		{"deck.clip == ‹wide›", "condition-type"},
		{"‹main.program == effects.program›", "condition-type"},
		{"‹wide == goal›", "condition-type"},
		{"‹main.program > wide›", "condition-type"},
		{"‹iso.rolling < fan.on›", "condition-type"},
		{"main.program == ‹iso.rolling›", "condition-type"},
		{"rundown.standby == ‹wide›", "condition-type"},
		{"‹rundown.standby > 2›", "condition-type"},
		{"rundown.‹next› == 2", "unknown-field"},
		{"‹rundown›", "condition-type"},
		{"goal.shot == ‹wide›", "condition-type"},
		{"goal.shot == ‹1e3›", "condition-unreadable"},
		{"goal.shot == ‹0x10›", "condition-unreadable"},
		{"desk.page == ‹wide›", "condition-type"},
		{"‹screens.shows›", "condition-type"},
		{"‹screens.shows(wide, goal)›", "condition-type"},
		{"‹screens.shows()›", "condition-type"},
		{"screens.shows(‹iso›)", "condition-type"},
		{"screens.shows(‹2›)", "condition-type"},
		{"screens.shows(‹wdie›) and iso.‹shows›(wide)", "unknown-name unknown-field"},
		{"‹iso.rolling()›", "condition-type"},
		{"main.‹on_air›", "unknown-field"},
		{"line1.‹on›", "unknown-field"},
		{"rec.‹live›", "unknown-field"},
		{"main.program ‹in› wide", "condition-unsupported"},
		{"‹main.program in []›", "condition-type"},
		{"main.program in [wide, ‹2›, ‹gaol›]", "condition-type unknown-name"},
		{"‹wide› in [wide, goal]", "condition-type"},
		{"‹iso.rolling› in [true]", "condition-type"},
		{"iso.rolling ‹+› fan.on", "condition-unsupported"},
		{"goal.shot == ‹-›1", "condition-unsupported"},
		{"‹iso.rolling ? fan.on : logo.on›", "condition-unsupported"},
		{"‹all›([wide], true)", "condition-unsupported"},
		{"‹len›(wide) == 2 and ‹wied›.on_air", "condition-unsupported unknown-name"},
		{"‹foo›(wide)", "condition-unsupported"},
		{"main‹[›\"program\"] == wide", "condition-unsupported"},
		{"deck.clip ‹matches› \"goal\"", "condition-unsupported"},
		{"deck.clip ‹startsWith› \"goal\"", "condition-unsupported"},
		{"iso.rolling ‹??› fan.on", "condition-unsupported"},
		{"main.program?.‹on›", "condition-unsupported"},
		{"main.program.‹name› == wide", "condition-unsupported"},
		{"‹nil›", "condition-unsupported"},
		{"‹let x = true; x›", "condition-unsupported"},
		{"‹[›wide]", "condition-unsupported"},
		{"iso.rolling ‹then› fan.on", "condition-unreadable"},
		{"main.program ‹is› wide", "condition-unreadable"},
		{"iso.rolling ‹AND› fan.on", "condition-unreadable"},
		{"main.program =‹=›", "condition-unreadable"},
		{"(iso.rolling and fan.o‹n›", "condition-unreadable"},
		{"iso.rolling ‹/›/ fan.on", "condition-unreadable"},
		{"deck.clip == ‹'›opener'", "condition-unreadable"},
		{"iso.rolling ‹)›", "condition-unreadable"},
		{"‹" + strings.Repeat("(", MaxDepth+1) + "fan.on" + strings.Repeat(")", MaxDepth+1) + "›", "condition-too-long"},
		{strings.Repeat("not ", MaxDepth+1) + "fan.‹on›", "condition-too-long"},
		{"‹" + strings.Repeat("fan.on or ", 500) + "fan.on›", "condition-too-long"},
	} {
		text := strings.NewReplacer("‹", "", "›", "").Replace(c.text)
		cnd := condOf(text)
		e, list := Read(cnd, scope)
		list = list.Tidy()
		if got := codes(list); got != c.codes {
			t.Errorf("%.60s\ngives %s\nwant  %s", c.text, got, c.codes)
			for _, d := range list {
				t.Logf("  %s: %s", d.Code, d.What)
			}
			continue
		}
		if got := marked(cnd, list); got != c.text {
			t.Errorf("%.80s\nis marked %.80s", c.text, got)
		}
		if e == nil || e.Type != Unknown {
			t.Errorf("%.60s is typed %v after a mistake", c.text, e)
		}
	}
}

func codes(list diag.List) string {
	var all []string
	for _, d := range list {
		all = append(all, string(d.Code))
	}
	return strings.Join(all, " ")
}

// marked puts ‹ and › around the place of each finding.
func marked(c *syntax.Cond, list diag.List) string {
	out := c.Text
	for _, d := range slices.Backward(list) {
		from, to := d.At.Start-c.At.Start, d.At.End-c.At.Start
		out = out[:from] + "‹" + out[from:to] + "›" + out[to:]
	}
	return out
}

// A mend that is sure leaves nothing to complain of.
func TestSureMends(t *testing.T) {
	for text, mended := range map[string]string{
		"main.program is wide":          "main.program == wide",
		"iso.rolling OR logo.on":        "iso.rolling or logo.on",
		"iso.rolling()":                 "iso.rolling",
		"deck.clip != \"é\" AND fan.on": "deck.clip != \"é\" and fan.on",
	} {
		c := condOf(text)
		_, list := Read(c, scope)
		if len(list) != 1 || len(list[0].Mends) == 0 || !list[0].Mends[0].Sure {
			t.Errorf("%s: no sure mend in %v", text, list)
			continue
		}
		e := list[0].Mends[0].Edits[0]
		got := text[:e.At.Start-c.At.Start] + e.New + text[e.At.End-c.At.Start:]
		if _, again := Read(condOf(got), scope); got != mended || len(again) > 0 {
			t.Errorf("%s\nis mended to %s, %v", text, got, again)
		}
	}
}

// Suggestions are names that would be right where they stand.
func TestSuggestionsFit(t *testing.T) {
	for text, want := range map[string]string{
		"main.program == wid":  "wide",
		"is0.rolling":          "iso",
		"deck.cud":             "cued",
		"main.progam == wide":  "program",
		"desk.page == camera":  "cameras",
		"rol.running":          "roll",
		"screens.show(wide)":   "shows",
		"rundwn.standby == 2":  "rundown",
		"main.program == bakc": "back",
	} {
		_, list := Read(condOf(text), scope)
		if len(list) != 1 || !strings.Contains(list[0].Mends[0].Do, "`"+want+"`") {
			t.Errorf("%s: want `%s` offered, got %v", text, want, list)
		}
	}
}

// A plan that was not understood is not blamed on the show.
func TestQuietNames(t *testing.T) {
	quiet := *scope
	quiet.Plan = func(name string) (noun.Kind, bool) { return 0, name != "rundown" && name != "crew" }
	quiet.Params = nil
	for _, text := range []string{"a.b", "a.b == c", "a.shows(b)", "a", "a.b in [c, d]", "a.b.c == 1 or x"} {
		if _, list := Read(condOf(text), &quiet); codes(list) != "" && text != "a.b.c == 1 or x" {
			t.Errorf("%s: %v", text, list)
		}
	}
}

// Whatever is joined, each mistake is found once.
func TestEveryMistakeIsFound(t *testing.T) {
	good := []string{"iso.rolling", "main.program == wide", "screens.shows(goal)", "not logo.on", "deck.clip == item"}
	bad := []string{"is0.rolling", "main.program == wied", "screens.shows(iso)", "not logo.of", "deck.clip == 2", "iso", "logo.on + 1 == 2"}
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.SampledFrom(append(good, bad...)), 1, 8).Draw(t, "parts")
		joins := rapid.SampledFrom([]string{" and ", " or ", " && ", " || "})
		text, faults := "", 0
		for i, p := range parts {
			if i > 0 {
				text += joins.Draw(t, "join")
			}
			if rapid.Bool().Draw(t, "brackets") {
				p = "(" + p + ")"
			}
			text += p
			if slices.Contains(bad, strings.Trim(p, "()")) || p == "(screens.shows(iso))" || p == "screens.shows(iso)" {
				faults++
			}
		}
		if _, list := Read(condOf(text), scope); len(list) != faults {
			t.Fatalf("%s: %d findings, want %d: %v", text, len(list), faults, list)
		}
	})
}

func FuzzRead(f *testing.F) {
	for _, text := range []string{"main.program == wide", "a = b", "é.x == \"ü\" # ñ\n", "((((", "not not x", "a ? b : c",
		"screens.shows(wide, 2)", "x in [1, 2", "let a = 1; a", "b\"\\x\" | len(.#)", "\"\\u{110000}\"", "1..", "a?.b[1:2]"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c := condOf(text)
		e, list := Read(c, scope)
		if e == nil || e.Type == thing {
			t.Fatalf("%q gives %v", text, e)
		}
		if len(list) == 0 && e.Type != Truth && strings.TrimSpace(text) != "" && !strings.Contains(text, "#") {
			t.Fatalf("%q has no findings and type %d", text, e.Type)
		}
		for _, d := range list {
			if d.At.Start < c.At.Start || d.At.End > c.At.End || d.At.Start > d.At.End {
				t.Fatalf("%q: %s at %d..%d of %d..%d", text, d.Code, d.At.Start, d.At.End, c.At.Start, c.At.End)
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	c := condOf("iso.rolling and stream.live or main.program == wide")
	for b.Loop() {
		Read(c, scope)
	}
}
