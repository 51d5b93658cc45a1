// Package report shows findings to people and to programs.
//
// Text is for a terminal or a printed log: each finding with its place, why it
// matters, a mend and the line itself with carets exactly under what is meant,
// and a summary last. JSON is for programs and carries a version. Neither
// decides anything: colour is asked for by the caller, and the order of the
// findings is kept.
package report

import "cuewright/macro/diag"

// Version is the version of the JSON form. It rises when something is renamed
// or means another thing; new fields alone do not raise it.
const Version = 1

// Count is the number of findings of each severity.
type Count struct {
	Errors   int `json:"errors"`
	Warnings int `json:"warnings"`
	Advice   int `json:"advice"`
}

// CountOf counts the findings of a list.
func CountOf(list diag.List) Count {
	var c Count
	for _, d := range list {
		switch d.Severity {
		case diag.Error:
			c.Errors++
		case diag.Warning:
			c.Warnings++
		default:
			c.Advice++
		}
	}
	return c
}

// String says the counts in words: "2 errors and 1 warning", "no findings".
func (c Count) String() string {
	var parts []string
	add := func(n int, one, many string) {
		switch {
		case n == 1:
			parts = append(parts, "1 "+one)
		case n > 1:
			parts = append(parts, number(n)+" "+many)
		}
	}
	add(c.Errors, "error", "errors")
	add(c.Warnings, "warning", "warnings")
	add(c.Advice, "piece of advice", "pieces of advice")
	return sentence(parts)
}
