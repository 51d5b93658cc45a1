package lease

import "time"

// Judge is the witness of a pair: it gives its vote to one at a time.
type Judge struct {
	kept     JudgeKept
	began    time.Duration
	promised time.Duration // until when the holder has its vote
	newest   time.Duration // stamp of the newest word of the holder
}

// JudgeKept is what a witness has to have on the disk before it answers.
type JudgeKept struct {
	Epoch  uint64
	Holder Seat
	Alone  bool          // the other may not know everything that the holder has done
	Stamp  time.Duration // of the word that said so
}

// NewJudge is a witness that was started now, with what it kept. As it may
// have voted just before, it votes for nobody else than then for a Promise.
func NewJudge(k JudgeKept, now time.Duration) *Judge {
	return &Judge{kept: k, began: now, promised: now + Promise, newest: k.Stamp}
}

// Kept is what is to be on the disk before an answer is given.
func (j *Judge) Kept() JudgeKept { return j.kept }

// Hear answers a word; ok is false when there is nothing to answer.
func (j *Judge) Hear(w Word, now time.Duration) (answer Word, ok bool) {
	if w.From > B || w.To != Witness || w.Kind != BeatWord && w.Kind != Stand || owner(w.Epoch) != w.From {
		return Word{}, false
	}
	if w.Epoch == j.kept.Epoch && w.Stamp <= j.newest {
		return Word{}, false // it came twice, or was overtaken on its way
	}
	no := Word{Kind: No, From: Witness, To: w.From, Epoch: j.kept.Epoch, Stamp: w.Stamp}
	others := j.kept.Epoch > 0 && j.kept.Holder != w.From
	no.Stale = others && j.kept.Alone
	if w.Epoch < j.kept.Epoch || others && now < j.promised || w.Kind == Stand && no.Stale && !w.Forced {
		return no, true
	}
	if k := (JudgeKept{w.Epoch, w.From, w.Alone, j.kept.Stamp}); k != j.kept {
		k.Stamp = w.Stamp
		j.kept = k
	}
	j.promised, j.newest = now+Promise, w.Stamp
	return Word{Kind: Vote, From: Witness, To: w.From, Epoch: w.Epoch, Stamp: w.Stamp, Alone: w.Alone, Stale: no.Stale}, true
}
