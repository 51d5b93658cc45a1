package chase

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"cuewright/targets/midiwire"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// heardMoves keeps what a source tells.
type heardMoves struct {
	mu  sync.Mutex
	all []Move
}

func (h *heardMoves) tell(m Move) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all = append(h.all, m)
}

func (h *heardMoves) told() []Move {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.all)
}

func await(t *testing.T, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(time.Millisecond) {
		if is() {
			return
		}
	}
	t.Fatalf("it never came about: %s", what)
}

// bytesOf are the bytes of a tape that runs.
func bytesOf(p *tape, frames int) []byte {
	var out []byte
	begun := p.quarter
	for range 4 * frames {
		out = append(out, 0xF1, p.piece(p.quarter, begun).Piece)
		p.quarter++
	}
	return out
}

// A recording comes all at once, and nothing of it is lost; when it has ended
// the timecode is silent. Notes and real time in between do no harm.
func TestRecording(t *testing.T) {
	p := newTape(1, "01:00:00:00")
	first := p.quarter / 4
	path := filepath.Join(t.TempDir(), "bytes")
	data := append([]byte{0x90, 0x3C, 0x7F}, bytesOf(p, 1000)...)
	data = slices.Insert(data, 501, 0xF8, 0xFE) // between a status and its data
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	var h heardMoves
	s := Start(path, slog.New(slog.DiscardHandler), h.tell)
	await(t, "the end", func() bool { m := h.told(); return len(m) > 1 && last(m).State == Silent })
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if got := ran(h.told()); len(got) < 1000 || !slices.Equal(got[:1000], from(first, 1000)) {
		t.Errorf("ran through %d frames, from %d", len(got), got[0])
	}
	if m := h.told()[0]; m.State != Silent || m.Frame != -1 {
		t.Errorf("at first %+v", m)
	}
}

// Who shares a file does not wait, however much comes.
func TestHearDoesNotWait(t *testing.T) {
	stuck := make(chan struct{})
	s := New(func(Move) { <-stuck })
	for range 100 * waitingMessages {
		s.Hear(midiwire.Message{Kind: midiwire.Quarter})
	}
	close(stuck)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
