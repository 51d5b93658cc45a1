package prepare

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"cuewright/macro/diag"
	"cuewright/macro/nearest"
	"cuewright/macro/program"
	"cuewright/macro/source"
)

// largestText is the most bytes of a show or a plan: a hundred times a long
// evening's, and little enough for a small computer.
const largestText = 4 << 20

// largestFile is the most that Disk reads: a compiled show with its head.
const largestFile = program.MaxPayload + 4096

// tooLarge says that a file has more bytes than is read.
type tooLarge struct{ most int }

func (e tooLarge) Error() string { return fmt.Sprintf("is larger than %d KiB", e.most>>10) }

// notFile says that a name stands for a folder or a device.
type notFile struct{ what string }

func (e notFile) Error() string { return "is " + e.what + ", not a file" }

// Disk reads a file of the disk: a plain file of bounded size, so that a
// device or a pipe in its place cannot keep the program busy for ever.
func Disk(path string) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case info.IsDir():
		return nil, notFile{"a folder"}
	case !info.Mode().IsRegular():
		return nil, notFile{"a device or a pipe"}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, largestFile+1))
	if err == nil && len(data) > largestFile {
		err = tooLarge{largestFile}
	}
	return data, err
}

// open reads a show or a plan and checks that it is text, and not the other.
// Named is the place that names the file, zero when the user did.
func open(path string, read func(string) ([]byte, error), named source.Span, want form) (*source.File, *diag.Diagnostic) {
	data, err := read(path)
	if err == nil && len(data) > largestText {
		err = tooLarge{largestText}
	}
	direct := named.IsZero()
	if direct {
		named = source.New(path, nil).At(0, 0)
	}
	if err != nil {
		d := unread(named, path, err, read)
		return nil, &d
	}
	f := source.New(path, data)
	if d := notText(f); d != nil {
		return nil, d
	}
	if is := formOf(f); is != want && is != unclear {
		at := named
		if direct {
			at = f.At(0, len(f.Line(1)))
		}
		d := diag.New("unusable-file", at, "`%s` is %s, and here belongs %s", path, formWords[is], formWords[want]).Mend("%s", otherForm[want])
		return nil, &d
	}
	return f, nil
}

// form is what a text file is, as far as its beginning tells.
type form uint8

const (
	unclear form = iota
	aShow
	aPlan
	compiled
)

var (
	formWords = [...]string{aShow: "a show", aPlan: "a routing plan", compiled: "a compiled show"}
	otherForm = [...]string{aShow: "give the show's file, which begins with `show \"…\" uses \"…\"`",
		aPlan: "name the plan's file, which begins with `rack:`"}
)

// formOf looks at the first line that says something: a head's first word, or
// a key at the left margin.
func formOf(f *source.File) form {
	if program.Begins(f.Bytes) {
		return compiled
	}
	text := strings.TrimPrefix(string(f.Bytes), "\ufeff")
	for line := range strings.Lines(text) {
		word, rest, _ := strings.Cut(strings.TrimRight(line, " \t\r\n"), " ")
		key, after, isKey := strings.Cut(word, ":")
		switch {
		case word == "" && rest == "", strings.HasPrefix(word, "#"), word == "---":
			continue
		case word == "show":
			return aShow
		case isKey && after == "" && slices.Contains(planKeys, key):
			return aPlan
		}
		return unclear
	}
	return unclear
}

// planKeys are the keys that a plan can begin with.
var planKeys = []string{"rack", "rate", "devices", "cables", "destinations", "surfaces", "control", "messages"}

// notText is the finding that a file is not UTF-8 text, or nil.
func notText(f *source.File) *diag.Diagnostic {
	data := f.Bytes
	for _, mark := range []string{"\xff\xfe", "\xfe\xff"} {
		if strings.HasPrefix(string(data[:min(2, len(data))]), mark) {
			d := diag.New("unusable-file", f.At(0, 0), "`%s` is written as UTF-16, not as UTF-8", f.Name).Mend("save it as UTF-8")
			return &d
		}
	}
	for i := 0; i < len(data); {
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size == 1 || r == 0 {
			d := diag.New("unusable-file", f.At(i, i+size), "`%s` is not UTF-8 text: byte %02x cannot stand here", f.Name, data[i]).
				Mend("save it as UTF-8")
			return &d
		}
		i += size
	}
	return nil
}

// unread is the finding that a file cannot be read.
func unread(at source.Span, path string, err error, read func(string) ([]byte, error)) diag.Diagnostic {
	if !errors.Is(err, fs.ErrNotExist) {
		reason := "cannot be read"
		var large tooLarge
		var not notFile
		switch {
		case errors.As(err, &large):
			reason = large.Error()
		case errors.As(err, &not):
			reason = not.Error()
		case errors.Is(err, fs.ErrPermission):
			reason = "may not be read by you"
		}
		return diag.New("unusable-file", at, "`%s` %s", path, reason)
	}
	d := diag.New("missing-file", at, "there is no file `%s`", path)
	for _, name := range near(path, read) {
		if text := at.Text(); strings.HasPrefix(text, `"`) {
			d = d.Replace(at, `"`+name+`"`, false, "write `%s`", name)
		} else {
			d = d.Mend("write `%s`", filepath.Join(filepath.Dir(path), name))
		}
	}
	return d
}

// near lists files beside path with names like its name.
func near(path string, read func(string) ([]byte, error)) []string {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return nil
	}
	var names []string
	for _, e := range entries {
		if e.IsDir() || len(names) == 1000 {
			continue
		}
		names = append(names, e.Name())
	}
	var out []string
	for _, name := range nearest.Names(filepath.Base(path), names) {
		if _, err := read(filepath.Join(filepath.Dir(path), name)); err == nil {
			out = append(out, name)
		}
	}
	return out
}

// Text reads one file and checks that it is text, for a command that works on
// a show alone.
func Text(path string, read func(string) ([]byte, error)) (*source.File, *diag.Diagnostic) {
	return open(path, read, source.Span{}, aShow)
}
