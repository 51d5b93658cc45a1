package journal

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// CRC-32C of 32 zero bytes: RFC 3720, appendix B.4 (aa 36 91 8a, least byte first).
func TestChecksumIsThePublishedOne(t *testing.T) {
	if got := crc32.Checksum(make([]byte, 32), castagnoli); got != 0x8a9136aa {
		t.Errorf("got %08x", got)
	}
}

func all(t *testing.T, dir string) ([]Record, []Torn) {
	t.Helper()
	var records []Record
	torn, err := Read(dir, func(r Record) error { records = append(records, r); return nil })
	if err != nil {
		t.Fatal(err)
	}
	return records, torn
}

func open(t *testing.T, dir string, o Options) *Writer {
	t.Helper()
	w, err := Open(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestAnyRecordComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int32()
		r := Record{rapid.Uint64().Draw(t, "seq"), rapid.Int64().Draw(t, "time"), Kind(rapid.Byte().Draw(t, "kind")),
			rapid.Int64().Draw(t, "at"), n.Draw(t, "a"), n.Draw(t, "b"), n.Draw(t, "c"), n.Draw(t, "d"),
			rapid.String().Draw(t, "by"), rapid.String().Draw(t, "text"), rapid.SliceOfN(rapid.Byte(), 1, 50).Draw(t, "data")}
		var got []Record
		used, tail, why, err := Stream(bytes.NewReader(r.Append([]byte(magic))), func(r Record) error { got = append(got, r); return nil })
		if err != nil || why != "" || tail != 0 || used == 0 || !reflect.DeepEqual(got, []Record{r}) {
			t.Fatalf("%+v came back as %+v (%s, %v)", r, got, why, err)
		}
	})
}

func TestRecordsGoOnOverFilesAndRuns(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "log")
	for run := range 3 {
		w := open(t, dir, Options{})
		for i := range 10 {
			w.Append(Record{Kind: Mark, Text: fmt.Sprint(run, " ", i)})
			if i == 4 {
				w.Rotate()
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Error("a second Close:", err)
		}
		if w.Append(Record{Kind: Mark}) != 0 {
			t.Error("a closed journal takes records")
		}
	}
	records, torn := all(t, dir)
	if len(records) != 30 || len(torn) != 0 {
		t.Fatalf("%d records, torn %v", len(records), torn)
	}
	for i, r := range records {
		if r.Seq != uint64(i+1) || r.Text != fmt.Sprint(i/10, " ", i%10) || r.Time == 0 {
			t.Errorf("record %d is %+v", i, r)
		}
	}
	if files, _ := Files(dir); len(files) != 6 {
		t.Errorf("files: %v", files)
	}
}

// Cut at every byte of its last three records, the journal opens, gives all
// records before the cut, says what it left out, and goes on.
func TestCutAtEveryByte(t *testing.T) {
	var whole []byte
	whole = append(whole, magic...)
	var ends []int
	for i := range 8 {
		r := Record{Seq: uint64(i + 1), Time: 1, Kind: Mark, Text: strings.Repeat("x", 10*i), Data: []byte{1, 2, 3}}
		whole = r.Append(whole)
		ends = append(ends, len(whole))
	}
	for cut := ends[4]; cut <= len(whole); cut++ {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, nameOf(1)), whole[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		w := open(t, dir, Options{})
		w.Append(Record{Kind: Mark, Text: "after the cut"})
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		want := 0
		for _, end := range ends {
			if end <= cut {
				want++
			}
		}
		records, torn := all(t, dir)
		if len(records) != want+1 || records[want].Text != "after the cut" || records[want].Seq != uint64(want+1) {
			t.Fatalf("cut at %d: %d records, want %d and one", cut, len(records), want)
		}
		clean := cut == ends[want-1]
		if clean != (len(torn) == 0) || !clean && torn[0].Bytes != int64(cut-ends[want-1]) {
			t.Fatalf("cut at %d: torn %v", cut, torn)
		}
	}
}

func TestEveryFlippedBitIsNoticed(t *testing.T) {
	r := Record{Seq: 7, Time: 1, Kind: Mark, Text: "a text", Data: []byte("some data")}
	whole := r.Append([]byte(magic))
	for i := len(magic); i < len(whole); i++ {
		for bit := range 8 {
			whole[i] ^= 1 << bit
			n := 0
			_, tail, why, err := Stream(bytes.NewReader(whole), func(Record) error { n++; return nil })
			if n != 0 || tail == 0 || why == "" || err != nil {
				t.Errorf("bit %d of byte %d: %d records, %q, %v", bit, i, n, why, err)
			}
			whole[i] ^= 1 << bit
		}
	}
}

