package diag

import (
	"slices"

	"cuewright/macro/bug"
)

// tables are the rows of each stage: codes_syntax.go, codes_plan.go and so on.
var tables = [][]Entry{syntaxCodes, planCodes, checkCodes, onairCodes, rehearseCodes, proveCodes, sendCodes, wireCodes, programCodes, fileCodes}

var rows = func() map[Code]Entry {
	m := map[Code]Entry{}
	for _, t := range tables {
		for _, e := range t {
			m[e.Code] = e
		}
	}
	return m
}()

// Lookup is the row of a code.
func Lookup(code Code) Entry {
	e, ok := rows[code]
	if !ok {
		bug.Report("no row for code %q", code)
		return Entry{Code: code}
	}
	return e
}

// Known says whether there is such a code.
func Known(code Code) bool { _, ok := rows[code]; return ok }

// Codes lists every code of the program, in alphabetical order.
func Codes() []Entry {
	var all []Entry
	for _, t := range tables {
		all = append(all, t...)
	}
	slices.SortFunc(all, func(a, b Entry) int {
		if a.Code < b.Code {
			return -1
		}
		return 1
	})
	return all
}
