package pair

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"strings"

	"cuewright/targets/journal"
)

// keeper keeps something small on the disk: whole, or as it was. The one before
// is kept beside it.
type keeper struct{ path string }

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func (k keeper) old() string { return k.path + ".old" }

// write writes JSON, and before it its CRC-32C in hex.
func (k keeper) write(what any) error {
	text, err := json.Marshal(what)
	if err != nil {
		return err
	}
	return journal.WriteWhole(k.path, k.old(), fmt.Appendf(nil, "%08x %s\n", crc32.Checksum(text, castagnoli), text))
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
