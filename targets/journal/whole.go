package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// WriteWhole puts a file in its place so that after a power cut it is whole, or
// as it was: written under another name, put on the disk, and only then given
// its own. When aside is not empty, the file that was there before gets that
// name.
func WriteWhole(name, aside string, data []byte) error {
	dir := filepath.Dir(name)
	f, err := os.CreateTemp(dir, "new-*"+filepath.Ext(name))
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil && aside != "" {
		if old := os.Rename(name, aside); !errors.Is(old, fs.ErrNotExist) {
			err = old
		}
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync() // some file systems cannot
		_ = d.Close()
	}
	return nil
}