func TestSinceReadsFromTheLastSnapshot(t *testing.T) {
	dir := t.TempDir()
	if records, torn, err := Since(filepath.Join(dir, "nowhere")); records != nil || torn != nil || err != nil {
		t.Errorf("of nothing: %v %v %v", records, torn, err)
	}
	w := open(t, dir, Options{})
	add := func(k Kind, text string) { w.Append(Record{Kind: k, Text: text}) }
	add(Mark, "old")
	add(Snapshot, "one")
	add(Mark, "a")
	add(Snapshot, "two")
	add(Mark, "b")
	w.Rotate()
	add(Mark, "c")
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	records, _, err := Since(dir)
	var texts []string
	for _, r := range records {
		texts = append(texts, r.Text)
	}
	if want := []string{"two", "b", "c"}; err != nil || !reflect.DeepEqual(texts, want) {
		t.Errorf("got %v, %v", texts, err)
	}
}

func TestOtherFilesAreNotTouched(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"notes.txt", "1.journal", "0000001.journal", "x.journal"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	w := open(t, dir, Options{})
	w.Append(Record{Kind: Mark})
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if records, _ := all(t, dir); len(records) != 1 {
		t.Errorf("%d records", len(records))
	}
}

// However many records come, there is one fsync for all of a while.
func TestGroupCommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &disk{room: 1 << 30}
		w := open(t, t.TempDir(), Options{create: d.create})
		for range 1000 {
			w.Append(Record{Kind: Event})
			time.Sleep(time.Millisecond)
		}
		if err := w.Close(); err != nil {
			t.Error(err)
		}
		if d.syncs < 90 || d.syncs > 110 {
			t.Errorf("%d fsyncs in a second", d.syncs)
		}
	})
}

// What is gathered is written by the next Flush, and nothing before asks the disk
// for anything.
func TestGatherWritesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		w := open(t, dir, Options{})
		synctest.Wait()
		for range 3 {
			w.Gather(Record{Kind: Mark})
		}
		time.Sleep(time.Second)
		if records, _ := all(t, dir); len(records) != 0 {
			t.Errorf("%d records were written though nobody asked", len(records))
		}
		w.Flush()
		time.Sleep(time.Second)
		records, _ := all(t, dir)
		if len(records) != 3 || w.Figures().Behind != 0 {
			t.Errorf("%d of 3 records were written, %d are not on the disk", len(records), w.Figures().Behind)
		}
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestManyWriters(t *testing.T) {
	dir := t.TempDir()
	w := open(t, dir, Options{SyncEvery: time.Millisecond})
	var group sync.WaitGroup
	for who := range 8 {
		group.Go(func() {
			for i := range 200 {
				w.Append(Record{Kind: Event, A: int32(who), B: int32(i)})
				if i%50 == 0 {
					w.Rotate()
				}
			}
		})
	}
	group.Wait()
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	records, _ := all(t, dir)
	next := map[int32]int32{}
	for i, r := range records {
		if r.Seq != uint64(i+1) || r.B != next[r.A] {
			t.Fatalf("record %d: %+v", i, r)
		}
		next[r.A]++
	}
	if len(records) != 1600 {
		t.Errorf("%d records", len(records))
	}
}

func FuzzStream(f *testing.F) {
	r := Record{Seq: 1, Kind: Press, By: "desk", Text: "x"}
	whole := r.Append([]byte(magic))
	f.Add(whole)
	f.Add(whole[:len(whole)-3])
	f.Add(binary.LittleEndian.AppendUint32([]byte(magic), 1<<31))
	f.Fuzz(func(t *testing.T, data []byte) {
		var again []byte
		used, tail, why, err := Stream(bytes.NewReader(data), func(r Record) error { again = r.Append(again); return nil })
		if err != nil {
			return
		}
		if used+tail != int64(len(data)) || (tail > 0) != (why != "") {
			t.Errorf("%d used and %d left of %d, %q", used, tail, len(data), why)
		}
		_, tail, why, err = Stream(bytes.NewReader(append([]byte(magic), again...)), func(Record) error { return nil })
		if tail != 0 || why != "" || err != nil {
			t.Error("what was read cannot be read again:", why, err)
		}
	})
}

func BenchmarkAppend(b *testing.B) {
	w, err := Open(b.TempDir(), Options{})
	if err != nil {
		b.Fatal(err)
	}
	r := Record{Kind: Sent, At: 123456789, A: 3, B: 40, Data: make([]byte, 60)}
	b.ReportAllocs()
	for b.Loop() {
		w.Append(r)
		if w.waiting > 4<<20 {
			b.StopTimer()
			time.Sleep(20 * time.Millisecond)
			b.StartTimer()
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
}
