// Package journal keeps the as-run log of a controller: records of presses,
// events, messages and what became of them, in files that are only ever added
// to.
//
// Nothing but Close waits for the disk. A goroutine of the journal's own writes
// what has gathered as soon as the last write is done; another has it put on
// the disk (fsync) at most every SyncEvery: one fsync for all that came since
// the last. A slow fsync holds up no write, so a process that is killed loses
// what came during the last write, well under a millisecond, and what was
// gathered and not yet flushed; a power cut takes at most SyncEvery and the time
// of two fsyncs more. What was sent just before a cut may be missing here.
//
// A new file is begun by each Open and each Rotate. No file is ever changed
// after that, so a torn end costs only itself. When the disk is full or gives
// errors, Trouble is told, and the show goes on: up to MaxPending bytes wait,
// later records are counted, and a Lost record says how many when the disk
// takes some again. A file that can no longer be trusted, because it was
// removed, an fsync of it failed or half a record cannot be taken back, is left
// as it is and another one begun: what it held may be gone, which shows by the
// numbers of the records.
package journal

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
)

// Options says how a journal is kept. The zero value is what a show uses.
type Options struct {
	SyncEvery  time.Duration // least time between two fsyncs; 0 is DefaultSyncEvery
	MaxPending int           // bytes that may wait for the disk; 0 is DefaultMaxPending
	RetryEvery time.Duration // between attempts at a disk that failed; 0 is a second

	// Trouble, when set, is told that the disk does not take what it is given,
	// and with nil that it does again. It is called by the journal's goroutine.
	Trouble func(error)

	create func(name string) (file, error) // of tests
}

// The defaults of Options.
const (
	DefaultSyncEvery  = 10 * time.Millisecond
	DefaultMaxPending = 8 << 20
)

// file is what a journal asks of a file.
type file interface {
	Write([]byte) (int, error)
	Sync() error
	Truncate(size int64) error
	Close() error
	There() error // says so when the file no longer has its name
}

// onDisk is a file of the disk. Its first Sync puts its name there too.
type onDisk struct {
	*os.File
	named bool
}

// Sync puts it on the disk.
func (f *onDisk) Sync() error {
	if !f.named {
		f.named = true
		if dir, err := os.Open(filepath.Dir(f.Name())); err == nil {
			_ = dir.Sync() // some file systems cannot; the data's own fsync is not spared by it
			_ = dir.Close()
		}
	}
	return f.File.Sync()
}

var errRemoved = errors.New("somebody has removed the file of the journal")

// There looks whether the file is still where it was made.
func (f *onDisk) There() error {
	named, err := os.Stat(f.Name())
	if errors.Is(err, fs.ErrNotExist) {
		return errRemoved
	}
	if err != nil {
		return err
	}
	own, err := f.Stat()
	if err == nil && !os.SameFile(named, own) {
		return errRemoved
	}
	return err
}

// Writer adds records. mu guards what stands under it; it is taken
// under no other lock and never held while the disk is used.
type Writer struct {
	dir  string
	opts Options

	mu      sync.Mutex
	pending []chunk
	waiting int
	seq     uint64
	lost    int32
	first   uint64    // what seq was at Open
	gone    uint64    // all that was ever lost
	since   time.Time // of the first record that nobody took yet; zero when there is none
	closed  bool

	size   atomic.Int64 // bytes of records since the last Rotate
	disk   ledger
	kick   chan struct{}
	done   chan struct{}
	err    error // of Close, read after done
	number int   // of the file being written; the goroutine's own from here on
	out    file
	offset int64
	last   time.Time // of the last fsync
	looked time.Time // when the file was last looked for
	sync   syncer

	unsynced bool // something was written since the last fsync was asked for
	bad      bool // nothing more may be added to this file
	troubled bool
}

// chunk is whole records for one file; fresh says that it begins a new one.
type chunk struct {
	fresh bool
	data  []byte
}

