package journal

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/iotest"
	"testing/synctest"
	"time"
)

// disk is a disk with so much room.
type disk struct {
	mu    sync.Mutex
	room  int
	files []*paper
	syncs int
	worn  bool          // syncs and truncates fail
	slow  time.Duration // that a sync takes
}

type paper struct {
	d *disk
	b bytes.Buffer
}

// set changes the disk.
func (d *disk) set(room int, worn bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.room, d.worn = room, worn
}

func (d *disk) create(string) (file, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := &paper{d: d}
	d.files = append(d.files, p)
	return p, nil
}

func (p *paper) Write(b []byte) (int, error) {
	p.d.mu.Lock()
	defer p.d.mu.Unlock()
	n := min(len(b), p.d.room)
	p.d.room -= n
	p.b.Write(b[:n])
	if n < len(b) {
		return n, syscall.ENOSPC
	}
	return n, nil
}

func (p *paper) Sync() error {
	time.Sleep(p.d.slow)
	p.d.mu.Lock()
	defer p.d.mu.Unlock()
	p.d.syncs++
	if p.d.worn {
		return syscall.EIO
	}
	return nil
}

func (p *paper) Truncate(size int64) error {
	p.d.mu.Lock()
	defer p.d.mu.Unlock()
	if p.d.worn {
		return syscall.EIO
	}
	p.d.room += p.b.Len() - int(size)
	p.b.Truncate(int(size))
	return nil
}

func (p *paper) Close() error { return nil }

func (p *paper) There() error { return nil }

// A full disk is told once; what fits into memory is kept for later, the rest
// is counted, and Append has not waited for any of it.
func TestDiskFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: 200}
		var told []string
		w := open(t, t.TempDir(), Options{create: d.create, MaxPending: 1000, Trouble: func(err error) { told = append(told, fmt.Sprint(err)) }})
		start := time.Now()
		for range 100 {
			w.Append(Record{Kind: Mark, Time: 1, Text: "twenty bytes of text"})
			synctest.Wait()
		}
		if time.Since(start) != 0 {
			t.Error("Append waited")
		}
		time.Sleep(5 * time.Second)
		d.set(1<<20, false)
		time.Sleep(2 * time.Second)
		w.Append(Record{Kind: Mark, Time: 1, Text: "room again"})
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		if len(told) != 2 || !strings.Contains(told[0], "no space left") || told[1] != "<nil>" {
			t.Errorf("told: %q", told)
		}
		var kept, lost int32
		_, _, why, err := Stream(bytes.NewReader(d.files[0].b.Bytes()), func(r Record) error {
			if r.Kind == Lost {
				lost += r.A
			} else {
				kept++
			}
			return nil
		})
		if why != "" || err != nil || kept+lost != 101 || lost == 0 || kept < 20 {
			t.Errorf("%d kept, %d lost, %q, %v", kept, lost, why, err)
		}
	})
}

func TestStillFullAtTheEnd(t *testing.T) {
	d := &disk{room: len(magic) + 10}
	w := open(t, t.TempDir(), Options{create: d.create})
	w.Append(Record{Kind: Mark, Text: "does not fit"})
	if err := w.Close(); !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("got %v", err)
	}
}

// texts are the texts of the records that the files of a disk hold, file by
// file, and what is torn.
func (d *disk) texts(t *testing.T) (files [][]string, torn []string) {
	t.Helper()
	for _, p := range d.files {
		var own []string
		_, _, why, err := Stream(bytes.NewReader(p.b.Bytes()), func(r Record) error { own = append(own, r.Text); return nil })
		if err != nil {
			t.Error(err)
		}
		if why != "" {
			torn = append(torn, why)
		}
		files = append(files, own)
	}
	return files, torn
}

// When an fsync fails the system may have thrown away what it was to put on
// the disk, and the next one may say that all is well: what comes later goes
// into another file.
func TestFailedSyncBeginsAnotherFile(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: 1 << 20}
		var told []string
		w := open(t, t.TempDir(), Options{create: d.create, Trouble: func(err error) { told = append(told, fmt.Sprint(err)) }})
		d.set(1<<20, true)
		w.Append(Record{Kind: Mark, Text: "before"})
		time.Sleep(3 * time.Second)
		d.set(1<<20, false)
		w.Append(Record{Kind: Mark, Text: "after"})
		time.Sleep(3 * time.Second)
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		files, torn := d.texts(t)
		if n := len(files); n < 2 || !slices.Equal(files[0], []string{"before"}) || !slices.Equal(files[n-1], []string{"after"}) || len(torn) > 0 {
			t.Errorf("%q, torn %q", files, torn)
		}
		if len(told) != 2 || !strings.Contains(told[0], "input/output") || told[1] != "<nil>" {
			t.Errorf("told: %q", told)
		}
	})
}

// Half a record that cannot be taken back costs its own file's end and no
// record: it is written again into another file, and so are all later ones.
func TestHalfARecordThatStays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: len(magic) + 30}
		w := open(t, t.TempDir(), Options{create: d.create})
		d.set(30, true)
		w.Append(Record{Kind: Mark, Text: "longer than thirty bytes, that is sure"})
		time.Sleep(1500 * time.Millisecond)
		d.set(1<<20, false)
		w.Append(Record{Kind: Mark, Text: "later"})
		time.Sleep(3 * time.Second)
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		files, torn := d.texts(t)
		if all := slices.Concat(files...); len(all) != 2 || all[1] != "later" || len(torn) != 1 {
			t.Errorf("%q, torn %q", files, torn)
		}
	})
}

