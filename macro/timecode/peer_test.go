package timecode

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// peerScript prints, for the rates in argv, the digest of the labels of every
// frame of the day as npm smpte-timecode makes them, and which of the given
// texts it takes for a timecode.
const peerScript = `
const Timecode = require('smpte-timecode');
const hash = require('crypto').createHash;
const {rate, drop, frames, texts} = JSON.parse(process.argv[1]);
const sum = hash('sha256');
const t = new Timecode(0, rate, drop);
for (let f = 0; f < frames; f++) { sum.update(t.toString() + '\n'); t.add(1); }
const counts = texts.map(x => { try { return new Timecode(x, rate, drop).frameCount } catch { return -1 } });
console.log(JSON.stringify({digest: sum.digest('hex'), counts}));
`

// The folder of CUEWRIGHT_NODE_MODULES holds smpte-timecode. Without it or
// without node the test is skipped, unless CUEWRIGHT_PEERS=1 demands them.
func TestAgainstSmpteTimecode(t *testing.T) {
	modules := os.Getenv("CUEWRIGHT_NODE_MODULES")
	node, err := exec.LookPath("node")
	if err == nil {
		_, err = os.Stat(filepath.Join(modules, "smpte-timecode"))
	}
	if err != nil {
		if os.Getenv("CUEWRIGHT_PEERS") == "1" {
			t.Fatalf("CUEWRIGHT_PEERS=1 demands node and smpte-timecode: %v", err)
		}
		t.Skipf("no peer: %v", err)
	}
	// Not 29.97 without drop: that peer starts again after a day of real time, in the middle of the labels.
	for _, peer := range []struct {
		name string
		rate float64
	}{{"25", 25}, {"29.97df", 29.97}, {"50", 50}, {"59.94df", 59.94}} {
		t.Run(peer.name, func(t *testing.T) { comparePeer(t, node, modules, rate(t, peer.name), peer.rate) })
	}
}

func comparePeer(t *testing.T, node, modules string, r Rate, asNumber float64) {
	texts := minuteStarts(r)
	ask, err := json.Marshal(map[string]any{"rate": asNumber, "drop": r.Drop, "frames": r.FramesPerDay(), "texts": texts})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(node, "-e", peerScript, string(ask))
	cmd.Env = append(os.Environ(), "NODE_PATH="+modules)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("node: %v", err)
	}
	var peer struct {
		Digest string
		Counts []int64
	}
	if err := json.Unmarshal(out, &peer); err != nil {
		t.Fatal(err)
	}
	sum := sha256.New()
	for f := range r.FramesPerDay() {
		fmt.Fprintln(sum, r.Label(f))
	}
	if got := fmt.Sprintf("%x", sum.Sum(nil)); got != peer.Digest {
		t.Errorf("labels differ: ours %s, smpte-timecode %s", got, peer.Digest)
	}
	for i, text := range texts {
		frame, err := r.ParseLabel(text)
		if err != nil {
			frame = -1
		}
		if frame != peer.Counts[i] {
			t.Errorf("%s is %d (%v), smpte-timecode says %d", text, frame, err, peer.Counts[i])
		}
	}
}

// minuteStarts are the first six labels and the last of each minute of two
// hours, the dropped ones among them, and some beyond the end.
func minuteStarts(r Rate) []string {
	mark := ":"
	if r.Drop {
		mark = ";"
	}
	var texts []string
	for minute := range 120 {
		for _, f := range []int{0, 1, 2, 3, 4, 5} {
			texts = append(texts, fmt.Sprintf("%02d:%02d:00%s%02d", minute/60, minute%60, mark, f))
		}
		texts = append(texts, fmt.Sprintf("%02d:%02d:59%s%02d", minute/60, minute%60, mark, r.Nominal()-1))
	}
	return append(texts, "24:00:00"+mark+"00", "00:60:00"+mark+"00", fmt.Sprintf("00:00:00%s%02d", mark, r.Nominal()))
}
