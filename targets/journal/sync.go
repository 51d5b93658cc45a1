package journal

import (
	"errors"
	"time"
)

// syncer is the goroutine that has files put on the disk, which can take as
// long as the disk likes. asked is how many asks have no answer yet; the
// goroutine that writes counts them, and lets there never be more than fit.
type syncer struct {
	asks    chan fsync
	answers chan fsync
	asked   int
}

// fsync is what is asked of the disk, and then its answer.
type fsync struct {
	out   file
	seq   uint64 // of the last record that is in it; 0 when that is not counted
	look  bool   // whether the file still has its name
	close bool   // it is closed then
	given bool   // and given up: what becomes of it is no news
	took  time.Duration
	err   error
}

// mostAsked is more than ever come together, unless the disk stands still for
// the time of several files.
const mostAsked = 4

func newSyncer() syncer {
	return syncer{asks: make(chan fsync, mostAsked), answers: make(chan fsync, mostAsked)}
}

func (s *syncer) run() {
	for x := range s.asks {
		began := time.Now()
		x.err = x.out.Sync()
		x.took = time.Since(began)
		if x.err == nil && x.look {
			x.err = x.out.There()
		}
		if x.close {
			x.err = errors.Join(x.err, x.out.Close())
		}
		s.answers <- x
	}
}

// ask has what was written put on the disk, and the file looked for now and
// then.
func (w *Writer) ask() {
	x := fsync{out: w.out, seq: w.disk.asks()}
	if now := time.Now(); now.Sub(w.looked) >= w.opts.RetryEvery {
		w.looked, x.look = now, true
	}
	w.send(x)
	w.unsynced = false
}

// leave has the file that is being written closed; nothing more is added to it.
func (w *Writer) leave() {
	if w.out != nil {
		w.send(fsync{out: w.out, close: true, given: w.bad})
		w.out, w.unsynced = nil, false
	}
}

// send waits only when the disk has not answered so often already.
func (w *Writer) send(x fsync) {
	if w.sync.asked == mostAsked {
		w.heard(<-w.sync.answers)
	}
	w.sync.asked++
	w.sync.asks <- x
}

// heard takes an answer, and is false when it is trouble. When an fsync fails,
// the system may have thrown away what it had not put on the disk, and say so
// only once: nothing more must be added to this file. Nor to one that nobody
// will find.
func (w *Writer) heard(x fsync) bool {
	w.sync.asked--
	w.last = time.Now()
	w.disk.synced(x)
	if x.err == nil || x.given {
		return true
	}
	w.tell(x.err)
	w.bad = w.bad || x.out == w.out
	return false
}
