package syntax

import "strings"

// Unquote undoes the escapes of a text: `"a \"b\""` gives `a "b"`. The quotes
// at its ends are taken off where they stand. Of an escape that is none, the
// character is kept.
func Unquote(quoted string) string {
	s := strings.TrimPrefix(quoted, `"`)
	if strings.IndexByte(s, '\\') < 0 {
		return strings.TrimSuffix(s, `"`)
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		switch {
		case s[i] == '"' && i == len(s)-1:
		case s[i] == '\\' && i+1 < len(s):
			i++
			b.WriteByte(unescape(s[i]))
		default:
			b.WriteByte(s[i])
		}
	}
	return b.String()
}

// Quote writes a text as the language does, so that Unquote gives it back.
func Quote(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`).Replace(text) + `"`
}

func unescape(c byte) byte {
	switch c {
	case 'n':
		return '\n'
	case 't':
		return '\t'
	}
	return c
}

// wrongEscape finds the first escape of a text that is none, and is -1 when
// all are right.
func wrongEscape(quoted string) int {
	for i := 0; i+1 < len(quoted); i++ {
		if quoted[i] == '\\' {
			if strings.IndexByte(`"\nt`, quoted[i+1]) < 0 {
				return i
			}
			i++
		}
	}
	return -1
}

// Text is the text of a token.
func (f *File) Text(t Token) string { return f.text[t.Start:t.End] }
