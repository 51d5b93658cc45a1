// Package prepare is the one way from files to a show that can be run, and to
// everything that is wrong with them.
//
// It reads a show and the plan beside it, or a compiled program, and drives
// all stages in order: read, check, compile, render. Each stage runs on what
// the ones before could understand, so that one run tells every mistake. The
// command line, an editor and a controller all call it; none of them calls a
// stage by itself.
package prepare

import (
	"errors"
	"path/filepath"
	"slices"

	"cuewright/macro/check"
	"cuewright/macro/diag"
	"cuewright/macro/lower"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/syntax"
	"cuewright/targets/render"
)

// Result is what there is to know about a show. Show is nil when its file
// could not be used, Plan likewise. Program is nil when a finding is an error.
type Result struct {
	Show, Plan *source.File
	Program    *program.Program
	Findings   diag.List
}

// Show prepares the show at path. The plan is looked for beside it. Files are
// read by read, which may be Disk or may know better, as an editor does.
func Show(path string, read func(string) ([]byte, error)) Result { return Day("").Show(path, read) }

// Day is the day on which shows are prepared, written as 2027-01-31: what was
// allowed until an earlier one is allowed no more. The empty day is before all
// others.
type Day string

// Show is Show on a day.
func (day Day) Show(path string, read func(string) ([]byte, error)) Result {
	var r Result
	r.show(day, path, read)
	r.Findings = r.Findings.Tidy()
	return r
}

func (r *Result) show(day Day, path string, read func(string) ([]byte, error)) {
	show, bad := open(path, read, source.Span{}, aShow)
	if bad != nil {
		r.Findings.Add(*bad)
		return
	}
	r.Show = show
	tree, found := syntax.Parse(show)
	r.Findings.Add(found...)
	if tree.Show == nil || tree.Show.Plan.Text == "" {
		return // said by the reader
	}
	planPath := tree.Show.Plan.Text
	if !filepath.IsAbs(planPath) {
		planPath = filepath.Join(filepath.Dir(path), planPath)
	}
	file, bad := open(planPath, read, tree.Show.Plan.At, aPlan)
	if bad != nil {
		r.Findings.Add(*bad)
		return
	}
	r.Plan = file
	rack, found := plan.Read(file)
	r.Findings.Add(found...)
	info, found := check.On(string(day), tree, rack)
	r.Findings.Add(found...)
	if r.Findings.Blocking() {
		r.Findings.Add(render.Templates(rack)...)
	} else {
		r.Program = lower.Show(info)
		r.Findings.Add(allowed(render.Messages(r.Program, rack), tree, day)...)
	}
	if r.Findings.Blocking() {
		r.Program = nil
	}
}

// allowed leaves out what the show allows of the plan's findings. They stand
// in the plan, so only an allow for the whole show can be meant. Check has
// held its own findings against the allows.
func allowed(list diag.List, tree *syntax.File, day Day) diag.List {
	return slices.DeleteFunc(list, func(d diag.Diagnostic) bool {
		return d.Severity != diag.Error && slices.ContainsFunc(tree.Items, func(item syntax.Item) bool {
			a, ok := item.(*syntax.Allow)
			return ok && diag.Code(a.Code.Text) == d.Code && !check.Ended(a, string(day))
		})
	})
}

// Program prepares a compiled show. There are no source files to point at, so
// findings stand at the file's beginning.
func Program(path string, read func(string) ([]byte, error)) Result {
	data, err := read(path)
	if err != nil {
		return Result{Findings: diag.List{unread(source.New(path, nil).At(0, 0), path, err, read)}}
	}
	p, err := program.Decode(data)
	return decoded(path, p, err)
}

// Any prepares a show or a compiled show, whichever the file is. What is
// neither text nor called *.show is taken for a compiled show.
func Any(path string, read func(string) ([]byte, error)) Result { return Day("").Any(path, read) }

// Any is Any on a day.
func (day Day) Any(path string, read func(string) ([]byte, error)) Result {
	data, err := read(path)
	if err != nil {
		return day.Show(path, read)
	}
	p, err := program.Decode(data)
	unlike := filepath.Ext(path) != ".show" && notText(source.New(path, data)) != nil
	if errors.As(err, new(program.ErrNotProgram)) && !unlike {
		return day.Show(path, read)
	}
	return decoded(path, p, err)
}

func decoded(path string, p *program.Program, err error) Result {
	r := Result{Show: source.New(path, nil), Program: p}
	if err != nil {
		r.Findings.Add(undecoded(r.Show.At(0, 0), path, err))
	}
	return r
}

// undecoded is the finding that a compiled show cannot be used.
func undecoded(at source.Span, path string, err error) diag.Diagnostic {
	code := diag.Code("program-damaged")
	switch {
	case errors.As(err, new(program.ErrNotProgram)):
		code = "program-unknown"
	case errors.As(err, new(program.ErrNewer)):
		code = "program-newer"
	case errors.As(err, new(program.ErrTooLarge)):
		code = "program-too-large"
	}
	return diag.New(code, at, "`%s` cannot be used: %v", path, err)
}
