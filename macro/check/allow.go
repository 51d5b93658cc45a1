package check

import (
	"time"

	"cuewright/macro/diag"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
)

// allowance is an allow with the span that it holds for; the zero span is the
// whole show, and what the plan says of it.
type allowance struct {
	node  *syntax.Allow
	code  diag.Code
	scope source.Span
	ended bool // its last day is past
	used  bool
}

// allow checks an allowance and keeps it when it is one.
func (c *checker) allow(n *syntax.Allow, scope source.Span) {
	ended := false
	if n.Until.Text != "" {
		_, err := time.Parse(time.DateOnly, n.Until.Text)
		ended = err == nil && Ended(n, c.day)
		if err != nil {
			c.add(diag.New("date-unreadable", n.Until.At, "`%s` is no day of the calendar", n.Until.Text).
				Mend("write year, month and day: `\"2027-01-31\"`"))
		}
	}
	if n.Code.Text == "" || !c.code(n.Code) {
		return
	}
	code := diag.Code(n.Code.Text)
	if !diag.IsOnAir(code) && diag.Lookup(code).Severity == diag.Error {
		c.add(diag.New("error-allowed", n.Code.At, "`%s` is an error and cannot be allowed", code).
			Mend("mend what it finds, and leave this line out"))
		return
	}
	a := &allowance{node: n, code: code, scope: scope, ended: ended}
	c.allows = append(c.allows, a)
	if !ended {
		c.byCode[code] = append(c.byCode[code], a)
	}
}

// Ended says whether an allow's last day is before a day. Days written as
// 2027-01-31 sort as texts do.
func Ended(n *syntax.Allow, day string) bool { return n.Until.Text != "" && n.Until.Text < day }

// code checks that there is a finding with that code.
func (c *checker) code(n syntax.Name) bool {
	if diag.Known(diag.Code(n.Text)) {
		return true
	}
	all := diag.Codes()
	names := make([]string, len(all))
	for i, e := range all {
		names[i] = string(e.Code)
	}
	d := diag.New("unknown-code", n.At, "there is no finding `%s`", n.Text)
	for _, name := range c.nearest(n.Text, names) {
		d = d.Replace(n.At, name, false, "write `%s`", name)
	}
	if len(d.Mends) == 0 {
		d = d.Mend("write the code as it stands in the finding, such as `stop-unguarded`")
	}
	c.add(d)
	return false
}

// allowed says whether a finding of that code at that place is allowed, and
// marks the allowances that say so.
func (c *checker) allowed(code diag.Code, at source.Span) bool {
	found := false
	for _, a := range c.byCode[code] {
		if a.covers(at) {
			a.used, found = true, true
		}
	}
	return found
}

func (a *allowance) covers(at source.Span) bool {
	s := a.scope
	return s.IsZero() || at.File == s.File && at.Start >= s.Start && at.End <= s.End
}

// settle leaves out what is allowed, reports allowances that did nothing, and
// puts the findings in order.
func (c *checker) settle() diag.List {
	c.tellUses()
	c.list = c.unallowed(c.list)
	var stale diag.List
	for _, a := range c.allows {
		if a.ended {
			stale.Add(diag.New("stale-allowance", a.node.Until.At, "this allows `%s` no more: its last day is past", a.code).
				Mend("look at it again: give it a new last day, or leave the line out"))
			continue
		}
		if a.used || a.code == "stale-allowance" || !diag.IsCheck(a.code) || c.rack.Partial || c.file.Partial {
			continue
		}
		stale.Add(diag.New("stale-allowance", a.node.Code.At, "there is no `%s` here to allow", a.code).
			Mend("leave the line out"))
	}
	return append(c.list, c.unallowed(stale)...).Tidy()
}

// unallowed leaves out the warnings and advice that an allowance covers.
func (c *checker) unallowed(list diag.List) diag.List {
	kept := list[:0]
	for _, d := range list {
		if d.Severity == diag.Error || !c.allowed(d.Code, d.At) {
			kept = append(kept, d)
		}
	}
	return kept
}
