package cond

import (
	"strings"
	"unicode/utf8"

	"cuewright/macro/diag"
)

// prepare looks at the condition's bytes before they are split. It refuses
// what the splitter would swallow in silence, bounds the nesting, and reads a
// single `=` as `==`: that slip has been reported by whoever read the file,
// and the rest of the condition can still be looked at. It says whether the
// condition can be split.
func (r *reader) prepare() bool {
	if plain(r.text) {
		return true
	}
	raw := r.text
	p := points{offsets: make([]int32, 0, len(raw)+8)}
	p.text.Grow(len(raw) + 8)
	declares := strings.HasPrefix(strings.TrimSpace(raw), "let ")
	depth, deepest := 0, 0
	for i := 0; i < len(raw); {
		switch b := raw[i]; {
		case b == '"':
			i = p.copy(raw, i, stringEnd(raw, i))
			continue
		case b == '`' || b == '\'' || b == '/' && i+1 < len(raw) && (raw[i+1] == '/' || raw[i+1] == '*'):
			r.list.Add(diag.New("condition-unreadable", r.file.At(r.base+i, r.base+i+1), "`%c` cannot stand here in a condition", b).
				Mend("write a clip's name in straight double quotes, and a remark after `#`"))
			return false
		case strings.IndexByte("=!<>", b) >= 0 && i+1 < len(raw) && raw[i+1] == '=':
			i = p.copy(raw, i, i+2)
			continue
		case b == '=' && !declares:
			p.copy("=", 0, 1)
			p.offsets[len(p.offsets)-1] = int32(i)
		case b == '(' || b == '[' || b == '{':
			depth++
			deepest = max(deepest, depth)
		case b == ')' || b == ']' || b == '}':
			depth--
		}
		_, n := utf8.DecodeRuneInString(raw[i:])
		i = p.copy(raw, i, i+n)
	}
	if deepest > MaxDepth {
		r.list.Add(diag.New("condition-too-long", r.whole(), "the brackets of this condition stand %d deep, and %d is the most", deepest, MaxDepth).
			Mend("split it into several rules, or several `expect` lines"))
		return false
	}
	r.text, r.offsets = p.text.String(), append(p.offsets, int32(len(raw)))
	return true
}

// points is text as the splitter gets it, and for each of its code points the
// byte of the condition that it came from.
type points struct {
	text    strings.Builder
	offsets []int32
}

// copy adds raw[from:to] and gives to.
func (p *points) copy(raw string, from, to int) int {
	p.text.WriteString(raw[from:to])
	for i := from; i < to; {
		_, n := utf8.DecodeRuneInString(raw[i:to])
		p.offsets = append(p.offsets, int32(i))
		i += n
	}
	return to
}

// plain says that a condition needs no preparing, as nearly all do not: it is
// plain ASCII with double signs, and few brackets.
func plain(text string) bool {
	opens := 0
	for i := 0; i < len(text); i++ {
		switch b := text[i]; b {
		case '=', '!', '<', '>':
			if i+1 < len(text) && text[i+1] == '=' {
				i++
			} else if b == '=' {
				return false
			}
		case '/', '`', '\'':
			return false
		case '(', '[', '{':
			if opens++; opens > MaxDepth {
				return false
			}
		default:
			if b >= utf8.RuneSelf {
				return false
			}
		}
	}
	return true
}

// stringEnd is one past the closing quote of the string that opens at i.
func stringEnd(raw string, i int) int {
	for j := i + 1; j < len(raw); j++ {
		switch raw[j] {
		case '\\':
			j++
		case '"':
			return j + 1
		}
	}
	return len(raw)
}
