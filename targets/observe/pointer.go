package observe

import (
	"errors"
	"strconv"
	"strings"
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

// Find is the value that p points at in a document as encoding/json gives it.
func (p Pointer) Find(document any) (any, bool) {
	at := document
	for _, step := range p {
		switch v := at.(type) {
		case map[string]any:
			inner, ok := v[step]
			if !ok {
				return nil, false
			}
			at = inner
		case []any:
			i, ok := index(step)
			if !ok || i >= len(v) {
				return nil, false
			}
			at = v[i]
		default:
			return nil, false
		}
	}
	return at, true
}

// index is an array index: digits, without a leading zero.
func index(step string) (int, bool) {
	if step == "" || len(step) > 1 && step[0] == '0' || step[0] < '0' || step[0] > '9' {
		return 0, false
	}
	i, err := strconv.Atoi(step)
	return i, err == nil
}
