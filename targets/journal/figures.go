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

// ledger is what is counted of the disk. took, asks and synced are for the
// goroutine that writes; the rest can be read from any.
type ledger struct {
	bytes, faults atomic.Uint64
	durable       atomic.Uint64             // the last record that is on the disk
	oldest        atomic.Pointer[time.Time] // of those taken and not on the disk; nil when there is none
	sync          *metrics.Histogram
	taken         uint64
	later         *time.Time // of those taken since the last fsync was asked for, when there were others before
}

func newLedger() ledger {
	const ms = time.Millisecond
	return ledger{sync: metrics.NewHistogram(ms/2, ms, 2*ms, 5*ms, 10*ms, 25*ms, 100*ms, 500*ms, 2*time.Second)}
}

// took hears of records up to seq that are about to be written, the first of
// which came at since; zero when there is none.
func (d *ledger) took(seq uint64, since time.Time) {
	d.taken = seq
	switch {
	case since.IsZero():
	case d.oldest.Load() == nil:
		d.oldest.Store(&since)
	case d.later == nil:
		d.later = &since
	}
}

// asks hears that all that was taken is to be put on the disk.
func (d *ledger) asks() uint64 {
	d.later = nil
	return d.taken
}

// synced hears how that went.
func (d *ledger) synced(x fsync) {
	if x.err != nil || x.seq == 0 {
		return
	}
	d.sync.Observe(x.took)
	d.durable.Store(x.seq)
	d.oldest.Store(d.later)
	d.later = nil
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
