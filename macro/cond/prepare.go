package cond

import (
	"strings"
	"unicode/utf8"

	"cuewright/macro/diag"
)

// prepare looks at the condition's bytes before they are split: it mends
// single signs, blanks comments, refuses what the splitter would swallow in
// silence, and bounds the nesting. It says whether the rest can be split.
func (r *reader) prepare() bool {
	if plain(r.text) {
		return true
	}
	raw := r.text
	var out strings.Builder
	out.Grow(len(raw) + 8)
	r.offsets = make([]int32, 0, len(raw)+8)
	put := func(text string, at int) {
		out.WriteString(text)
		for range text {
			r.offsets = append(r.offsets, int32(at))
		}
	}
	depth, deepest := 0, 0
	for i := 0; i < len(raw); {
		switch b := raw[i]; {
		case b == '"':
			end := stringEnd(raw, i)
			for i < end {
				_, n := utf8.DecodeRuneInString(raw[i:])
				out.WriteString(raw[i : i+n])
				r.offsets = append(r.offsets, int32(i))
				i += n
			}
			continue
		case b == '#':
			for i < len(raw) && raw[i] != '\n' {
				put(" ", i)
				i++
			}
			continue
		case strings.HasPrefix(raw[i:], "//") || strings.HasPrefix(raw[i:], "/*") || b == '`' || b == '\'':
			at := r.file.At(r.base+i, r.base+min(i+1, len(raw)))
			r.list.Add(diag.New("condition-unreadable", at, "`%c` cannot stand here in a condition", b).
				Mend("write a clip's name in straight double quotes, and a remark after `#`"))
			return false
		case strings.IndexByte("=!<>&|", b) >= 0:
			n := r.sign(raw, i, put)
			i += n
			continue
		case b == '(' || b == '[' || b == '{':
			depth++
			deepest = max(deepest, depth)
		case b == ')' || b == ']' || b == '}':
			depth--
		}
		_, n := utf8.DecodeRuneInString(raw[i:])
		out.WriteString(raw[i : i+n])
		r.offsets = append(r.offsets, int32(i))
		i += n
	}
	if deepest > MaxDepth {
		at := r.file.At(r.base, r.base+len(raw))
		r.list.Add(diag.New("condition-too-long", at, "the brackets of this condition stand %d deep, and %d is the most", deepest, MaxDepth).
			Mend("split it into several rules, or several `expect` lines"))
		return false
	}
	r.offsets = append(r.offsets, int32(len(raw)))
	r.text = out.String()
	return true
}

// sign puts the comparison or joining sign at raw[i] and gives its length. A
// single =, & or | is mended to the double one.
func (r *reader) sign(raw string, i int, put func(string, int)) int {
	two := raw[i:min(i+2, len(raw))]
	switch two {
	case "==", "!=", "<=", ">=", "&&", "||":
		put(two[:1], i)
		put(two[1:], i+1)
		return 2
	}
	one := raw[i : i+1]
	at := r.file.At(r.base+i, r.base+i+1)
	switch one {
	case "=":
		if strings.HasPrefix(strings.TrimSpace(raw), "let ") {
			put(one, i)
			break
		}
		r.list.Add(diag.New("single-equals", at, "a single `=` compares nothing").
			Replace(at, "==", true, "write `==`"))
		put("==", i)
	case "&", "|":
		word := map[string]string{"&": "and", "|": "or"}[one]
		r.list.Add(diag.New("condition-unreadable", at, "a single `%s` joins nothing", one).
			Replace(at, word, true, "write `%s`", word))
		put(one+one, i)
	default:
		put(one, i)
	}
	return 1
}

// plain says that a condition needs no preparing, as nearly all do not: it is
// plain ASCII with double signs, no comment, and few brackets.
func plain(text string) bool {
	opens := 0
	for i := 0; i < len(text); i++ {
		switch b := text[i]; b {
		case '=', '&', '|':
			if i+1 >= len(text) || text[i+1] != b {
				return false
			}
			i++
		case '!', '<', '>':
			if i+1 < len(text) && text[i+1] == '=' {
				i++
			}
		case '#', '/', '`', '\'', '\\':
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
