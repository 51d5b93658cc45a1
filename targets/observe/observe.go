// Package observe turns what is heard from a device into values of the show's
// variables, as the plan's `hears` says: OSC messages by address and argument,
// HTTP answers by JSON pointer, status or body. What the plan does not mention
// is passed over. Nothing here sends, waits or keeps state.
package observe

import (
	"bytes"
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"cuewright/macro/program"
	"cuewright/targets/osc"
)

// Table is the observations of one device. It is not changed after New and may
// be used from several goroutines.
type Table struct {
	vars  []program.Var
	paths []string // distinct, in the plan's order
	osc   map[string][]observation
	http  map[string][]observation // by Method and Target
}

type observation struct {
	program.Observation
	pointer Pointer
}

// Observed is a variable and the value that a device says it has.
type Observed struct {
	Var   int32
	Value uint32
}

// New is the table of p's device.
func New(p *program.Program, device int32) *Table {
	t := &Table{vars: p.Vars, osc: map[string][]observation{}, http: map[string][]observation{}}
	for _, o := range p.Observations {
		o.Means = withNumbers(o.Means)
		switch {
		case o.Device != device:
		case o.Path != "":
			if t.osc[o.Path] == nil {
				t.paths = append(t.paths, o.Path)
			}
			t.osc[o.Path] = append(t.osc[o.Path], observation{Observation: o})
		default:
			one := observation{Observation: o}
			if o.Pointer != "status" && o.Pointer != "body" {
				pointer, err := ParsePointer(o.Pointer)
				if err != nil {
					continue // the plan's reader has said so
				}
				one.pointer = pointer
			}
			key := o.Method + " " + o.Target
			t.http[key] = append(t.http[key], one)
		}
	}
	return t
}

// withNumbers adds, for each number that the plan writes in another way than
// numbers are heard (0.50), the way that they are heard (0.5).
func withNumbers(means []program.Meaning) []program.Meaning {
	all := slices.Clone(means)
	for _, m := range means {
		if raw := []byte(m.Heard); json.Valid(raw) {
			if n, ok := readJSON(raw).(json.Number); ok && jsonNumber(string(n)) != m.Heard {
				all = append(all, program.Meaning{Heard: jsonNumber(string(n)), Value: m.Value})
			}
		}
	}
	return all
}

// OSC is the first thing that a message says; Heard gives all.
func (t *Table) OSC(m osc.Message) (varIdx int32, value uint32, ok bool) {
	var space [4]Observed
	all := t.Heard(m, space[:0])
	if len(all) == 0 {
		return -1, 0, false
	}
	return all[0].Var, all[0].Value, true
}

// Heard appends all that a message says to into, in the plan's order. A
// message whose address is a pattern speaks of every address that it matches.
func (t *Table) Heard(m osc.Message, into []Observed) []Observed {
	if !osc.IsPattern(m.Path) {
		return t.say(into, t.osc[m.Path], m.Args)
	}
	for _, path := range t.paths {
		if osc.Match(m.Path, path) {
			into = t.say(into, t.osc[path], m.Args)
		}
	}
	return into
}

func (t *Table) say(into []Observed, all []observation, args []osc.Arg) []Observed {
	for _, o := range all {
		if a, ok := argument(args, int(o.Arg)); ok {
			if text, ok := ArgText(a); ok {
				into = t.mean(into, o, text)
			}
		}
	}
	return into
}

// argument is the nth argument, the marks of arrays not counted.
func argument(args []osc.Arg, n int) (osc.Arg, bool) {
	for _, a := range args {
		if a.Tag == '[' || a.Tag == ']' {
			continue
		}
		if n == 0 {
			return a, true
		}
		n--
	}
	return osc.Arg{}, false
}

// HTTP is all that an answer to method and target says, in the plan's order.
// An answer that is not 2xx says nothing but its status.
func (t *Table) HTTP(method, target string, status int, body []byte) []Observed {
	var (
		heard       []Observed
		read, valid bool
	)
	for _, o := range t.http[method+" "+target] {
		switch {
		case o.Pointer == "status":
			heard = t.mean(heard, o, strconv.Itoa(status))
		case status < 200 || status > 299:
		case o.Pointer == "body":
			heard = t.mean(heard, o, string(bytes.TrimSpace(body)))
		default:
			if !read {
				read, valid = true, json.Valid(body)
			}
			if !valid {
				continue
			}
			if raw, ok := o.pointer.Find(body); ok {
				if text, ok := jsonText(raw); ok {
					heard = t.mean(heard, o, text)
				}
			}
		}
	}
	return heard
}

// readJSON is a valid value, nil when it is null.
func readJSON(raw []byte) (v any) {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	_ = d.Decode(&v) // it is valid
	return v
}

// mean appends what text means to o's variable, if the plan says.
func (t *Table) mean(heard []Observed, o observation, text string) []Observed {
	for _, m := range o.Means {
		if m.Heard == text && m.Value < t.vars[o.Var].Size {
			return append(heard, Observed{o.Var, m.Value})
		}
	}
	return heard
}

// ArgText is the text form of an argument for program.Meaning: a whole number
// "3" whatever its type, another "0.5", text as it is, true, false, null. A
// blob, time, colour, MIDI message, infinitum or mark of an array has none.
func ArgText(a osc.Arg) (string, bool) {
	switch a.Tag {
	case 'i', 'h':
		return strconv.FormatInt(a.Int(), 10), true
	case 'f':
		return number(a.Float(), 32), true
	case 'd':
		return number(a.Float(), 64), true
	case 's', 'S':
		return a.Text(), true
	case 'c':
		return string(rune(a.Int())), true
	case 'T':
		return "true", true
	case 'F':
		return "false", true
	case 'N':
		return "null", true
	}
	return "", false
}

func number(v float64, bits int) string {
	if v == 0 {
		return "0" // and not -0
	}
	return strconv.FormatFloat(v, 'f', -1, bits)
}

// jsonText is the text form of a JSON value, as ArgText's. An object or array
// has none.
func jsonText(raw []byte) (string, bool) {
	if raw[0] == '{' || raw[0] == '[' {
		return "", false
	}
	switch v := readJSON(raw).(type) {
	case json.Number:
		return jsonNumber(string(v)), true
	case string:
		return v, true
	case bool:
		return strconv.FormatBool(v), true
	case nil:
		return "null", true
	}
	return "", false
}

// jsonNumber is 3 for 3, 3.0 and 3e0. Whole numbers keep all their digits.
func jsonNumber(text string) string {
	if !strings.ContainsAny(text, ".eE") && text != "-0" {
		return text
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return text // out of range: the plan can still name it
	}
	return number(v, 64)
}
