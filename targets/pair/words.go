package pair

import (
	"encoding/json"
	"errors"

	"cuewright/targets/lease"
)

// The subjects.
const (
	wordSubject    = "pair.word"      // what members say to each other
	witnessSubject = "pair.witness"   // and to the witness
	againSubject   = "pair.again"     // to the leader: a new snapshot is wanted
	logSubjects    = "pair.log.*"     // the stream
	startSubject   = "pair.log.start" // a piece that begins with a snapshot
	moreSubject    = "pair.log.more"  // any other piece
)

// longestWord is the most bytes that a word may have.
const longestWord = 1024

var errWord = errors.New("this is no word of a pair")

func encodeWord(w lease.Word) []byte {
	data, err := json.Marshal(w)
	if err != nil {
		return nil // it has numbers and bools only
	}
	return data
}

func decodeWord(data []byte) (w lease.Word, err error) {
	if len(data) > longestWord {
		return w, errWord
	}
	if err := json.Unmarshal(data, &w); err != nil {
		return w, err
	}
	if !w.Sound() {
		return w, errWord
	}
	return w, nil
}
