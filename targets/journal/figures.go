package journal

import (
	"sync/atomic"
	"time"

	"cuewright/targets/metrics"
)

// Figures are how a journal is, and what it has counted since Open.
type Figures struct {
	Seq     uint64         // of the last record given to it
	Records uint64         // given to it since Open
	Behind  uint64         // records that are not on the disk yet
	Lag     time.Duration  // how long the oldest of those has waited
	Bytes   uint64         // of records given to it
	Lost    uint64         // records that could not be kept
	Faults  uint64         // times that the disk did not take what it was given
	Sync    metrics.Spread // how long the disk takes to have it for good
}

// ledger is what is counted of the disk. took and synced are the journal's
// goroutine's; the rest can be read from any.
type ledger struct {
	bytes, faults atomic.Uint64
	durable       atomic.Uint64             // the last record that is on the disk
	oldest        atomic.Pointer[time.Time] // of those taken and not on the disk; nil when there is none
	sync          *metrics.Histogram
	taken         uint64
}

func newLedger() ledger {
	const ms = time.Millisecond
	return ledger{sync: metrics.NewHistogram(ms/2, ms, 2*ms, 5*ms, 10*ms, 25*ms, 100*ms, 500*ms, 2*time.Second)}
}

// took hears of records up to seq that are about to be written, the first of
// which came at since; zero when there is none.
func (d *ledger) took(seq uint64, since time.Time) {
	d.taken = seq
	if d.oldest.Load() == nil && !since.IsZero() {
		d.oldest.Store(&since)
	}
}

// synced hears how an fsync went.
func (d *ledger) synced(took time.Duration, err error) {
	if err != nil {
		return
	}
	d.sync.Observe(took)
	d.durable.Store(d.taken)
	d.oldest.Store(nil)
}

// Figures is what has been counted by now.
func (w *Writer) Figures() Figures {
	w.mu.Lock()
	f := Figures{Seq: w.seq, Records: w.seq - w.first, Lost: w.gone}
	since := w.since
	w.mu.Unlock()
	f.Bytes, f.Faults, f.Sync = w.disk.bytes.Load(), w.disk.faults.Load(), w.disk.sync.Read()
	if durable := w.disk.durable.Load(); durable < f.Seq {
		f.Behind = f.Seq - durable
		if at := w.disk.oldest.Load(); at != nil {
			since = *at
		}
		if !since.IsZero() {
			f.Lag = time.Since(since)
		}
	}
	return f
}