// A disk that is full for a night does not get a new empty file every second.
func TestFullDiskLeavesNoFiles(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		d := &disk{}
		var made atomic.Int64
		w := open(t, dir, Options{create: func(name string) (file, error) {
			made.Add(1)
			if err := os.WriteFile(name, nil, 0o600); err != nil {
				t.Error(err)
			}
			return d.create(name)
		}})
		w.Append(Record{Kind: Mark, Text: "waits"})
		time.Sleep(time.Minute + 300*time.Millisecond)
		if names, err := Files(dir); len(names) != 0 || err != nil || made.Load() < 50 {
			t.Errorf("%d files, %v; %d attempts", len(names), err, made.Load())
		}
		d.set(1<<20, false)
		time.Sleep(2 * time.Second)
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		if names, _ := Files(dir); len(names) != 1 || filepath.Base(names[0]) != nameOf(1) {
			t.Errorf("the files are %q", names)
		}
	})
}

// A folder that is removed under a running journal is noticed within the time
// of an attempt, told, and made again; what comes then is kept.
func TestFolderRemoved(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	told := make(chan error, 9)
	w := open(t, dir, Options{RetryEvery: 20 * time.Millisecond, Trouble: func(err error) { told <- err }})
	w.Append(Record{Kind: Mark, Text: "gone"})
	for names, _ := Files(dir); len(names) == 0; names, _ = Files(dir) {
		time.Sleep(time.Millisecond)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	for noticed, end := false, time.Now().Add(10*time.Second); !noticed; {
		if time.Now().After(end) {
			t.Fatal("it was never noticed")
		}
		w.Append(Record{Kind: Mark, Text: "between"})
		select {
		case err := <-told:
			noticed = true
			if !errors.Is(err, errRemoved) {
				t.Errorf("told %v", err)
			}
		case <-time.After(5 * time.Millisecond):
		}
	}
	if err := <-told; err != nil {
		t.Errorf("told %v", err)
	}
	w.Append(Record{Kind: Mark, Text: "kept"})
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	records, torn := all(t, dir)
	if n := len(records); n == 0 || records[n-1].Text != "kept" || len(torn) > 0 {
		t.Errorf("%v, torn %v", records, torn)
	}
}

// An fsync that takes seconds holds up no write: a process that is killed
// meanwhile has handed over all it had.
func TestSlowSyncHoldsUpNoWrite(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: 1 << 20, slow: 5 * time.Second}
		w := open(t, t.TempDir(), Options{create: d.create})
		for i := range 100 {
			w.Append(Record{Kind: Mark, Text: "x"})
			synctest.Wait()
			if files, _ := d.texts(t); len(files) != 1 || len(files[0]) != i+1 {
				t.Fatalf("after %v and %d records the file has %d", time.Duration(i)*100*time.Millisecond, i+1, len(files[0]))
			}
			time.Sleep(100 * time.Millisecond)
		}
		time.Sleep(time.Second) // the second fsync is over, and has what came in the first five seconds
		if f := w.Figures(); f.Behind < 45 || f.Behind > 55 || f.Lag < 5*time.Second || f.Lag > 7*time.Second {
			t.Errorf("%d records are not on the disk, for %v", f.Behind, f.Lag)
		}
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		if d.syncs < 3 || d.syncs > 5 {
			t.Errorf("%d fsyncs", d.syncs)
		}
	})
}

// What a power cut, a worn card or somebody's own file can put in the place of
// a journal's: it is left out and told, never in the way, and left as it is.
func TestFilesThatAreNone(t *testing.T) {
	for name, content := range map[string][]byte{
		"zeros":                make([]byte, 4096),
		"something else":       []byte("something else altogether"),
		"the next version":     []byte("cuewright-journal 2\nwhatever"),
		"a cut first line":     []byte(magic[:7]),
		"zeros at the end":     append([]byte(magic), make([]byte, 5000)...),
		"garbage after a line": append([]byte(magic), bytes.Repeat([]byte{0xa5}, 999)...),
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			w := open(t, dir, Options{})
			w.Append(Record{Kind: Snapshot, Text: "here"})
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			bad := filepath.Join(dir, nameOf(2))
			if err := os.WriteFile(bad, content, 0o600); err != nil {
				t.Fatal(err)
			}
			records, torn, err := Since(dir)
			if err != nil || len(records) != 1 || len(torn) != 1 || torn[0].File != bad || torn[0].At+torn[0].Bytes != int64(len(content)) {
				t.Errorf("%v, torn %v, %v", records, torn, err)
			}
			w = open(t, dir, Options{})
			if seq := w.Append(Record{Kind: Mark, Text: "goes on"}); seq != 2 {
				t.Errorf("goes on with %d", seq)
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			if records, torn := all(t, dir); len(records) != 2 || len(torn) != 1 {
				t.Errorf("%v, torn %v", records, torn)
			}
			if now, err := os.ReadFile(bad); err != nil || !bytes.Equal(now, content) {
				t.Errorf("the file was changed, %v", err)
			}
		})
	}
}

// A disk that cannot be read in the middle gives what comes before, and says
// why no more.
func TestDiskThatCannotBeRead(t *testing.T) {
	whole := []byte(magic)
	for i := range 3 {
		whole = (&Record{Seq: uint64(i + 1), Kind: Mark}).Append(whole)
	}
	for cut := range whole {
		n := 0
		in := io.MultiReader(bytes.NewReader(whole[:cut]), iotest.ErrReader(syscall.EIO))
		_, _, why, err := Stream(in, func(Record) error { n++; return nil })
		want := max(0, cut-len(magic)) / ((len(whole) - len(magic)) / 3)
		if err != nil || n != want || !strings.Contains(why, "input/output error") {
			t.Fatalf("at %d: %d records, want %d; %q, %v", cut, n, want, why, err)
		}
	}
}
