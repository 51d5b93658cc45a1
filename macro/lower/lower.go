// Package lower turns a checked show into a Program.
//
// It takes an Info without errors and gives a Program that has been through
// Validate. Names become indexes, macros become code for each set of arguments
// that they are run with, and conditions become sets of the values of
// variables. Every table is in file order, but tasks: callees stand before
// callers. Nothing here reports: what could be wrong with a show, check has
// said. Messages are not made here; targets/render fills them in.
package lower

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"

	"cuewright/macro/bug"
	"cuewright/macro/check"
	"cuewright/macro/plan"
	"cuewright/macro/program"
	"cuewright/macro/source"
	"cuewright/macro/timecode"
)

// lowerer holds the Program that grows, and which index each thing of the
// rack and the show has got.
type lowerer struct {
	info *check.Info
	rack *plan.Rack
	p    *program.Program

	devices   map[*plan.Device]int32
	sources   map[*plan.Source]int32
	banks     map[*plan.Bank]int32
	keyers    map[*plan.Keyer]int32
	switches  map[*plan.Switch]int32
	ties      map[*plan.Tie]int32
	dests     map[*plan.Destination]int32
	outlets   map[*plan.Outlet]int32
	surfaces  map[*plan.Surface]int32
	decks     map[*plan.Device]int32
	recorders map[*plan.Device]int32
	encoders  map[*plan.Device]int32
	cameras   map[*plan.Device]int32
	graph     graph

	scripts // the show's tasks, before they are code
	tables  // what is written once and shared
	standby int32
}

// Show compiles a show. It must not be called when check has found an error.
func Show(info *check.Info) *program.Program {
	l := &lowerer{info: info, rack: info.Rack, p: new(program.Program)}
	l.p.Show = text(info.File.Show.Name.Text)
	l.p.Rack = text(l.rack.Name)
	l.p.Rate = program.Rate(l.rack.Rate)
	l.p.Files = []program.File{file(info.File.Source), file(l.rack.File)}
	l.lowerRack()
	l.lowerScripts()
	l.lowerShow()
	if err := program.Validate(l.p); err != nil {
		bug.Report("the compiled show is not sound: %v", err)
	}
	return l.p
}

func file(f *source.File) program.File {
	sum := sha256.Sum256(f.Bytes)
	return program.File{Name: text(f.Name), SHA256: hex.EncodeToString(sum[:])}
}

// text makes sure that the program file can hold what the user wrote.
func text(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

// place converts a span: file 0 is the show, 1 the plan.
func (l *lowerer) place(at source.Span) program.Place {
	if at.IsZero() {
		return program.Place{}
	}
	p := program.Place{File: 0}
	if at.File == l.rack.File {
		p.File = 1
	}
	line, column := 1, 1
	if at.File != nil {
		line, column = at.File.LineColumn(int(at.Start))
	}
	p.Line, p.Column = int32(line), int32(column)
	return p
}

// variable adds a variable and gives its index.
func (l *lowerer) variable(kind program.VarKind, owner int32, name string, size int, start uint32) int32 {
	l.p.Vars = append(l.p.Vars, program.Var{Name: name, Kind: kind, Owner: owner, Size: uint32(size), Start: start})
	return int32(len(l.p.Vars) - 1)
}

func (l *lowerer) timer(kind program.TimerKind, owner int32) int32 {
	l.p.Timers = append(l.p.Timers, program.Timer{Kind: kind, Owner: owner})
	return int32(len(l.p.Timers) - 1)
}

// micros reads a duration that check has read before.
func (l *lowerer) micros(written string) int64 {
	m, err := l.rack.Rate.Duration(written)
	if err != nil {
		bug.Report("the duration %q passed check: %v", written, err)
	}
	return int64(m)
}

func micros(m timecode.Micros) int64 { return int64(m) }

// numbered gives each thing of a list its place in it, counted from first.
func numbered[T comparable](list []T, first int32) map[T]int32 {
	m := make(map[T]int32, len(list))
	for i, x := range list {
		m[x] = first + int32(i)
	}
	return m
}

// list makes one element for each element of another list.
func list[A, B any](from []A, each func(A) B) []B {
	if len(from) == 0 {
		return nil
	}
	to := make([]B, 0, len(from))
	for _, x := range from {
		to = append(to, each(x))
	}
	return to
}
