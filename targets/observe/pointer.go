package observe

import (
	"bytes"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Pointer is a JSON pointer (RFC 6901): the names and indexes from the whole
// document down to a value.
type Pointer []string

// ParsePointer reads a pointer as text: "" is the whole document, else each
// step begins with a slash; ~1 stands for a slash and ~0 for a tilde.
func ParsePointer(text string) (Pointer, error) {
	if text == "" {
		return Pointer{}, nil
	}
	if text[0] != '/' {
		return nil, errors.New("a JSON pointer begins with /")
	}
	steps := strings.Split(text[1:], "/")
	for i, s := range steps {
		for j := 0; j < len(s); j++ {
			if s[j] == '~' && (j+1 == len(s) || s[j+1] != '0' && s[j+1] != '1') {
				return nil, errors.New("in a JSON pointer ~ stands before 0 or 1")
			}
		}
		// ~1 first: ~01 is ~1, not a slash (RFC 6901 section 4).
		steps[i] = strings.ReplaceAll(strings.ReplaceAll(s, "~1", "/"), "~0", "~")
	}
	return steps, nil
}

// String is the pointer as text.
func (p Pointer) String() string {
	var b strings.Builder
	for _, s := range p {
		b.WriteByte('/')
		b.WriteString(strings.ReplaceAll(strings.ReplaceAll(s, "~", "~0"), "/", "~1"))
	}
	return b.String()
}

// Find is the value that p points at, as it stands in a document that
// json.Valid has passed. Nothing of the document is kept or copied: a device may
// answer a million numbers, of which the plan wants one. Of several members of
// one name the last counts, as for encoding/json.
func (p Pointer) Find(document []byte) (value []byte, ok bool) {
	at := bytes.Trim(document, space)
	for _, step := range p {
		if at, ok = inner(at, step); !ok {
			return nil, false
		}
	}
	return at, true
}

// space is what may stand between the parts of JSON (RFC 8259 section 2).
const space = " \t\r\n"

// inner is the member or element of a value that a step names.
func inner(value []byte, step string) (found []byte, ok bool) {
	object := value[0] == '{'
	wanted, counts := index(step)
	if !object && (value[0] != '[' || !counts) {
		return nil, false
	}
	rest := bytes.TrimLeft(value[1:], space)
	for i := 0; rest[0] != '}' && rest[0] != ']'; i++ {
		here := i == wanted
		if object {
			n := length(rest)
			here = named(rest[:n], step)
			rest = bytes.TrimLeft(bytes.TrimLeft(rest[n:], space)[1:], space) // over the colon
		}
		n := length(rest)
		if here {
			found, ok = rest[:n], true
		}
		if rest = bytes.TrimLeft(rest[n:], space); rest[0] == ',' {
			rest = bytes.TrimLeft(rest[1:], space)
		}
	}
	return found, ok
}

// named says whether a name as it stands in a document is step.
func named(name []byte, step string) bool {
	if bytes.IndexByte(name, '\\') < 0 && utf8.Valid(name) {
		return string(name[1:len(name)-1]) == step
	}
	var text string
	return json.Unmarshal(name, &text) == nil && text == step
}

// length is how many bytes the value has that rest begins with.
func length(rest []byte) int {
	depth := 0
	for i := 0; i < len(rest); i++ {
		switch rest[i] {
		case '"':
			for i++; rest[i] != '"'; i++ {
				if rest[i] == '\\' {
					i++
				}
			}
		case '{', '[':
			depth++
			continue
		case '}', ']':
			if depth--; depth < 0 {
				return i
			}
		case ',', ' ', '\t', '\r', '\n':
			if depth == 0 {
				return i
			}
			continue
		default:
			continue
		}
		if depth == 0 {
			return i + 1
		}
	}
	return len(rest)
}

// index is an array index: digits, without a leading zero.
func index(step string) (int, bool) {
	if step == "" || len(step) > 1 && step[0] == '0' || step[0] < '0' || step[0] > '9' {
		return 0, false
	}
	i, err := strconv.Atoi(step)
	return i, err == nil
}
