package plug

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var silent = slog.New(slog.DiscardHandler)

// heard is what was read, as it comes.
type heard struct {
	mu   sync.Mutex
	text string
	uses int
}

func (h *heard) add(b []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.text += string(b)
}

func (h *heard) now() (string, int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.text, h.uses
}

func (h *heard) use(ctx context.Context, d Device) {
	h.mu.Lock()
	h.uses++
	h.mu.Unlock()
	d.Read(ctx, h.add)
}

// await waits until all that was read is want.
func (h *heard) await(t *testing.T, want string) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if text, _ := h.now(); text == want {
			return
		} else if time.Now().After(end) {
			t.Fatalf("read %q, want %q", text, want)
		}
	}
}

func fifo(t *testing.T, path string) {
	t.Helper()
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
	_ = f.Close()
}

// TestRecording: a plain file is read once, to its end, and is not written to.
func TestRecording(t *testing.T) {
	path := filepath.Join(t.TempDir(), "recording")
	if err := os.WriteFile(path, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	var h heard
	Follow(t.Context(), path, silent, &Presence{}, func(ctx context.Context, d Device) {
		if d.Lamps {
			t.Error("a recording has lamps")
		}
		h.use(ctx, d)
	})
	if text, uses := h.now(); text != "abc" || uses != 1 {
		t.Errorf("read %q in %d uses", text, uses)
	}
}

// TestDevice: it is found when it comes, and a Read that waits ends with the
// context. A named pipe stands for the device.
func TestDevice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "device")
	ctx, stop := context.WithCancel(t.Context())
	var h heard
	var done sync.WaitGroup
	done.Go(func() { Follow(ctx, path, silent, &Presence{}, h.use) })
	time.Sleep(20 * time.Millisecond) // it looks once before there is anything
	fifo(t, path)
	write(t, path, "abc")
	h.await(t, "abc")
	write(t, path, "def")
	h.await(t, "abcdef")
	stop()
	done.Wait()
	if _, uses := h.now(); uses != 1 {
		t.Errorf("%d uses", uses)
	}
}

// TestGoneAndBack: a use that ends is followed by another.
func TestGoneAndBack(t *testing.T) {
	path := filepath.Join(t.TempDir(), "device")
	fifo(t, path)
	ctx, stop := context.WithCancel(t.Context())
	var h heard
	var done sync.WaitGroup
	done.Go(func() {
		Follow(ctx, path, silent, &Presence{}, func(ctx context.Context, d Device) {
			if _, uses := h.now(); uses > 0 {
				h.use(ctx, d)
				return
			}
			h.mu.Lock()
			h.uses++ // and it is pulled out at once
			h.mu.Unlock()
		})
	})
	for end := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) {
		if _, uses := h.now(); uses == 2 {
			break
		} else if time.Now().After(end) {
			t.Fatal("it did not come back")
		}
	}
	write(t, path, "x")
	h.await(t, "x")
	stop()
	done.Wait()
}
