package main

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"os"
	"slices"

	"cuewright/macro/diag"
	"cuewright/macro/report"
	"cuewright/macro/source"
	"cuewright/targets/prepare"
)

// mendFiles applies the sure mends of a show's findings to its files, as often
// as new ones appear, and gives the findings that are left. A round that does
// not make the errors fewer is not written.
func mendFiles(w io.Writer, path string, result prepare.Result) (prepare.Result, error) {
	for range 10 {
		mended := applySure(result.Findings)
		if len(mended) == 0 {
			break
		}
		overlay := func(name string) ([]byte, error) {
			for _, m := range mended {
				if m.file.Name == name {
					return m.text, nil
				}
			}
			return prepare.Disk(name)
		}
		next := prepare.Day(today()).Show(path, overlay)
		if report.CountOf(next.Findings).Errors > report.CountOf(result.Findings).Errors {
			break
		}
		for _, m := range mended {
			if err := writeFile(m.file.Name, m.text); err != nil {
				return result, unwritten(m.file.Name, err)
			}
			fmt.Fprintf(w, "mended %d in %s\n", m.count, m.file.Name)
		}
		result = next
	}
	return result, nil
}

// mendedFile is a file with edits made.
type mendedFile struct {
	file  *source.File
	text  []byte
	count int
}

// applySure makes the edits of all sure mends. A finding's mend is made whole
// or not at all; of two that overlap the first wins, and the next round sees
// to the other.
func applySure(list diag.List) []mendedFile {
	taken := map[*source.File][]diag.Edit{}
	counts := map[*source.File]int{}
	var order []*source.File
	for _, d := range list {
		for _, m := range d.Mends {
			if !m.Sure || len(m.Edits) == 0 || clash(taken, m.Edits) {
				continue
			}
			for _, e := range m.Edits {
				if !slices.Contains(order, e.At.File) {
					order = append(order, e.At.File)
				}
				taken[e.At.File] = append(taken[e.At.File], e)
			}
			counts[m.Edits[0].At.File]++
			break
		}
	}
	var out []mendedFile
	for _, f := range order {
		out = append(out, mendedFile{f, edited(f, taken[f]), counts[f]})
	}
	return out
}

// clash says whether an edit touches one that is taken.
func clash(taken map[*source.File][]diag.Edit, edits []diag.Edit) bool {
	for _, e := range edits {
		for _, t := range taken[e.At.File] {
			if e.At.Start <= t.At.End && t.At.Start <= e.At.End {
				return true
			}
		}
	}
	return false
}

// edited is a file's text with edits that do not overlap.
func edited(f *source.File, edits []diag.Edit) []byte {
	slices.SortFunc(edits, func(a, b diag.Edit) int { return cmp.Compare(a.At.Start, b.At.Start) })
	var b bytes.Buffer
	at := int32(0)
	for _, e := range edits {
		b.Write(f.Bytes[at:e.At.Start])
		b.WriteString(e.New)
		at = e.At.End
	}
	b.Write(f.Bytes[at:])
	return b.Bytes()
}

func name(f *source.File) string {
	if f == nil {
		return ""
	}
	return f.Name
}

// sameFile says whether two names are one file on the disk.
func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}
