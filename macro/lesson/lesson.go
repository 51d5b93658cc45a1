// Package lesson holds what `explain` says about each code: why it matters, a
// show or plan that is wrong, and the same one mended.
//
// A lesson is a txtar file named after its code. Its comment is the lesson in
// plain words; its files are wrong.show and mended.show, wrong.yaml and
// mended.yaml where the plan is what is wrong, wrong.command and
// mended.command where it is how the program was called, wrong.txt and
// mended.txt where it takes a device to show it. A test demands a lesson for
// every code, and every example but the last sort is run by one.
package lesson

import (
	"embed"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/txtar"

	"cuewright/macro/diag"
)

//go:embed *.txtar
var files embed.FS

// Lesson is what there is to learn about a code.
type Lesson struct {
	Code  diag.Code
	Words string    // the lesson, in lines
	Files []Example // wrong.* and mended.*, in file order
}

// Example is one file of a lesson: Name is "wrong.show" and the like.
type Example struct{ Name, Text string }

// Get is the lesson of a code, and whether there is one.
func Get(code diag.Code) (Lesson, bool) {
	data, err := files.ReadFile(string(code) + ".txtar")
	if err != nil {
		return Lesson{}, false
	}
	archive := txtar.Parse(data)
	l := Lesson{Code: code, Words: strings.TrimSpace(string(archive.Comment))}
	for _, f := range archive.Files {
		l.Files = append(l.Files, Example{f.Name, string(f.Data)})
	}
	return l, true
}

// All lists the codes that have a lesson, in alphabetical order.
func All() []diag.Code {
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil
	}
	var codes []diag.Code
	for _, e := range entries {
		codes = append(codes, diag.Code(strings.TrimSuffix(e.Name(), ".txtar")))
	}
	slices.Sort(codes)
	return codes
}

// File is the text of one example, and whether the lesson has it.
func (l Lesson) File(name string) (string, bool) {
	for _, f := range l.Files {
		if f.Name == name {
			return f.Text, true
		}
	}
	return "", false
}
