package pair

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// keeper keeps something small on the disk: written under another name, put on
// the disk, and only then given its own, so that it is whole or as it was. The
// one before is kept beside it.
type keeper struct{ path string }

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func (k keeper) old() string { return k.path + ".old" }

// write writes JSON, and before it its CRC-32C in hex.
func (k keeper) write(what any) error {
	text, err := json.Marshal(what)
	if err != nil {
		return err
	}
	dir := filepath.Dir(k.path)
	f, err := os.CreateTemp(dir, "new-*.kept")
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(f, "%08x %s\n", crc32.Checksum(text, castagnoli), text)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		if old := os.Rename(k.path, k.old()); old != nil && !errors.Is(old, fs.ErrNotExist) {
			err = old
		}
	}
	if err == nil {
		err = os.Rename(f.Name(), k.path)
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

// read reads the newest that is whole. Nothing is left as it is when nothing
// was ever kept.
func (k keeper) read(what any) error {
	err := readKept(k.path, what)
	if err == nil {
		return nil
	}
	older := readKept(k.old(), what)
	switch {
	case older == nil:
		return nil
	case errors.Is(err, fs.ErrNotExist) && errors.Is(older, fs.ErrNotExist):
		return nil
	}
	return errors.Join(err, older)
}

func readKept(path string, what any) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	sum, text, ok := strings.Cut(strings.TrimSuffix(string(data), "\n"), " ")
	if !ok || sum != fmt.Sprintf("%08x", crc32.Checksum([]byte(text), castagnoli)) {
		return fmt.Errorf("%s is not whole", path)
	}
	return json.Unmarshal([]byte(text), what)
}
