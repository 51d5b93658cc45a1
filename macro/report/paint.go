package report

import "cuewright/macro/diag"

// painter colours words, or leaves them as they are.
type painter bool

func paint(colour bool) painter { return painter(colour) }

// inks are the SGR parameters (ECMA-48, 8.3.117) of each severity: bold with
// red, yellow or cyan.
var inks = [...]string{diag.Error: "1;31", diag.Warning: "1;33", diag.Advice: "1;36"}

func (p painter) severity(s diag.Severity) string { return p.ink(s, s.String()) }

func (p painter) carets(s diag.Severity) func(string) string {
	return func(text string) string { return p.ink(s, text) }
}

func (p painter) ink(s diag.Severity, text string) string {
	if !p {
		return text
	}
	return "\x1b[" + inks[s] + "m" + text + "\x1b[0m"
}
