package journal

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Torn is the end of a file that could not be read: a record that was being
// written when the power went, or what a worn card made of one. Records before
// it are whole. Why is for people.
type Torn struct {
	File  string
	At    int64 // offset of the first byte that is not used
	Bytes int64 // how many there are
	Why   string
}

func (t Torn) String() string {
	return fmt.Sprintf("%s: the last %d bytes are left out: %s", t.File, t.Bytes, t.Why)
}

// Stream reads the records of one file. It ends at the first that is not
// whole; tail is how many bytes were not used, and why says the reason, ""
// when all were. A file that is no journal is not whole from its first byte: a
// power cut can leave one that has its length and is full of zeros. It uses no
// more memory than the largest record takes, and no more than there are bytes.
// An error is visit's.
func Stream(in io.Reader, visit func(Record) error) (used, tail int64, why string, err error) {
	r := bufio.NewReaderSize(in, 64<<10)
	head := make([]byte, len(magic))
	n, bad := io.ReadFull(r, head)
	switch {
	case string(head[:n]) != magic[:n]:
		rest, _ := io.Copy(io.Discard, r)
		return 0, int64(n) + rest, "it does not begin with `" + strings.TrimSpace(magic) + "`", nil
	case n == 0 && errors.Is(bad, io.EOF):
		return 0, 0, "", nil
	case bad != nil:
		return 0, int64(n), cutOr("the first line is cut", bad), nil
	}
	used = int64(len(magic))
	var body bytes.Buffer
	for {
		taken, bad := next(r, &body)
		if taken == 0 && bad == "" {
			return used, 0, "", nil
		}
		var record Record
		if bad == "" {
			if record, err = decode(body.Bytes()); err != nil {
				bad = "a record cannot be read"
			}
		}
		if bad != "" {
			rest, _ := io.Copy(io.Discard, r) // as much as can be read
			return used, taken + rest, bad, nil
		}
		if err := visit(record); err != nil {
			return used, 0, "", err
		}
		used += taken
	}
}

// cutOr is what to say of an error in the middle of something.
func cutOr(cut string, err error) string {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return cut
	}
	return "the disk cannot be read: " + err.Error()
}

// next reads one frame into body. It took no bytes at the end of the file.
func next(r *bufio.Reader, body *bytes.Buffer) (taken int64, bad string) {
	var head [frameHead]byte
	n, err := io.ReadFull(r, head[:])
	if errors.Is(err, io.EOF) {
		return 0, ""
	}
	if err != nil {
		return int64(n), cutOr("a record is cut", err)
	}
	length := binary.LittleEndian.Uint32(head[:])
	if length > MaxRecord {
		return frameHead, "a record claims more bytes than one has"
	}
	body.Reset()
	got, err := io.CopyN(body, r, int64(length))
	taken = frameHead + got
	if err != nil {
		return taken, cutOr("a record is cut", err)
	}
	if crc32.Checksum(body.Bytes(), castagnoli) != binary.LittleEndian.Uint32(head[4:]) {
		return taken, "the checksum of a record does not fit"
	}
	return taken, ""
}

// Files are the journal files of a folder, the oldest first. A folder that is
// not there has none.
func Files(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		if _, ok := numberOf(e.Name()); ok && e.Type().IsRegular() {
			names = append(names, e.Name())
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		x, _ := numberOf(a)
		y, _ := numberOf(b)
		return x - y
	})
	for i := range names {
		names[i] = filepath.Join(dir, names[i])
	}
	return names, nil
}

const extension = ".journal"

func numberOf(name string) (int, bool) {
	text, ok := strings.CutSuffix(name, extension)
	n, err := strconv.Atoi(text)
	return n, ok && err == nil && n > 0 && name == nameOf(n)
}

func nameOf(n int) string { return fmt.Sprintf("%06d%s", n, extension) }

// ReadFile is Stream of a file of the disk.
func ReadFile(name string, visit func(Record) error) (*Torn, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	used, tail, why, err := Stream(f, visit)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if why == "" {
		return nil, nil
	}
	return &Torn{File: name, At: used, Bytes: tail, Why: why}, nil
}

// Read visits all records of a folder in order. What is torn at the end of a
// file is left out and told.
func Read(dir string, visit func(Record) error) ([]Torn, error) {
	names, err := Files(dir)
	if err != nil {
		return nil, err
	}
	var all []Torn
	for _, name := range names {
		torn, err := ReadFile(name, visit)
		if err != nil {
			return all, err
		}
		if torn != nil {
			all = append(all, *torn)
		}
	}
	return all, nil
}

// Since gives the records from the last Snapshot of a show that is there to
// stay on, which is the first of them; none when there is no snapshot. Only as
// many files are read as that takes.
func Since(dir string) (records []Record, torn []Torn, err error) {
	names, err := Files(dir)
	if err != nil {
		return nil, nil, err
	}
	for i := len(names) - 1; i >= 0; i-- {
		var own []Record
		found := false
		t, err := ReadFile(names[i], func(r Record) error {
			if r.Kind == Snapshot && r.A == 0 {
				own, found = own[:0], true
			}
			own = append(own, r)
			return nil
		})
		if err != nil {
			return nil, torn, err
		}
		if t != nil {
			torn = append(torn, *t)
		}
		records = append(own, records...)
		if found {
			return records, torn, nil
		}
	}
	return nil, torn, nil
}

// Next reads one record from the front of bytes as Record.Append makes them,
// and gives what is left of them.
func Next(data []byte) (Record, []byte, error) {
	if len(data) < frameHead {
		return Record{}, nil, errBody
	}
	length := binary.LittleEndian.Uint32(data)
	if length > MaxRecord || int(length) > len(data)-frameHead {
		return Record{}, nil, errBody
	}
	body := data[frameHead : frameHead+int(length)]
	if crc32.Checksum(body, castagnoli) != binary.LittleEndian.Uint32(data[4:]) {
		return Record{}, nil, errBody
	}
	r, err := decode(body)
	return r, data[frameHead+int(length):], err
}
