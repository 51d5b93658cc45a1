package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"cuewright/sim/explore"
	"cuewright/sim/prove"
)

func TestMemoryOfAFlag(t *testing.T) {
	for text, want := range map[string]int64{"4G": 4 << 30, "500M": 500 << 20, "64k": 64 << 10, "2GB": 2 << 30, "1000": 1000, "1T": 1 << 40} {
		if got, err := bytesOf(text); err != nil || got != want {
			t.Errorf("%s: %d, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "G", "-1G", "0", "4X", "1.5G", "many", "99999999999G"} {
		if got, err := bytesOf(text); err == nil {
			t.Errorf("%s: %d", text, got)
		}
	}
}

// Where somebody sees it, a line tells how far a proof is, and is taken away
// at the end; elsewhere nothing is written. Time that is up ends the proof.
func TestProofWatch(t *testing.T) {
	now := prove.Progress{Question: `never "bars"`, Done: 3, Of: 7, Progress: explore.Progress{States: 1_376_256, Presses: 4, Bytes: 12 << 20, Timed: true}}
	for _, terminal := range []bool{false, true} {
		var out bytes.Buffer
		w := newProofWatch(streams{err: &out}, time.Hour)
		w.terminal, w.told = terminal, time.Now().Add(-time.Second)
		for range 2 { // the second within the same moment, so it is not told
			if !w.see(now) {
				t.Error("it is ended although there is time")
			}
		}
		w.end()
		got := out.String()
		if !terminal {
			if got != "" {
				t.Errorf("written where nobody sees it: %q", got)
			}
			continue
		}
		line, rest, _ := strings.Cut(strings.TrimPrefix(got, "\r"), "\r")
		if !strings.HasPrefix(line, `3 of 7  never "bars": 1 376 256 states, 1 `) || !strings.HasSuffix(line, "4 presses deep, 12 MB, with exact times") {
			t.Errorf("told %q", line)
		}
		if strings.Trim(rest, " \r") != "" || len(rest) < len(line) {
			t.Errorf("left behind %q", rest)
		}
	}
	w := newProofWatch(streams{err: &bytes.Buffer{}}, time.Nanosecond)
	defer w.end()
	time.Sleep(time.Millisecond)
	if w.see(now) {
		t.Error("it goes on although the time is up")
	}
}