// Open begins a new file in dir, which is made if it is not there. The numbers
// of records go on from the last whole one. What is torn is told by Read and
// Since, which leave it out; it stays where it is. That the disk takes nothing
// is no error here, but told to Trouble.
func Open(dir string, opts Options) (*Writer, error) {
	if opts.SyncEvery <= 0 {
		opts.SyncEvery = DefaultSyncEvery
	}
	if opts.MaxPending <= 0 {
		opts.MaxPending = DefaultMaxPending
	}
	if opts.RetryEvery <= 0 {
		opts.RetryEvery = time.Second
	}
	if opts.create == nil {
		opts.create = create
	}
	w := &Writer{dir: dir, opts: opts, kick: make(chan struct{}, 1), done: make(chan struct{}), disk: newLedger(), sync: newSyncer()}
	if err := w.resume(); err != nil {
		return nil, err
	}
	w.first = w.seq
	w.disk.durable.Store(w.seq)
	w.pending = []chunk{{fresh: true}}
	go w.run()
	return w, nil
}

// create makes a file that was not there.
func create(name string) (file, error) {
	if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	return &onDisk{File: f}, nil
}

// resume finds the last file and the last record's number.
func (w *Writer) resume() error {
	names, err := Files(w.dir)
	if err != nil {
		return err
	}
	for i := len(names) - 1; i >= 0; i-- {
		if w.number == 0 {
			w.number, _ = numberOf(filepath.Base(names[i]))
		}
		if _, err := ReadFile(names[i], func(r Record) error { w.seq = r.Seq; return nil }); err != nil {
			return err
		}
		if w.seq > 0 {
			return nil
		}
	}
	return nil
}

// Append adds a record and has it written; its Seq is set here, and its Time
// when it is 0. It gives the record's number.
func (w *Writer) Append(r Record) uint64 {
	seq := w.Gather(r)
	w.Flush()
	return seq
}

// Gather is Append, but has nothing written: the next Flush or Append does.
// Waking the journal's goroutine costs several times what adding a record does.
func (w *Writer) Gather(r Record) uint64 {
	if r.Time == 0 {
		r.Time = time.Now().UnixMicro()
	}
	w.mu.Lock()
	if w.closed {
		w.mu.Unlock()
		return 0
	}
	if w.waiting > w.opts.MaxPending {
		w.lost++
		w.gone++
		w.mu.Unlock()
		return 0
	}
	if w.lost > 0 {
		w.add(Record{Kind: Lost, Time: r.Time, At: r.At, A: w.lost})
		w.lost = 0
	}
	seq := w.add(r)
	w.mu.Unlock()
	return seq
}

// Flush has written what was gathered, if there is any. It does not wait.
func (w *Writer) Flush() {
	w.mu.Lock()
	some := !w.since.IsZero()
	w.mu.Unlock()
	if some {
		w.wake()
	}
}

// add is Append under the lock.
func (w *Writer) add(r Record) uint64 {
	w.seq++
	r.Seq = w.seq
	c := &w.pending[len(w.pending)-1]
	before := len(c.data)
	c.data = r.Append(c.data)
	w.waiting += len(c.data) - before
	w.size.Add(int64(len(c.data) - before))
	w.disk.bytes.Add(uint64(len(c.data) - before))
	if w.since.IsZero() {
		w.since = time.Now()
	}
	return r.Seq
}

func (w *Writer) wake() {
	select {
	case w.kick <- struct{}{}:
	default:
	}
}

// Size is how many bytes of records there are since Open or the last Rotate.
func (w *Writer) Size() int64 { return w.size.Load() }

// Rotate makes the next record the first of a new file.
func (w *Writer) Rotate() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.pending = append(w.pending, chunk{fresh: true})
	w.size.Store(0)
}

