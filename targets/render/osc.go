package render

import (
	"fmt"
	"math"
	"strings"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/targets/osc"
)

// argument is one OSC argument of a template. A tag of 0 is taken from the
// value.
type argument struct {
	tag     byte
	formula *formula
}

// newOSC reads an OSC template.
func newOSC(t *plan.Template, known names) (*template, diag.List) {
	path, found := newPhrase(t.Path, known) // plan has checked its fixed parts
	out := &template{at: t.At, path: path}
	for i := range t.Args {
		a := &t.Args[i]
		f, mistakes := newFormula(a.Expr.Text, placer(&a.Expr), known)
		found.Add(mistakes...)
		if f == nil {
			continue
		}
		found.Add(checkTag(a, f)...)
		out.args = append(out.args, argument{a.Tag, f})
	}
	return out, found
}

// tags are the type tags that a template can ask for, and the kind of value
// each takes.
var tags = map[byte]kind{'i': number, 'h': number, 'f': number, 'd': number, 's': text, 'S': text, 'b': text,
	'c': text, 'T': truth, 'F': truth, 'N': unknown, 'I': unknown}

// checkTag says that an argument's value is not what its tag takes.
func checkTag(a *plan.Arg, f *formula) diag.List {
	if a.Tag == 0 {
		return nil
	}
	need, ok := tags[a.Tag]
	if !ok {
		return diag.List{diag.New(mismatch, f.at, "there is no type `%c` for an OSC value here", a.Tag).
			Mend("write %s", nearest.Quote([]string{"i", "f", "s", "T"}))}
	}
	if f.kind == unknown || need == unknown || f.kind == need || need == number && f.kind == whole {
		return nil
	}
	return diag.List{diag.New(mismatch, f.at, "`%s` is %s, and an OSC `%c` is %s", strings.TrimSpace(a.Expr.Text), f.kind, a.Tag, need)}
}

// fillOSC makes an OSC message.
func (t *template) fillOSC(given map[string]value) (program.Message, *refusal) {
	path, no := t.path.fill(given, func(_, s string) (string, error) {
		if s == "" || strings.Contains(s, "/") || osc.CheckAddress("/"+s) != nil {
			return "", fmt.Errorf("`%s` cannot be a part of an OSC address", s)
		}
		return s, nil
	})
	if no != nil {
		return program.Message{}, no
	}
	m := osc.Message{Path: path}
	text := path
	for _, a := range t.args {
		v, err := a.formula.eval(given)
		var arg osc.Arg
		if err != nil {
			err = fmt.Errorf("`%s` %w", strings.TrimSpace(a.formula.at.Text()), err)
		} else {
			arg, err = a.of(v)
		}
		if err != nil {
			return program.Message{}, &refusal{refused, a.formula.at, err.Error()}
		}
		m.Args = append(m.Args, arg)
		text += " " + string(rune(arg.Tag)) + ":" + arg.String()
	}
	packet, err := osc.Encode(m)
	if err != nil {
		return program.Message{}, &refusal{refused, t.at, err.Error()}
	}
	if len(packet) > largest {
		return program.Message{}, &refusal{tooLarge, t.at, fmt.Sprintf("a message of %d bytes is too large, %d is the most", len(packet), largest)}
	}
	return program.Message{OSC: packet, Text: text}, nil
}

// of makes the argument of a value.
func (a argument) of(v value) (osc.Arg, error) {
	tag := a.tag
	if tag == 0 {
		tag = tagOf(v)
	}
	switch tag {
	case 'i':
		n, err := integer(v, math.MinInt32, math.MaxInt32)
		return osc.Int32(int32(n)), err
	case 'h':
		n, err := integer(v, math.MinInt64, math.MaxInt64)
		return osc.Int64(n), err
	case 'f':
		n, err := decimal(v)
		if err == nil && math.Abs(n) > math.MaxFloat32 {
			err = fmt.Errorf("`%s` is too large for an OSC `f`", show(v))
		}
		return osc.Float32(float32(n)), err
	case 'd':
		n, err := decimal(v)
		return osc.Float64(n), err
	case 's', 'S', 'b':
		return texted(tag, show(v))
	case 'c':
		if s := show(v); len(s) == 1 && s[0] < 0x80 {
			return osc.Char(s[0]), nil
		}
		return osc.Arg{}, fmt.Errorf("`%s` is not one plain character", show(v))
	case 'T', 'F':
		return osc.Bool(v == true), nil
	case 'N':
		return osc.Null(), nil
	}
	return osc.Infinitum(), nil
}

// tagOf is the type tag that a value has by itself.
func tagOf(v value) byte {
	switch v := v.(type) {
	case int64:
		return 'i'
	case float64:
		if v == math.Trunc(v) && math.Abs(v) <= math.MaxInt32 {
			return 'i'
		}
		return 'f'
	case string:
		return 's'
	}
	return 'T'
}

func texted(tag byte, s string) (osc.Arg, error) {
	if tag == 'b' {
		return osc.Blob([]byte(s)), nil
	}
	if err := clean(s); err != nil {
		return osc.Arg{}, err
	}
	if tag == 'S' {
		return osc.Symbol(s), nil
	}
	return osc.String(s), nil
}
