package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
)

var (
	errFolder    = errors.New("it is a folder")
	errProtected = errors.New("it is write-protected")
)

// writeFile puts a text in a file's place in one step, so that a power cut
// leaves the old one or the new one. Permissions stay; a new file gets those
// that the user's umask leaves. Into a device or a pipe the text is written. A
// write-protected file is not replaced, though its folder would allow that.
func writeFile(name string, text []byte) error {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		name = real
	}
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return replaceFile(name, text, nil)
	case err != nil:
		return err
	case info.IsDir():
		return errFolder
	case info.Mode().Perm()&0o222 == 0:
		return errProtected
	case !info.Mode().IsRegular():
		f, err := os.OpenFile(name, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		_, err = f.Write(text)
		return cmp.Or(err, f.Close())
	}
	return replaceFile(name, text, info)
}

// replaceFile writes a new file beside the old one and gives it its name. Old
// is nil when there is none.
func replaceFile(name string, text []byte, old fs.FileInfo) error {
	f, err := newBeside(name)
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(text)
	if old != nil {
		err = cmp.Or(err, f.Chmod(old.Mode().Perm()))
	}
	if err = cmp.Or(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// newBeside makes a file beside a name. os.CreateTemp would set permissions
// that do not ask the umask.
func newBeside(name string) (*os.File, error) {
	const tries = 100
	var err error
	for i := range tries {
		var f *os.File
		path := filepath.Join(filepath.Dir(name), ".cuewright-"+strconv.Itoa(os.Getpid())+"-"+strconv.Itoa(i))
		if f, err = os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666); !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
	return nil, err
}

// unwritten is the mistake of naming a file that cannot be written.
func unwritten(name string, err error) *mistake {
	return &mistake{word: name, what: fmt.Sprintf("`%s` cannot be written: %s", name, reason(err))}
}

// reason is what the system says about a file, in plain words.
func reason(err error) string {
	switch {
	case errors.Is(err, errFolder), errors.Is(err, errProtected):
		return err.Error()
	case errors.Is(err, fs.ErrNotExist):
		return "its folder does not exist"
	case errors.Is(err, fs.ErrPermission):
		return "it is not yours to write"
	case errors.Is(err, syscall.ENOTDIR):
		return "its folder is a file"
	case errors.Is(err, syscall.ENOSPC):
		return "the disk is full"
	case errors.Is(err, syscall.EPIPE):
		return "nobody reads it any more"
	case errors.Is(err, syscall.EROFS):
		return "the disk can only be read"
	}
	return "the system refuses"
}