// Close puts everything on the disk. It gives the error that kept it from
// doing so; it tries once.
func (w *Writer) Close() error {
	w.mu.Lock()
	again := w.closed
	w.closed = true
	w.mu.Unlock()
	if !again {
		w.wake()
	}
	<-w.done
	return w.err
}

// take is all that is pending, and whether there will be more.
func (w *Writer) take() (chunks []chunk, closed bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	chunks, w.pending = w.pending, []chunk{{}}
	w.disk.took(w.seq, w.since)
	w.since = time.Time{}
	return chunks, w.closed
}

// wrote says that bytes no longer wait.
func (w *Writer) wrote(n int) {
	w.mu.Lock()
	w.waiting -= n
	w.mu.Unlock()
}

// run is the goroutine that writes.
func (w *Writer) run() {
	defer close(w.done)
	go w.sync.run()
	defer close(w.sync.asks)
	var chunks []chunk
	for {
		more, closed := w.take()
		chunks = append(chunks, more...)
		err := w.write(&chunks)
		if closed {
			w.err = errors.Join(err, w.end())
			w.tell(w.err)
			return
		}
		w.tell(err)
		if err != nil || !w.rest() {
			time.Sleep(w.opts.RetryEvery) // nothing but time helps; Append goes on gathering
		}
	}
}

// rest waits until there may be something to write again, and meanwhile has
// what was written put on the disk. It is false when that failed.
func (w *Writer) rest() bool {
	var due <-chan time.Time
	if w.unsynced && w.sync.asked == 0 {
		wait := time.Until(w.last.Add(w.opts.SyncEvery))
		if wait > 0 {
			due = time.After(wait)
		} else {
			w.ask()
		}
	}
	select {
	case <-w.kick:
	case <-due:
	case x := <-w.sync.answers:
		return w.heard(x)
	}
	return true
}

// tell says trouble when it begins and when it ends.
func (w *Writer) tell(err error) {
	if err != nil {
		w.disk.faults.Add(1)
	}
	if w.troubled != (err != nil) && w.opts.Trouble != nil {
		w.opts.Trouble(err)
	}
	w.troubled = err != nil
}

// end puts the last on the disk and closes the file.
func (w *Writer) end() (err error) {
	w.leave()
	for w.sync.asked > 0 {
		x := <-w.sync.answers
		w.heard(x)
		err = errors.Join(err, x.err)
	}
	return err
}

// write writes chunks and leaves those that it could not. A record that was
// written in part is taken back, so that the next one can be read.
func (w *Writer) write(chunks *[]chunk) error {
	for w.bad || len(*chunks) > 0 {
		if w.bad || (*chunks)[0].fresh {
			if err := w.begin(); err != nil {
				return err
			}
			if len(*chunks) == 0 {
				return nil
			}
		}
		c := &(*chunks)[0]
		c.fresh = false
		if len(c.data) > 0 {
			n, err := w.out.Write(c.data)
			if err != nil {
				w.bad = n > 0 && w.out.Truncate(w.offset) != nil // a half record that stays: nothing could be read after it
				return err
			}
			w.offset += int64(n)
			w.wrote(n)
			w.unsynced = true
		}
		*chunks = (*chunks)[1:]
	}
	return nil
}

// begin begins the next file. One that cannot be begun is taken away again: a
// disk may be full for hours.
func (w *Writer) begin() error {
	w.leave()
	for {
		w.number++
		name := filepath.Join(w.dir, nameOf(w.number))
		f, err := w.opts.create(name)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			w.number--
			return fmt.Errorf("a new file of the journal cannot be made: %w", err)
		}
		if _, err := f.Write([]byte(magic)); err != nil {
			_, _ = f.Close(), os.Remove(name) // the error to tell is the first
			w.number--
			return fmt.Errorf("a new file of the journal cannot be begun: %w", err)
		}
		w.out, w.offset, w.bad = f, int64(len(magic)), false
		w.looked = time.Now()
		return nil
	}
}
